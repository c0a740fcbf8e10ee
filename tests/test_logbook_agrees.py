"""The logbook looks things up without the ledger: by the same rules, so both say the same of the demo farm."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import duckdb
import polars as pl
import pytest
from ledgers import refreshed

from pipeline.farm.folder import Farm, open_farm
from pipeline.logbook import cells
from pipeline.logbook.containers import Assignment, Containers, flush_of
from pipeline.logbook.summaries import current_summaries
from schemas.cell_format import CellFormat
from schemas.contract import INPUTS, Field, contract
from schemas.values import valued

DEMO = Path(__file__).resolve().parents[1] / "demo_data"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Farm, Containers, duckdb.DuckDBPyConnection]]:
    folder = tmp_path_factory.mktemp("agrees") / "farm"
    shutil.copytree(DEMO, folder)
    refreshed(folder)
    farm = open_farm(folder)
    with duckdb.connect(str(folder / "ledger.duckdb"), read_only=True) as con:
        yield farm, Containers(farm, current_summaries(farm, {})[0]), con


def test_it_is_the_same_filling_that_a_container_alone_belongs_to(
    demo: tuple[Farm, Containers, duckdb.DuckDBPyConnection],
) -> None:
    _, places, con = demo
    named = con.execute(
        "select h.picked_on, f.container, b.batch from harvest_assignments as h "
        "inner join rows_of_harvests as r on r.line = h.line and r.batch is null "
        "inner join fillings as f on f.line = h.filling_line inner join batches as b on b.line = h.batch_line"
    ).fetchall()
    assert len(named) > 200
    for day, container, batch in named:
        held = places.held(container, day)
        assert held is not None
        assert held.batch == batch


def test_a_filling_ended_on_the_same_day_by_the_same_event(
    demo: tuple[Farm, Containers, duckdb.DuckDBPyConnection],
) -> None:
    _, places, con = demo
    fillings = con.execute(
        "select f.batch, f.container, f.inoculated_on, c.closed_on, c.closed_by from fillings as f "
        "left join closings as c on c.filling_line = f.line"
    ).fetchall()
    assert {row[4] for row in fillings} == {None, "contaminated", "emptied", "refilled"}
    doubtful = con.execute(
        "select container from rows_of_fillings where (file, row) in (select (file, row) from rejected_fillings)"
    ).fetchall()
    assert doubtful
    for batch, container, day, closed_on, closed_by in fillings:
        told = places.end(Assignment(batch, container, day))
        assert told == (None if closed_on is None else (closed_on, closed_by)), (batch, container)


def test_the_flush_that_is_proposed_is_the_one_that_a_blank_cell_would_get(
    demo: tuple[Farm, Containers, duckdb.DuckDBPyConnection],
) -> None:
    farm, places, con = demo
    gap = farm.settings["new_flush_after_days"]
    derived = con.execute(
        "select b.batch, f.container, f.inoculated_on, h.picked_on, h.flush from harvest_assignments as h "
        "inner join rows_of_harvests as r on r.line = h.line and r.flush is null "
        "inner join batches as b on b.line = h.batch_line left join fillings as f on f.line = h.filling_line"
    ).fetchall()
    assert len(derived) > 20
    for batch, container, day, picked_on, flush in derived:
        place = Assignment(batch, container or "", day)
        before = [each for each in places.pickings(place) if each.day <= picked_on]
        assert flush_of(before, picked_on, gap) == flush, (batch, container, picked_on)
        # Of the day's own pickings the flush is theirs; from the earlier ones it is the same, unless one was given.
        earlier = [each for each in before if each.day < picked_on]
        if not any(each.flush for each in before if each.day == picked_on):
            assert flush_of(earlier, picked_on, gap) == flush


def test_the_usual_weight_is_the_one_that_check_compares_with(
    demo: tuple[Farm, Containers, duckdb.DuckDBPyConnection],
) -> None:
    _, places, con = demo
    for together in (False, True):
        weights = [
            float(weight)
            for (weight,) in con.execute(
                "select fresh_weight_g from harvest_assignments where (filling_line is null) = ? order by 1", [together]
            ).fetchall()
        ]
        usual = places.usual_g(together)
        # Rows that are set aside are in no ledger, but the logbook looks at whole files: a handful of hundreds.
        assert usual is not None
        assert abs(sum(weight < usual for weight in weights) - len(weights) / 2) < max(3, 0.05 * len(weights))


def test_what_gave_so_much_gave_so_much(demo: tuple[Farm, Containers, duckdb.DuckDBPyConnection]) -> None:
    _, places, con = demo
    rows = con.execute(
        "select b.batch, f.container, f.inoculated_on, sum(h.fresh_weight_g), count(*) from harvest_assignments as h "
        "inner join batches as b on b.line = h.batch_line inner join fillings as f on f.line = h.filling_line "
        "group by all"
    ).fetchall()
    differing = []
    for batch, container, day, grams, count in rows:
        mine = places.pickings(Assignment(batch, container, day))
        if (sum(each.weight_g for each in mine), len(mine)) != (grams, count):
            differing.append((batch, container))
    # A row that stands twice with equal cells is set aside by the ledger alone.
    assert len(differing) <= 1, differing


TEXTS = [
    "", " ", "-", "N/A", "2026-05-14", "2026-05-14 10:00", "2026-05-14T10:00:00Z", "2026-02-30", "2026-W05-1",
    "20260514", "14.05.2026", "14/5/2026", "5/14/2026", "05-14-2026", "2026/5/14", "14.05.2026 9:30", "31.12.1899",
    "1.1.1900", "412", "412.5", "412,5", "1.234", "1,234.5", "1 234,5", "1'234", "+3", "-3", "1e3", "0x10", ".5", "5.",
    "nan", "3 g", "curled", "Turned down", "TURNED-UP", "flat", "plane", "young", "jung ", "x", "pins", "Pins",
]  # fmt: skip
MANNERS = [
    CellFormat(),
    CellFormat(",", ".", "day_month_year", words={"cap_stage": {"young": "curled", "jung": "curled"}}),
    CellFormat(".", ",", "month_day_year"),
    CellFormat(",", " ", "year_month_day"),
    CellFormat(".", "'", "day_month_year"),
]


@pytest.mark.parametrize("cell_format", MANNERS)
@pytest.mark.parametrize("table", INPUTS)
def test_a_cell_says_the_same_to_the_logbook_as_to_the_ledger(table: str, cell_format: CellFormat) -> None:
    for each in contract(table).fields:
        if "enum" in each.expect:
            continue  # words of one's own are kept as they are
        trimmed = pl.Series([text.strip() or None for text in TEXTS], dtype=pl.String)
        told = valued(trimmed, each, cell_format)["value"].to_list()
        assert [mine(each, text, cell_format) for text in TEXTS] == [theirs(value) for value in told], each.name


def mine(each: Field, text: str, cell_format: CellFormat) -> object:
    """What does the logbook read?"""
    if each.type == "date":
        return cells.day(text, cell_format)
    if each.type == "integer":
        return cells.whole(text, cell_format)
    if each.type == "number":
        number = cells.quantity(text, cell_format)
        return None if number is None else float(number)
    if "enum" in each.constraints:
        return cells.word(text, each, cell_format)
    return cells.text(text, cell_format) or None


def theirs(value: object) -> object:
    """What does the ledger read? A day before 1900 is set aside by its constraint, not by its text."""
    if isinstance(value, date):
        return value if value >= date(1900, 1, 1) else None
    return float(value) if isinstance(value, Decimal) else value


def test_a_day_is_written_as_the_file_writes_its_days() -> None:
    day = date(2026, 5, 4)
    for order, alike, expected in [
        ("day_month_year", "14.12.2026", "04.05.2026"),
        ("day_month_year", "1/2/2026", "4/5/2026"),
        ("month_day_year", "12/31/2026", "05/04/2026"),
        ("year_month_day", "2026/1/2", "2026/5/4"),
        ("day_month_year", "2026-01-02", "2026-05-04"),
        ("day_month_year", "", "2026-05-04"),
        ("", "14.12.2026", "2026-05-04"),
    ]:
        cell_format = CellFormat(date_order=order)
        assert cells.written_day(day, alike, cell_format) == expected
        assert cells.day(expected, cell_format) == day
    for shift in range(400):
        later = day + timedelta(shift)
        assert cells.day(cells.written_day(later, "1.2.2026", MANNERS[1]), MANNERS[1]) == later
