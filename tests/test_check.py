"""The check of cells: what a cast would guess is refused, bounds are where the contracts have them, masses are exact,
and a faulty cell takes no more with it than it must.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from decimal import ROUND_HALF_EVEN, Decimal
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from conftest import gillbook
from hypothesis import example, given, settings
from hypothesis import strategies as st

from schemas.check import Checked, check
from schemas.contract import INPUTS, Field, contract
from schemas.finding import finding

Told = list[tuple[str, str, str | None]]


def check_cells(table: str, column: str, *cells: str | None) -> Checked:
    """Checks a table of as many rows as cells, whose other columns hold what they must."""
    good = {"picked_on": "2026-05-01", "seen_on": "2026-05-01", "inoculated_on": "2026-05-01", "event": "pins"}
    good |= {"fresh_weight_g": "400", "weight_g": "400", "price": "10", "item": "fresh", "per": "kg"}
    good |= {"from_on": "2026-05-01", "sold_on": "2026-05-01", "due_on": "2026-05-01"}
    needed = [each.name for each in contract(table).fields if each.required]
    columns: dict[str, list[str | None]] = {name: [good.get(name, "A")] * len(cells) for name in needed}
    columns[column] = list(cells)
    frame = pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))
    return check(frame.with_row_index("row", offset=2).cast({"row": pl.Int32}), contract(table))


def verdict(table: str, column: str, cell: str | None) -> tuple[Any, Told]:
    """What is the cell's value, and what is told of it: (rule, level, value)?"""
    done = check_cells(table, column, cell)
    told = done.findings.filter(column_name=column).select("rule", "level", "value").rows()
    assert done.findings.height == len(told), "nothing is told of the other cells"
    assert done.frame["faulty"].to_list() == [any(level == "set_aside" for _, level, _ in told)]
    return done.frame[column][0], told


def fields() -> list[tuple[str, Field]]:
    return [(table, each) for table in INPUTS for each in contract(table).fields]


def named(case: object) -> str | None:
    return case.name if isinstance(case, Field) else None


NOT_NUMBERS = ["0x10", "1_000", "nan", "infinity", "1e3", "-INF", "1,5", "12 g", "\u0664\u0660", "1 000", "--1"]
OTHER_MARKS = ["1,5", "1 000"]
OTHER_DATES = {"03/04/2026": "date_two_ways", "2026-1-5": "date_spelling"}
NOT_DATES = ["epoch", "infinity", "today", "03/04/2026", "2026-1-5", "20260105", "2026-02-29", "2026-01-05x"]


@pytest.mark.parametrize("cell", NOT_NUMBERS)
def test_a_cell_that_a_cast_would_guess_is_no_number(cell: str) -> None:
    rule = "decimal_mark" if cell in OTHER_MARKS else "number"
    assert verdict("harvests", "fresh_weight_g", cell) == (None, [(rule, "set_aside", cell)])
    assert verdict("harvests", "culled_g", cell) == (None, [(rule, "dropped", cell)])
    assert verdict("batches", "treatment_h", cell) == (None, [(rule, "dropped", cell)])


@pytest.mark.parametrize("cell", ["2.5", "2.0", "0x10", "1_000", "nan", "1e1", "infinity", "\u0662"])
def test_a_cell_that_a_cast_would_guess_is_no_whole_number(cell: str) -> None:
    assert verdict("harvests", "flush", cell) == (None, [("integer", "dropped", cell)])


@pytest.mark.parametrize("cell", NOT_DATES)
def test_a_cell_that_a_cast_would_guess_is_no_date(cell: str) -> None:
    rule = OTHER_DATES.get(cell, "date")
    assert verdict("harvests", "picked_on", cell) == (None, [(rule, "set_aside", cell)])
    assert verdict("batches", "inoculated_on", cell) == (None, [(rule, "dropped", cell)])


@pytest.mark.parametrize("cell", ["2026-01-05 10:00", "2026-01-05T10:00:59.5Z", "2026-01-05 10:00+05:30"])
def test_a_time_of_day_is_kept_in_a_notice_and_the_date_is_used(cell: str) -> None:
    assert verdict("harvests", "picked_on", cell) == (date(2026, 1, 5), [("time_dropped", "notice", cell)])


@pytest.mark.parametrize(
    ("column", "cell", "value"),
    [
        ("fresh_weight_g", "+412.5", Decimal("412.5")),
        ("fresh_weight_g", "0412.", Decimal(412)),
        ("fresh_weight_g", ".5", Decimal("0.5")),
        ("flush", "+2", 2),
        ("flush", "02", 2),
        ("picked_on", "2024-02-29", date(2024, 2, 29)),
    ],
)
def test_usual_ways_to_write_a_number_or_date_are_read_without_a_word(column: str, cell: str, value: object) -> None:
    assert verdict("harvests", column, cell) == (value, [])


