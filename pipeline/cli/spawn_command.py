"""The command that tells what spawn rates gave, and whether a step to the next one pays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.group_screen import TOGETHER, read_groups, with_limits
from pipeline.cli.money_ahead import prices_of_day, would_tell
from pipeline.cli.options import ReadOptions, WithinOption, spread
from pipeline.cli.show import Column, notify, print_json, print_table
from schemas.confidence import LEVEL, percent
from schemas.phrases import counted
from schemas.result_rows import Row, text_of

if TYPE_CHECKING:
    from pipeline.models.view import Query
    from schemas.result_rows import ResultRows


class SpawnTable(StrEnum):
    """Which of its tables spawn shows alone, or as JSON."""

    levels = "levels"
    steps = "steps"
    best = "best"
    points = "points"
    curves = "curves"


@spread
def spawn(
    within: WithinOption = None,
    through_flush: Annotated[
        int | None,
        typer.Option(
            "--through-flush", metavar="K", help="BE of flushes 1 to K. Default: all, of containers that are over."
        ),
    ] = None,
    table: Annotated[
        SpawnTable | None,
        typer.Option("--table", help="Only this table: what each rate, step, batch gave; or the curves."),
    ] = None,
    *,
    read: ReadOptions,
) -> None:
    """Tell what each spawn rate gave, within one recipe, and whether a step to the next rate pays for its spawn."""
    from pipeline.spawn import summary
    from pipeline.spawn.best_rate import best
    from pipeline.spawn.rates import RECIPE
    from pipeline.spawn.rates import within as chosen_labels
    from pipeline.spawn.steps import steps

    chosen = chosen_labels(within or ())
    by = ",".join(dict.fromkeys((*RECIPE, *chosen)))
    with read_groups(read, by, "growth", through_flush) as view:
        tested = summary.spawn(view, view.settings, chosen)
        made = dict(zip(SpawnTable, (summary.levels, steps, best, summary.points, summary.curves), strict=True))
        wanted = {SpawnTable.levels, SpawnTable.steps, SpawnTable.best, table or SpawnTable.levels}
        tables = {each: make(tested) for each, make in made.items() if each in wanted}
    if read.json:
        print_json(tables[table or SpawnTable.levels])
    elif not tables[SpawnTable.levels]:
        day = view.query.as_of
        notify(f"No batch with a spawn rate as of {day}. It takes spawn_kg and substrate_wet_kg in batches.csv.")
    elif table in (SpawnTable.points, SpawnTable.curves):
        _show_plain(view.query, tables[table])
    else:
        _show(view.query, tables, table, prices_of_day(view.settings))


def distinguishing(rows: Sequence[Row], by: Sequence[str]) -> list[str]:
    """Return which of these columns set the rows' groups apart: those without which two groups would look alike."""
    needed = list(by)
    groups = {tuple(row[name] for name in by) for row in rows}
    for name in reversed(by):
        others = [each for each in needed if each != name]
        if len({tuple(row[each] for each in others) for row in rows}) == len(groups):
            needed = others
    return needed


def _show(query: Query, tables: Mapping[SpawnTable, ResultRows], only: SpawnTable | None, reckoned: str) -> None:
    several = {tuple(row[name] for name in query.by) for row in tables[SpawnTable.steps]}
    levels = [row for row in tables[SpawnTable.levels] if tuple(row[name] for name in query.by) in several]
    priced = any(row["margin_difference"] is not None for row in tables[SpawnTable.steps])
    by = distinguishing(levels or tables[SpawnTable.levels], query.by)
    if only in (None, SpawnTable.levels):
        _show_levels(levels or tables[SpawnTable.levels], by, priced)
    if only in (None, SpawnTable.steps) and tables[SpawnTable.steps]:
        if only is None:
            typer.echo("")
        _show_steps(tables[SpawnTable.steps], by, priced)
    notify(
        f"As of {query.as_of}, within one recipe. rate: spawn over wet substrate. BE: mean over soaks that are "
        f"over; limits of {percent(LEVEL)} from the soaks. {TOGETHER}"
    )
    alone = len({tuple(row[name] for name in query.by) for row in tables[SpawnTable.levels]} - several)
    if alone:
        notify(f"{counted(alone, 'recipe was', 'recipes were')} tried at one rate only.")
    if tables[SpawnTable.steps] and priced:
        notify(f"margin of a kg of dry substrate, less its spawn. {reckoned}")
    elif tables[SpawnTable.steps]:
        notify(f"Whether a step pays, {would_tell(query.as_of)}")
    _notify_steps(tables[SpawnTable.steps], by)
    _notify_best(tables[SpawnTable.best], by)


