"""The commands that tell figures: yields, days, losses, months."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.group_screen import MOST_NAMED, TOGETHER, group_name, notify_derived, print_groups, read_groups
from pipeline.cli.options import ByOption, ReadOptions, spread
from pipeline.cli.show import Column, notify
from schemas.confidence import LEVEL, percent
from schemas.phrases import counted
from schemas.result_rows import Row, number_of, whole_of

if TYPE_CHECKING:
    from pipeline.models.missing_cells import MissingCell
    from pipeline.models.view import Query


@spread
def yields(
    by: ByOption = "batch",
    through_flush: Annotated[
        int | None,
        typer.Option("--through-flush", metavar="K", help="Also BE of flushes 1 to K, of containers known through K."),
    ] = None,
    *,
    read: ReadOptions,
) -> None:
    """Tell biological efficiency, by batch or any other column. It is fresh mass over dry substrate mass."""
    from pipeline.models import measures
    from pipeline.models.flush_rule import flush_rule
    from pipeline.models.missing_cells import missing_cells

    with read_groups(read, by, "yields", through_flush) as view:
        rule = flush_rule(view)
        rows = measures.yields(view)
        missing = [cell for cell in missing_cells(view) if cell.number == "BE"]
    if not print_groups(view.query, rows, _yield_columns(through_flush), read.json):
        return
    notify(
        f"As of {view.query.as_of}. known: flush {through_flush or 1} is over; open: of these, still running. BE: "
        f"fresh over dry substrate mass; finished: of containers that are closed or lapsed. {TOGETHER}"
    )
    notify_derived(rule, read.json)
    _notify_lacking(view.query, rows)
    _notify_missing(missing)


def _yield_columns(through_flush: int | None) -> list[Column]:
    through = [Column("be_pct", f"BE % 1\nto {through_flush}", 1)] if through_flush else []
    return [
        Column("units", "con-\ntainers", 0),
        Column("units_known", "known", 0),
        Column("units_open", "open", 0),
        Column("fresh_g", "fresh\nkg", 2, 0.001),
        Column("be_flush1_pct", "BE %\nflush 1", 1),
        Column("be_finished_pct", "BE %\nfinished", 1),
        *through,
        Column("spawn_rate_wet_pct", "spawn\n% wet", 1),
    ]


def _notify_lacking(query: Query, rows: Sequence[Row]) -> None:
    """Say of which groups pickings are set aside: their figures lack them."""
    lacking = sorted(
        (row for row in rows if row["pickings_set_aside"]), key=lambda row: -number_of(row, "pickings_set_aside")
    )
    named = [f"{group_name(query, row)} {row['pickings_set_aside']}" for row in lacking[:MOST_NAMED]]
    if named:
        more = f" and {len(lacking) - MOST_NAMED} more groups" if len(lacking) > MOST_NAMED else ""
        notify(f"Pickings set aside, which these figures lack: {', '.join(named)}{more}.")


def _notify_missing(missing: Sequence[MissingCell]) -> None:
    """Say which cells would give BE to more containers."""
    for cell in missing[:MOST_NAMED]:
        place = f"{cell.file}, row {cell.row}, {cell.column_name}"
        notify(f"No dry mass: {place} would give it to {counted(cell.units, 'container')}.")
    if len(missing) > MOST_NAMED:
        notify(f"No dry mass: {len(missing) - MOST_NAMED} more cells. gillbook check lists them.")


@spread
def days(by: ByOption = "substrate", *, read: ReadOptions) -> None:
    """Tell how long the waits are: to colonised, to pins, to the first picking, between flushes, the whole cycle."""
    from pipeline.models import measures

    with read_groups(read, by, "days") as view:
        rows = measures.days(view)
    columns = [
        Column("wait", "wait"),
        Column("n", "n", 0),
        Column("mean_days", "mean\ndays", 1),
        Column("median_days", "median\ndays", 1),
        Column("q1_days", "1st\nquart.", 1),
        Column("q3_days", "3rd\nquart.", 1),
        Column("units_not_yet", "not\nyet", 0),
        Column("units_lost", "lost", 0),
    ]
    if print_groups(view.query, rows, columns, read.json):
        notify(
            f"As of {view.query.as_of}. n: containers with both days noted; lost: ended before it. One that passed an "
            f"event without a note of it is in no count. {TOGETHER}"
        )


@spread
def losses(by: ByOption = "substrate", *, read: ReadOptions) -> None:
    """Tell what was closed without a picking, and in how many soaks. By container: over all its fillings."""
    from pipeline.models import measures

    with read_groups(read, by, "losses", add_batch=False) as view:
        rows = measures.losses(view)
    columns = [
        Column("units", "con-\ntainers", 0),
        Column("units_not_yet", "not\nyet", 0),
        Column("lost", "lost", 0),
        Column("lost_pct", "lost\n%", 1),
        Column("soaks", "soaks", 0),
        Column("soaks_with_loss", "with\nloss", 0),
        Column("low_pct", f"{percent(LEVEL)}\nfrom", 1),
        Column("high_pct", f"{percent(LEVEL)}\nto", 1),
        Column("contaminated_after_pick", "out\nlater", 0),
    ]
    if not read.json:
        # What keeps failing comes first on the screen; JSON keeps the order of the groups.
        rows = sorted(rows, key=lambda row: -number_of(row, "lost"))
    if not print_groups(view.query, rows, columns, read.json):
        return
    lost = sum(whole_of(row, "lost") for row in rows)
    known = sum(whole_of(row, "units") - whole_of(row, "units_not_yet") for row in rows)
    notify(
        f"As of {view.query.as_of}: {lost} of {known} lost before a picking. The limits come from the shares of "
        f"soaks. {TOGETHER}"
    )
    for why in dict.fromkeys(row["why_no_interval"] for row in rows if row["why_no_interval"]):
        notify(f"No limits where: {why}.")


@spread
def months(*, read: ReadOptions) -> None:
    """Tell, month by month, what was picked, what finished and what was inoculated: three things kept apart."""
    from pipeline.models import measures

    with read_groups(read, "all", "months") as view:
        rows = measures.months(view)
    columns = [
        Column("month", "month"),
        Column("fresh_g", "picked\nkg", 2, 0.001),
        Column("pickings", "pickings", 0),
        Column("picked_late_pct", "late\n%", 1),
        Column("culled_pct", "culled\n%", 1),
        Column("units_finished", "finished", 0),
        Column("be_finished_pct", "BE % of\nfinished", 1),
        Column("units_inoculated", "inocu-\nlated", 0),
        Column("be_inoculated_pct", "BE % of\nthese", 1),
    ]
    if print_groups(view.query, rows, columns, read.json):
        notify(
            f"As of {view.query.as_of}. BE of these: of the containers inoculated in the month that are closed or "
            f"lapsed. {TOGETHER}"
        )
