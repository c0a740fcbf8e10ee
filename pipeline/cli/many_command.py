"""One question to many farms: each answers from its own ledger, and every row says of which site it is."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from pipeline.cli.commands import joined
from pipeline.cli.show import notify
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean, listed

if TYPE_CHECKING:
    from collections.abc import Mapping

# What answers by reading, and brings the ledger up to date before it does; `report` writes into each farm's own folder.
# All else is done at one farm at a time.
READING = (
    "refresh",
    "check",
    "today",
    "yields",
    "days",
    "losses",
    "months",
    "flushes",
    "pins",
    "another-flush",
    "spawn",
    "compare",
    "money",
    "query",
    "history",
    "outlook",
    "plan",
    "promise check",
    "next-soak",
    "trace",
    "doctor",
    "report",
    "export",
)
SITE = "site"


class Engine(StrEnum):
    """Who works the figures out: each farm's own ledger, or Spark for all of them at once."""

    ledger = "ledger"
    spark = "spark"


def many(
    folder: Annotated[
        str,
        typer.Argument(
            metavar="DIR",
            help="The folder that your farms' folders lie in; for Spark, the one that they were exported to.",
        ),
    ],
    words: Annotated[
        list[str],
        typer.Argument(metavar="COMMAND...", help="What each farm is to answer, like: yields --by substrate."),
    ],
    engine: Annotated[
        Engine,
        typer.Option("--engine", help="Who works it out: each farm's own ledger, or Spark for all of them at once."),
    ] = Engine.ledger,
    master: Annotated[
        str | None,
        typer.Option("--master", metavar="URL", help="Of Spark: local[2] (default: local[*]), spark://HOST:7077 ..."),
    ] = None,
) -> None:
    """Ask many farms at once: each answers from its own ledger, side by side, and each row names its site.

    The same as naming them: gillbook yields --farm A --farm B. A farm that cannot answer is named, and others do.
    With --engine spark: yields, flushes, days, losses, months, money and pins, over the files that many DIR export
    --format parquet wrote; it needs gillbook[spark] and Java.
    """
    from pipeline.cli.farm_answers import farms_in

    if any(word.partition("=")[0] == "--farm" for word in words):
        raise WrongRequest("--farm: many asks all farms in its folder. Leave it away, or leave many away.")
    if engine is Engine.spark:
        from pipeline.cli.many_spark import answer_on_spark

        answer_on_spark(folder, without_site(joined(words)), master or "local[*]")
    if master is not None:
        raise WrongRequest("--master: is Spark's. Add --engine spark, or leave it away.")
    _show(farms_in(Path(folder)), joined(words))


def answer_for_each(command: str, args: Sequence[str]) -> None:
    """Let each farm that --farm names answer the command, and end; a command that is about one farm is let be.

    Raises WrongRequest for what is no farm, and for a farm that is named twice.
    """
    if command not in READING:
        return
    from pipeline.cli.farm_answers import named_farms

    folders, rest = _parted(args)
    _show(named_farms(folders), [command, *rest])


def _parted(args: Sequence[str]) -> tuple[list[Path], list[str]]:
    """The folders that --farm names, and the other words."""
    folders, rest = [], []
    words = iter(args)
    for word in words:
        name, mark, value = word.partition("=")
        if name != "--farm":
            rest.append(word)
        else:
            folders.append(Path(value if mark else next(words, "")))
    return folders, rest


def _show(farms: Mapping[str, Path], words: Sequence[str]) -> NoReturn:
    from pipeline.cli.farm_answers import answers_of
    from pipeline.cli.farm_memory import at_once
    from pipeline.cli.together import show_together

    if words[0] not in READING:
        hint = did_you_mean(words[0], READING)
        raise WrongRequest(f"{words[0]}: is about one farm at a time.{hint} Many answer {listed(READING)}.")
    if words[0] == "plan" and any(word.partition("=")[0] == "--out" for word in words):
        raise WrongRequest("--out: rows to fill in are one farm's. Leave it away, or ask one farm: --farm.")
    if words[0] == "report" and "--open" in words:
        raise WrongRequest("--open: would open a page for each farm. Leave it away; each farm's is named.")
    if words[0] == "export":
        from pipeline.cli.export_many import export_many

        export_many(farms, words)
    if words[0] == "compare":
        notify(
            "Each site is compared by itself, with its own soaks: what holds on one need not hold on another. Of one "
            "factor asked for by name an answer over all sites follows."
        )
    requests = {site: [*without_site(words), "--farm", str(farm)] for site, farm in farms.items()}
    number = at_once([*farms.values()], words[0])
    raise typer.Exit(show_together(answers_of(requests, number), "--json" in words))


def without_site(words: Sequence[str]) -> list[str]:
    """Return the words without `site` among the columns to group by, for each farm is a site: alone it stands for all
    of it.
    """
    found: list[str] = []
    for word in words:
        name, mark, value = word.partition("=")
        if name == "--by" and mark:
            found.append(f"--by={_other_columns(value)}")
        else:
            found.append(_other_columns(word) if found and found[-1] == "--by" else word)
    return found


def _other_columns(columns: str) -> str:
    named = [each.strip() for each in columns.split(",")]
    if SITE not in named:
        return columns
    return ",".join(each for each in named if each != SITE) or "all"