def _show_levels(rows: Sequence[Row], by: list[str], priced: bool) -> None:
    shown = [
        {
            **row,
            "be": with_limits(row, "be_pct", "be_low_pct", "be_high_pct", 0),
            "pins": with_limits(row, "median_days_to_pins", "median_low_days", "median_high_days", 0),
        }
        for row in rows
    ]
    columns = [
        Column("rate_wet_pct", "rate\n%", 1),
        Column("soaks", "soaks", 0),
        Column("units_not_yet", "not\nyet", 0),
        Column("be", "BE %", whole=True),
        Column("be_with_spawn_pct", "spawn\ncounted", 0),
        Column("pins", "half pins\nby day", whole=True),
        Column("lost_pct", "lost\n%", 0),
    ]
    if priced:
        columns.append(Column("margin_per_kg_dry", "margin\na kg dry", 2))
    print_table(shown, [*(Column(name, name) for name in by), *columns])


def _show_steps(rows: Sequence[Row], by: list[str], priced: bool) -> None:
    names = ("margin_difference", "margin_difference_low", "margin_difference_high")
    if not priced:
        names = ("be_difference_pct", "be_difference_low_pct", "be_difference_high_pct")
    shown = [{**row, "difference": with_limits(row, *names, 2 if priced else 1)} for row in rows]
    columns = [
        Column("from_rate_wet_pct", "from\n%", 1),
        Column("to_rate_wet_pct", "to\n%", 1),
        Column("extra_spawn_per_kg_dry", "more spawn\na kg dry", 2),
        Column("difference", "margin of the step\na kg dry" if priced else "more BE\n%", whole=True),
        Column("answer", "answer", whole=True),
    ]
    print_table(shown, [*(Column(name, name) for name in by), *columns])


def _called(row: Row, by: list[str]) -> str:
    words = " ".join(text_of(row, name) for name in by if row[name])
    return f"{words}, " if words else ""


def _notify_steps(rows: Sequence[Row], by: list[str]) -> None:
    for row in rows:
        if row["why"]:
            step = f"{row['from_rate_wet_pct']:.1f} to {row['to_rate_wet_pct']:.1f} %"
            notify(f"{_called(row, by)}{step}: {row['why']}. {row['next_step']}")


def _notify_best(rows: Sequence[Row], by: list[str]) -> None:
    for row in rows:
        start = f"{_called(row, by)}best rate: "
        if row["why"]:
            notify(f"{start}cannot tell, for {row['why']}. {row['next_step']}")
        else:
            limits = with_limits(row, "best_rate_wet_pct", "best_low_pct", "best_high_pct", 1)
            notify(f"{start}{limits} % of wet substrate, by {'margin' if row['of'] == 'margin' else 'BE'}.")


def _show_plain(query: Query, rows: Sequence[Row]) -> None:
    by = distinguishing(rows, query.by)
    texts = ("batch", "soak", "measure")
    names = [name for name in (rows[0] if rows else {}) if name not in query.by and name not in ("units", "known")]
    if not rows:
        notify("No curve: it takes four rates of one recipe, and four soaks.")
        return
    print_table(
        rows,
        [
            *(Column(name, name) for name in by),
            *(Column(name, name.replace("_", "\n"), None if name in texts else 1) for name in names),
        ],
    )
