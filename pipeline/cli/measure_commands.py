"""The commands that tell figures: yields, days, losses, months."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.options import (
    AsOfOption,
    ByOption,
    FarmOption,
    JsonOption,
    day,
    refreshed,
    tell,
    tell_set_aside,
    timed,
)
from pipeline.cli.options import the_farm as open_the_farm
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.cli.show import Column
    from pipeline.models.view import Query, Rows


def _ask(
    farm_dir: Path | None, as_of: str | None, by: str, through: int | None, name: str, add_batch: bool = True
) -> tuple[Query, Rows, Rows]:
    """Brings the ledger up to date and puts the question to the measure called `name`. Of `yields`, the last part is
    the cells that would give BE to more units.
    """
    from pipeline.models import measures
    from pipeline.models.groups import grouping
    from pipeline.models.view import Query, opened

    if through is not None and through < 1:
        raise WrongRequest(f"--through-flush {through}: flushes are counted from 1.")
    query = Query(day(as_of), grouping(by, add_batch), through)
    farm = open_the_farm(farm_dir)
    done = refreshed(farm)
    with timed(name), opened(farm.ledger, farm.settings) as ledger:
        view = ledger.view(query)
        rows = getattr(measures, name)(view)
        cells = measures.missing_cells(view) if name == "yields" else []
    tell_set_aside(done)
    return query, rows, [cell for cell in cells if cell["number"] == "BE"]


def show_rows(query: Query, rows: Rows, columns: list[Column], json: bool) -> bool:
    """Prints the rows as JSON or as a plain table; True when a table was printed that a word may follow."""
    from pipeline.cli.show import Column, as_json, as_table

    if json:
        as_json(rows)
    elif not rows:
        tell(f"No batch is loaded as of {query.as_of}. Fill in batches.csv, or mend it: gillbook check.")
    else:
        as_table(rows, [*(Column(name, name) for name in query.by), *columns])
    return bool(rows) and not json


def _tell_aside(query: Query, rows: Rows, most: int = 3) -> None:
    """Says of which groups pickings are set aside: their figures lack them."""
    lacking = sorted((row for row in rows if row["pickings_set_aside"]), key=lambda row: -row["pickings_set_aside"])
    named = [
        f"{' '.join(row[name] or '(blank)' for name in query.by) or 'the farm'} {row['pickings_set_aside']}"
        for row in lacking[:most]
    ]
    if named:
        more = f" and {len(lacking) - most} more groups" if len(lacking) > most else ""
        tell(f"Pickings set aside, which these figures lack: {', '.join(named)}{more}.")


def _tell_missing(missing: Rows, most: int = 3) -> None:
    for cell in missing[:most]:
        units = "1 unit" if cell["units"] == 1 else f"{cell['units']} units"
        tell(f"No dry mass: {cell['file']}, row {cell['row']}, {cell['column_name']} would tell it for {units}.")
    if len(missing) > most:
        tell(f"No dry mass: {len(missing) - most} more cells. gillbook check lists them.")


def yields(
    by: ByOption = "batch",
    through_flush: Annotated[
        int | None,
        typer.Option("--through-flush", metavar="K", help="Also BE of flushes 1 to K, of units known through K."),
    ] = None,
    as_of: AsOfOption = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Tell biological efficiency, by batch or any other column. It is fresh mass over dry substrate mass."""
    query, rows, missing = _ask(farm, as_of, by, through_flush, "yields")
    if not show_rows(query, rows, _yield_columns(query), json):
        return
    known = f"flush {through_flush or 1}"
    tell(
        f"As of {query.as_of}. known: told through {known}; open: of these, still running. BE: fresh over dry "
        "substrate mass; finished: of containers that are closed or lapsed."
    )
    _tell_aside(query, rows)
    _tell_missing(missing)


def _yield_columns(query: Query) -> list[Column]:
    from pipeline.cli.show import Column

    shown = [
        Column("units", "units", 0),
        Column("units_known", "known", 0),
        Column("units_open", "open", 0),
        Column("fresh_g", "fresh\nkg", 2, 0.001),
        Column("be_flush1_pct", "BE %\nflush 1", 1),
        Column("be_finished_pct", "BE %\nfinished", 1),
    ]
    if query.through_flush:
        shown.append(Column("be_pct", f"BE % 1\nto {query.through_flush}", 1))
    shown.append(Column("spawn_rate_wet_pct", "spawn\n% wet", 1))
    return shown


def days(
    by: ByOption = "substrate", as_of: AsOfOption = None, json: JsonOption = False, farm: FarmOption = None
) -> None:
    """Tell how long the waits are: to colonised, to pins, to the first picking, between flushes, the whole cycle."""
    from pipeline.cli.show import Column

    query, rows, _ = _ask(farm, as_of, by, None, "days")
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
    if show_rows(query, rows, columns, json):
        tell(
            f"As of {query.as_of}. n: units with both days noted; lost: ended before it. "
            "A unit that passed an event without a note of it is in no count."
        )


def losses(
    by: ByOption = "substrate", as_of: AsOfOption = None, json: JsonOption = False, farm: FarmOption = None
) -> None:
    """Tell what was closed without a picking, and in how many soaks. By container: over all its fillings."""
    from pipeline.cli.show import Column

    query, rows, _ = _ask(farm, as_of, by, None, "losses", add_batch=False)
    columns = [
        Column("units", "units", 0),
        Column("units_not_yet", "not\nyet", 0),
        Column("lost", "lost", 0),
        Column("lost_pct", "lost\n%", 1),
        Column("soaks", "soaks", 0),
        Column("soaks_with_loss", "with\nloss", 0),
        Column("low_pct", "95 %\nfrom", 1),
        Column("high_pct", "95 %\nto", 1),
        Column("contaminated_after_pick", "out\nlater", 0),
    ]
    if not json:
        # What keeps failing comes first on the screen; JSON keeps the order of the groups.
        rows = sorted(rows, key=lambda row: -row["lost"])
    if not show_rows(query, rows, columns, json):
        return
    lost, told = sum(row["lost"] for row in rows), sum(row["units"] - row["units_not_yet"] for row in rows)
    tell(f"As of {query.as_of}: {lost} of {told} lost before a picking. The limits come from the shares of soaks.")
    for why in dict.fromkeys(row["why_no_interval"] for row in rows if row["why_no_interval"]):
        tell(f"No limits where: {why}.")


def months(as_of: AsOfOption = None, json: JsonOption = False, farm: FarmOption = None) -> None:
    """Tell, month by month, what was picked, what finished and what was inoculated: three things kept apart."""
    from pipeline.cli.show import Column

    query, rows, _ = _ask(farm, as_of, "all", None, "months")
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
    if show_rows(query, rows, columns, json):
        tell(f"As of {query.as_of}. BE of these: of the units inoculated in the month that are closed or lapsed.")
