"""One question to many farms, answered by Spark over the Parquet files that `export` wrote of them."""

from __future__ import annotations

import io
from collections.abc import Sequence
from contextlib import redirect_stdout
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import typer

from pipeline.cli.commands import command
from pipeline.cli.farm_access import RUN
from pipeline.cli.farm_answers import FarmAnswer
from pipeline.cli.show import GATHERING, Gathered
from pipeline.cli.together import show_together
from schemas.finding import OutOfReach, WrongRequest
from schemas.phrases import did_you_mean, listed
from schemas.steps import STEPS

if TYPE_CHECKING:
    from pipeline.spark.engine import Sites

# What is worked out from measures alone: all else reads what only a farm's own ledger has.
ON_SPARK = ("yields", "flushes", "days", "losses", "months", "money", "pins")


def answer_on_spark(folder: str, words: Sequence[str], master: str) -> NoReturn:
    """Show the answers of all farms whose export lies in a folder, which Spark reads, and end.

    Raises WrongRequest for another command, for what names no master, and for a folder without an export; OutOfReach
    where Spark cannot.
    """
    from pipeline.export.decided import DECIDED
    from pipeline.spark.master import check_master
    from pipeline.spark.session import spark_problem, spark_session, why_not

    check_master(master)
    if words[0] not in ON_SPARK:
        hint = did_you_mean(words[0], ON_SPARK)
        raise WrongRequest(f"{words[0]}: Spark does not answer that.{hint} It answers {listed(ON_SPARK)}.")
    if "--weeks" in words:
        raise WrongRequest("--weeks: Spark does not answer that. Leave it away, or leave --engine away.")
    if "://" not in folder and not (Path(folder) / DECIDED).is_dir():
        raise WrongRequest(
            f"{folder}: is no export of many farms. Write one: gillbook many FARMS export --to DIR --format parquet"
        )
    if reason := why_not():
        raise OutOfReach(reason)
    from pipeline.spark.engine import Sites

    place = folder if "://" in folder else str(Path(folder).resolve())
    with STEPS.during("Asking Spark"), spark_session(master) as session, spark_problem(place):
        sites = Sites(session, f"{place.rstrip('/')}/{DECIDED}")
        answers = {site: _answer(sites, site, words) for site in sites.farms}
    raise typer.Exit(show_together(answers, "--json" in words))


def _answer(sites: Sites, site: str, words: Sequence[str]) -> FarmAnswer:
    """Run the command for one site, as `farm_child` does for a farm."""
    from pipeline.spark.site_view import SiteView

    GATHERING.into, said = Gathered(), io.StringIO()
    RUN.view_of = lambda query: SiteView(sites, site, query)
    try:
        with redirect_stdout(said):
            code = command(words[0])(args=list(words[1:]), standalone_mode=False)
        return FarmAnswer(int(code or 0), GATHERING.into, said.getvalue())
    finally:
        GATHERING.into, RUN.view_of = None, None
