"""The command that tells what spawn rates gave, and whether a step to the next one pays."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.cli.growth_commands import ask, between
from pipeline.cli.options import AsOfOption, FarmOption, JsonOption, tell
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.models.view import LedgerView, Query, Rows

Told = tuple["Rows", "Rows", "Rows", "Rows", "Rows"]


class Table(StrEnum):
    """Which of its tables does spawn show as JSON?"""

    levels = "levels"
    steps = "steps"
    best = "best"
    points = "points"
    curves = "curves"


def spawn(
    within: Annotated[
        list[str] | None,
        typer.Option(
            "--within", metavar="COLUMN=VALUE", help="Only units with this value; may be given several times."
        ),
    ] = None,
    through_flush: Annotated[
        int | None,
        typer.Option(
            "--through-flush", metavar="K", help="BE of flushes 1 to K. Default: all, of units that are over."
        ),
    ] = None,
    table: Annotated[
        Table | None, typer.Option("--table", help="Only this table: what each rate, step, batch told; or the curves.")
    ] = None,
    as_of: AsOfOption = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Tell what each spawn rate gave, within one recipe, and whether a step to the next rate pays for its spawn."""
    from pipeline.spawn.rates import RECIPE
    from pipeline.spawn.rates import within as meant

    if through_flush is not None and through_flush < 1:
        raise WrongRequest(f"--through-flush {through_flush}: flushes are counted from 1.")
    chosen = meant(within or ())
    by = ",".join(dict.fromkeys((*RECIPE, *chosen)))
    query, found = ask(farm, as_of, by, _measures(chosen), through_flush)
    tables = dict(zip((each.value for each in Table), found, strict=True))
    if json:
        from pipeline.cli.show import as_json

        as_json(tables[(table or Table.levels).value])
    elif not tables["levels"]:
        tell(f"No batch with a spawn rate as of {query.as_of}. It takes spawn_kg and substrate_wet_kg in batches.csv.")
    elif table in (Table.points, Table.curves):
        _show_plain(query, tables[table.value])
    else:
        _show(query, tables, table)


def _measures(chosen: Mapping[str, str]) -> Callable[[Mapping[str, Any]], list[Callable[..., Rows]]]:
    def named(settings: Mapping[str, Any]) -> list[Callable[..., Rows]]:
        from pipeline.spawn import summary as growth
        from pipeline.spawn.best_rate import best
        from pipeline.spawn.steps import steps

        asked: list[growth.Spawn] = []

        def once(view: LedgerView) -> growth.Spawn:
            if not asked:
                asked.append(growth.spawn(view, settings, chosen))
            return asked[0]

        tables = (growth.levels, steps, best, growth.points, growth.curves)
        return [lambda view, of=of: of(once(view)) for of in tables]

    return named


def telling(rows: Rows, by: Sequence[str]) -> list[str]:
    """Which of these columns set the rows' groups apart? Those without which two groups would look alike."""
    kept = list(by)
    groups = {tuple(row[name] for name in by) for row in rows}
    for name in reversed(by):
        others = [each for each in kept if each != name]
        if len({tuple(row[each] for each in others) for row in rows}) == len(groups):
            kept = others
    return kept


def _show(query: Query, tables: Mapping[str, Rows], only: Table | None) -> None:
    several = {tuple(row[name] for name in query.by) for row in tables["steps"]}
    levels = [row for row in tables["levels"] if tuple(row[name] for name in query.by) in several]
    priced = any(row["margin_difference"] is not None for row in tables["steps"])
    columns = telling(levels or tables["levels"], query.by)
    if only in (None, Table.levels):
        _show_levels(levels or tables["levels"], columns, priced)
    if only in (None, Table.steps) and tables["steps"]:
        if only is None:
            typer.echo("")
        _show_steps(tables["steps"], columns, priced)
    tell(
        f"As of {query.as_of}, within one recipe. rate: spawn over wet substrate. BE: mean over soaks that are told "
        "to the end; limits of 95 % from the soaks."
    )
    alone = len({tuple(row[name] for name in query.by) for row in tables["levels"]} - several)
    if alone:
        tell(f"{alone} {'recipe was' if alone == 1 else 'recipes were'} tried at one rate only.")
    if tables["steps"] and not priced:
        tell("Whether a step pays, price_per_kg and spawn_cost_per_kg in farm.toml would tell.")
    _tell_steps(tables["steps"], columns)
    _tell_best(tables["best"], columns)