def test_a_number_too_long_for_the_ledger_is_refused_and_never_infinite() -> None:
    assert verdict("fillings", "volume_l", "9" * 400) == (None, [("too_large", "dropped", "9" * 400)])
    assert verdict("fillings", "fill_kg", "9" * 13) == (None, [("too_large", "dropped", "9" * 13)])


def moved(each: Field, limit: object, direction: int) -> str:
    """The cell one smallest step beside a limit."""
    if each.type == "date":
        return (date.fromisoformat(str(limit)) + direction * timedelta(days=1)).isoformat()
    if each.type == "integer":
        return str(int(str(limit)) + direction)
    return str(Decimal(str(limit)) + direction * Decimal(1).scaleb(-(each.decimals or 6)))


def bounds() -> Iterator[tuple[str, Field, str, str, str, str]]:
    """Every bound of every contract: table, field, rule, level, the last cell within and the first beyond."""
    outward = {"minimum": -1, "exclusiveMinimum": -1, "maximum": 1, "exclusiveMaximum": 1}
    for table, each in fields():
        fault = "set_aside" if each.on_fault == "set_aside" else "dropped"
        for rules, level in ((each.constraints, fault), (each.expect, "warning")):
            for rule, direction in outward.items():
                if rule not in rules:
                    continue
                limit = str(rules[rule])
                inside = moved(each, limit, -direction) if rule.startswith("exclusive") else limit
                beyond = limit if rule.startswith("exclusive") else moved(each, limit, direction)
                yield table, each, rule, level, inside, beyond


@pytest.mark.parametrize(("table", "each", "rule", "level", "inside", "beyond"), list(bounds()), ids=named)
def test_every_bound_of_every_contract_holds_at_it_and_one_step_beyond(
    table: str, each: Field, rule: str, level: str, inside: str, beyond: str
) -> None:
    value, told = verdict(table, each.name, inside)
    assert (rule, level) not in [(broken, how) for broken, how, _ in told]
    value, told = verdict(table, each.name, beyond)
    assert told == [(rule, level, beyond)], "one cell, one finding"
    assert (value is None) == (level != "warning")


def test_the_contracts_have_bounds_of_every_kind() -> None:
    every = list(bounds())
    assert {rule for _, _, rule, *_ in every} == {"minimum", "exclusiveMinimum", "maximum", "exclusiveMaximum"}
    assert {level for _, _, _, level, *_ in every} == {"set_aside", "dropped", "warning"}
    assert len(every) > 30


def test_a_warning_names_the_limit_that_is_expected_and_a_fault_the_constraint() -> None:
    table = contract("batches")
    warned = finding(table, "batches.csv", 2, "moisture_pct", "minimum", "warning", "30").sentence()
    assert warned.startswith('batches.csv, row 2, moisture_pct: "30" is below 40. Weigh a sample')
    refused = finding(table, "batches.csv", 2, "moisture_pct", "minimum", "dropped", "-1").sentence()
    assert refused.startswith('batches.csv, row 2, moisture_pct: "-1" is below 0. Weigh a sample')


SET_ASIDE = {
    ("batches", "batch"),
    ("fillings", "batch"),
    ("fillings", "container"),
    ("observations", "seen_on"),
    ("observations", "event"),
    ("harvests", "picked_on"),
    ("harvests", "fresh_weight_g"),
    ("prices", "from_on"),
    ("prices", "item"),
    ("prices", "price"),
    ("prices", "per"),
    ("sales", "sold_on"),
    ("sales", "weight_g"),
    ("sales", "kind"),
    ("promises", "due_on"),
    ("promises", "weight_g"),
}


def test_only_keys_dates_weights_prices_and_events_set_a_row_aside() -> None:
    assert {(table, each.name) for table, each in fields() if each.on_fault == "set_aside"} == SET_ASIDE


@pytest.mark.parametrize(
    ("table", "each"), [(t, f) for t, f in fields() if f.type != "string" or "enum" in f.constraints], ids=named
)
def test_an_unreadable_cell_takes_its_row_along_only_where_it_must(table: str, each: Field) -> None:
    rule = "enum" if each.type == "string" else each.type
    level = "set_aside" if (table, each.name) in SET_ASIDE else "dropped"
    assert verdict(table, each.name, "N/A?") == (None, [(rule, level, "N/A?")])


@pytest.mark.parametrize(("table", "each"), fields(), ids=named)
def test_a_blank_cell_is_told_only_where_a_value_is_required(table: str, each: Field) -> None:
    if not each.required:
        assert verdict(table, each.name, None) == (None, [])
        return
    level = "set_aside" if (table, each.name) in SET_ASIDE else "warning"
    assert verdict(table, each.name, None) == (None, [("required", level, None)])


@pytest.mark.parametrize(("cell", "word"), [("inrolled", "curled"), ("decurved", "turned_down"), ("plane", "flat")])
def test_the_botanical_words_of_the_cap_margin_are_ours(cell: str, word: str) -> None:
    # Usual mycological terms of the cap margin: inrolled -> decurved -> plane -> uplifted.
    assert verdict("harvests", "cap_stage", cell) == (word, [])
    assert verdict("harvests", "cap_stage", "Uplifted") == ("turned_up", [])


