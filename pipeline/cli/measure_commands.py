"""The commands that tell figures: yields, days, losses, months."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import RUN, open_the_farm
from pipeline.cli.group_screen import (
    MOST_NAMED,
    TOGETHER,
    group_name,
    notify_derived,
    print_groups,
    read_groups,
    with_names,
)
from pipeline.cli.options import ByOption, ReadOptions, spread
from pipeline.cli.show import Column, notify
from schemas.confidence import LEVEL, percent
from schemas.phrases import ONE_OVEN_TEST, counted
from schemas.result_rows import Row, number_of, whole_of

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
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
        # Which cells they are, only a farm's own ledger knows.
        missing = [] if RUN.view_of else [cell for cell in missing_cells(view) if cell.number == "BE"]
    if not print_groups(view.query, rows, _yield_columns(rows, through_flush), read.json):
        return
    notify(
        f"As of {view.query.as_of}. known: flush {through_flush or 1} is over; open: of these, still running. BE: "
        f"fresh over dry substrate mass; finished: of containers that are closed or lapsed. {TOGETHER}"
    )
    notify_derived(rule, read.json)
    _notify_by_mass(rows)
    _notify_lacking(view.query, rows)
    if missing:
        _notify_missing(open_the_farm(read.farm), missing)


def _yield_columns(rows: Sequence[Row], through_flush: int | None) -> list[Column]:
    """The columns of the table: mass per container where a BE is missing of what has ended, in its place where no BE
    is known at all.
    """
    by_mass = [row for row in rows if row["be_finished_pct"] is None and row["fresh_g_per_litre"] is not None]
    of_mass = [Column("fresh_g_per_container", "kg per\ncontainer", 2, 0.001)] if _by_mass(rows) else []
    of_mass += [Column("fresh_g_per_litre", "g per\nlitre", 1)] if by_mass else []
    through = [Column("be_pct", f"BE % 1\nto {through_flush}", 1)] if through_flush else []
    of_be = [Column("be_flush1_pct", "BE %\nflush 1", 1), Column("be_finished_pct", "BE %\nfinished", 1), *through]
    if _by_mass(rows) and not any(row["be_flush1_pct"] is not None for row in rows):
        of_be = []
    return [
        Column("units", "con-\ntainers", 0),
        Column("units_known", "known", 0),
        Column("units_open", "open", 0),
        Column("fresh_g", "fresh\nkg", 2, 0.001),
        *of_be,
        *of_mass,
        Column("spawn_rate_wet_pct", "spawn\n% wet", 1),
    ]


def _by_mass(rows: Sequence[Row]) -> bool:
    """Whether a group that has ended gave no BE for want of a dry mass, but something that can be told by mass."""
    masses = ("fresh_g_per_container", "fresh_g_per_litre")
    return any(row["be_finished_pct"] is None and any(row[name] is not None for name in masses) for row in rows)


def _notify_by_mass(rows: Sequence[Row]) -> None:
    """Say what mass per container is, and what one oven test would add."""
    if not _by_mass(rows):
        return
    unlike = sum(row["fresh_g_per_container"] is None and row["fresh_g_per_litre"] is not None for row in rows)
    notify(
        "Without a dry mass there is no BE. kg per container: of closed or lapsed containers alike in kind and litres; "
        "gillbook compare FACTOR --measure kg compares it."
        + (" Containers that are unlike have g per litre alone." if unlike else "")
    )
    notify(ONE_OVEN_TEST)


def _notify_lacking(query: Query, rows: Sequence[Row]) -> None:
    """Say of which groups pickings are set aside: their figures lack them."""
    lacking = sorted(
        (row for row in rows if row["pickings_set_aside"]), key=lambda row: -number_of(row, "pickings_set_aside")
    )
    named = [f"{group_name(query, row)} {row['pickings_set_aside']}" for row in lacking[:MOST_NAMED]]
    if named:
        more = f" and {len(lacking) - MOST_NAMED} more groups" if len(lacking) > MOST_NAMED else ""
        notify(f"Pickings set aside, which these figures lack: {', '.join(named)}{more}.")


def _notify_missing(farm: Farm, missing: Sequence[MissingCell]) -> None:
    """Say which cells, or columns, would give BE to more containers."""
    from pipeline.ledger.missing_inputs import missing_once
    from pipeline.ledger.places import Places

    places = Places(farm)
    missing = missing_once(places, missing)
    for cell in missing[:MOST_NAMED]:
        place = places.of_cell(cell.table_name, cell.file, cell.row, cell.column_name)
        column = "" if cell.row else "a column "
        notify(f"No dry mass: {column}{place} would give it to {counted(cell.units, 'container')}.")
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
def months(
    weeks: Annotated[bool, typer.Option("--weeks", help="What was picked week by week and strain, instead.")] = False,
    *,
    read: ReadOptions,
) -> None:
    """Tell, month by month, what was picked, what finished and what was inoculated: three things kept apart."""
    from pipeline.farm.prices import currency_of
    from pipeline.models import measures

    with read_groups(read, "all", "months") as view:
        rows = measures.weeks(view) if weeks else measures.months(view)
    if weeks:
        _show_weeks(view.query, rows, read.json)
        return
    columns = [
        Column("month", "month"),
        Column("fresh_g", "picked\nkg", 2, 0.001),
        Column("pickings", "pick-\nings", 0),
        Column("picked_late_pct", "late\n%", 1),
        Column("culled_pct", "culled\n%", 1),
        Column("units_finished", "fin-\nished", 0),
        Column("be_finished_pct", "BE % of\nthese", 1),
        Column("units_inoculated", "inocu-\nlated", 0),
        Column("be_inoculated_pct", "BE % of\nthese", 1),
    ]
    paid = any(row["margin"] is not None for row in rows)
    if paid:
        columns.append(Column("margin", "margin", 0))
    if print_groups(view.query, rows, columns, read.json):
        notify(
            f"As of {view.query.as_of}. BE of these: of the containers that finished in the month, and of those "
            f"inoculated in it that are closed or lapsed. {TOGETHER}"
        )
        if paid:
            notify(f"margin: revenue less cost, in {currency_of(view.settings)}. gillbook money --by month has both.")


def _show_weeks(query: Query, rows: Sequence[Row], json: bool) -> None:
    columns = [
        Column("week", "week from"),
        Column("strain", "strain"),
        Column("fresh_g", "picked\nkg", 2, 0.001),
        Column("pickings", "pickings", 0),
    ]
    if print_groups(query, rows if json else with_names(rows, ("strain",)), columns, json):
        notify(f"As of {query.as_of}. Weeks begin on Monday; a strain without a picking in a week has a row of 0.")