def _show_levels(rows: Rows, columns: list[str], priced: bool) -> None:
    from pipeline.cli.show import Column, as_table

    shown = [
        {
            **row,
            "be": between(row, "be_pct", "be_low_pct", "be_high_pct", 0),
            "pins": between(row, "median_days_to_pins", "median_low_days", "median_high_days", 0),
        }
        for row in rows
    ]
    told = [
        Column("rate_wet_pct", "rate\n%", 1),
        Column("soaks", "soaks", 0),
        Column("units_not_yet", "not\nyet", 0),
        Column("be", "BE %", whole=True),
        Column("be_with_spawn_pct", "spawn\ncounted", 0),
        Column("pins", "half pins\nby day", whole=True),
        Column("lost_pct", "lost\n%", 0),
    ]
    if priced:
        told.append(Column("margin_per_kg_dry", "margin\na kg dry", 2))
    as_table(shown, [*(Column(name, name) for name in columns), *told])


def _show_steps(rows: Rows, columns: list[str], priced: bool) -> None:
    from pipeline.cli.show import Column, as_table

    names = ("margin_difference", "margin_difference_low", "margin_difference_high")
    if not priced:
        names = ("be_difference_pct", "be_difference_low_pct", "be_difference_high_pct")
    shown = [{**row, "difference": between(row, *names, 2 if priced else 1)} for row in rows]
    told = [
        Column("from_rate_wet_pct", "from\n%", 1),
        Column("to_rate_wet_pct", "to\n%", 1),
        Column("extra_spawn_per_kg_dry", "more spawn\na kg dry", 2),
        Column("difference", "margin of the step\na kg dry" if priced else "more BE\n%", whole=True),
        Column("answer", "answer", whole=True),
    ]
    as_table(shown, [*(Column(name, name) for name in columns), *told])


def _called(row: Mapping[str, Any], columns: list[str]) -> str:
    words = " ".join(row[name] for name in columns if row[name])
    return f"{words}, " if words else ""


def _tell_steps(rows: Rows, columns: list[str]) -> None:
    for row in rows:
        if row["why"]:
            step = f"{row['from_rate_wet_pct']:.1f} to {row['to_rate_wet_pct']:.1f} %"
            tell(f"{_called(row, columns)}{step}: {row['why']}. {row['next_step']}")


def _tell_best(rows: Rows, columns: list[str]) -> None:
    for row in rows:
        start = f"{_called(row, columns)}best rate: "
        if row["why"]:
            tell(f"{start}cannot tell, for {row['why']}. {row['next_step']}")
        else:
            limits = between(row, "best_rate_wet_pct", "best_low_pct", "best_high_pct", 1)
            tell(f"{start}{limits} % of wet substrate, by {'margin' if row['of'] == 'margin' else 'BE'}.")


def _show_plain(query: Query, rows: Rows) -> None:
    from pipeline.cli.show import Column, as_table

    columns = telling(rows, query.by)
    texts = ("batch", "soak", "measure")
    names = [name for name in (rows[0] if rows else {}) if name not in query.by and name not in ("units", "known")]
    if not rows:
        tell("No curve: it takes four rates of one recipe, and four soaks.")
        return
    as_table(
        rows,
        [
            *(Column(name, name) for name in columns),
            *(Column(name, name.replace("_", "\n"), None if name in texts else 1) for name in names),
        ],
    )