@pytest.mark.parametrize("cell", ["turned_down", "Turned down", "TURNED-DOWN", "turned - down", "turned\ndown"])
def test_coded_words_are_known_whatever_their_case_spaces_and_hyphens(cell: str) -> None:
    assert verdict("harvests", "cap_stage", cell) == ("turned_down", [])


@pytest.mark.parametrize(("table", "each", "word"), [(t, f, word) for t, f in fields() for word in f.words], ids=named)
def test_every_coded_word_of_every_contract_is_read(table: str, each: Field, word: str) -> None:
    assert verdict(table, each.name, word.upper().replace("_", " ")) == (word, [])


def test_a_word_that_is_only_expected_is_kept_and_warned_of() -> None:
    assert verdict("batches", "treatment", "Straw Bale Fermenting") == (
        "Straw Bale Fermenting",
        [("enum", "warning", "Straw Bale Fermenting")],
    )


@pytest.mark.parametrize("cell", ["007", "1e5", "1.50", "TRUE", "nan", "2026-05-01", "0x10"])
def test_an_identifier_stays_the_text_that_it_is(cell: str) -> None:
    for table, column in (("fillings", "container"), ("harvests", "batch"), ("harvests", "entry")):
        assert verdict(table, column, cell) == (cell, [])


def test_number_columns_of_recipes_keep_texts_that_are_not_the_shortest_for_grouping() -> None:
    done = check_cells("fillings", "volume_l", "20.0", "20", None, "020", "20.5")
    rows = [(20.0, "20.0"), (20.0, None), (None, None), (20.0, "020"), (20.5, None)]
    assert done.frame.select("volume_l", "volume_l_text").rows() == rows


MASSES = st.decimals("0.001", "9999999", places=3) | st.decimals("0.002", "99", places=7)


@given(st.lists(MASSES, min_size=1, max_size=30))
@example([Decimal("0.0015"), Decimal("412.3455"), Decimal("0.0000005")])
@settings(max_examples=100, deadline=None, derandomize=True)
def test_a_mass_is_the_mass_in_the_cell_to_a_thousandth_of_a_gram(cells: list[Decimal]) -> None:
    for table, column, unit in (("harvests", "culled_g", "0.001"), ("batches", "spawn_kg", "0.000001")):
        done = check_cells(table, column, *(f"{cell:f}" for cell in cells))
        exact = [cell.quantize(Decimal(unit), ROUND_HALF_EVEN) for cell in cells]
        assert done.frame[column].to_list() == exact
        finer = [row for row, (cell, kept) in enumerate(zip(cells, exact, strict=True), 2) if cell != kept]
        assert done.findings.select("row", "rule", "level").rows() == [(row, "too_fine", "warning") for row in finer]


def test_a_mass_reaches_the_ledger_as_it_stands_in_the_cell(farm: Callable[..., Path]) -> None:
    weights = ["0.001", "0.1", "412.345", "999999999999.999", "7"]
    rows = "\n".join(f"2026-05-01,{weight},A" for weight in weights)
    folder = farm(
        batches="batch,inoculated_on,spawn_kg\nA,2026-04-01,0.000001",
        harvests=f"picked_on,fresh_weight_g,batch\n{rows}",
    )
    told = gillbook("query", "select fresh_weight_g::varchar as g from harvests", "--json", "--farm", folder)
    assert [Decimal(row["g"]) for row in told.json] == [Decimal(weight) for weight in weights]
    told = gillbook("query", "select spawn_kg::varchar as kg from batches", "--json", "--farm", folder)
    assert [row["kg"] for row in told.json] == ["0.000001"]


@given(st.sampled_from(fields()), st.lists(st.none() | st.text(min_size=1, max_size=8), max_size=4))
@settings(max_examples=200, deadline=None, derandomize=True)
def test_no_cell_stops_the_check_and_no_row_is_lost(field: tuple[str, Field], cells: list[str | None]) -> None:
    table, each = field
    done = check_cells(table, each.name, *cells)
    assert done.frame["row"].to_list() == list(range(2, len(cells) + 2))
    told = set(done.findings.filter(column_name=each.name)["row"])
    assert all(
        kept is not None or cell is None or row in told
        for (row, kept), cell in zip(done.frame.select("row", each.name).rows(), cells, strict=True)
    )


def test_columns_that_are_absent_count_as_blank_and_unknown_ones_are_kept() -> None:
    frame = pl.DataFrame({"row": [2], "batch": ["A"], "container": ["B1"], "(shelf)": ["top"]}).cast({"row": pl.Int32})
    done = check(frame, contract("fillings"))
    assert done.frame.select("kind", "fill_kg", "other_cells", "faulty").rows() == [(None, None, "(shelf)=top", False)]
    assert done.findings.height == 0
