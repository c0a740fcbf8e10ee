"""Do the result tables keep their contracts: columns in order, types, one row per grain, and the identities?"""

import shutil
from collections.abc import Iterator
from datetime import date
from importlib.resources import files as package_files
from pathlib import Path
from typing import Any

import duckdb
import pytest
from ahead_tables import ahead_tables
from growth_tables import growth_tables

from pipeline.compare.comparison import compare
from pipeline.compare.measures import MEASURES
from pipeline.compare.query import ComparisonQuery
from pipeline.compare.site_cells import site_cells
from pipeline.compare.sites import over_sites
from pipeline.compare.sites_text import sites_rows
from pipeline.compare.tables import level_rows, pair_rows, trend_rows
from pipeline.farm.folder import Farm, open_farm
from pipeline.growth.recipes import recipes
from pipeline.ledger.history import read_history
from pipeline.ledger.refresh import refresh
from pipeline.models import measures
from pipeline.models.compared_units import farm_units
from pipeline.models.money import money, money_months, unsold
from pipeline.models.spans import of_span
from pipeline.models.today import today
from pipeline.models.view import Ledger, Query
from pipeline.models.view import opened as opened_ledger
from pipeline.trial.next_soak import next_soak
from pipeline.trial.next_soak_text import split_rows
from schemas.contract import RESULTS, contract

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
AS_OF = date(2026, 9, 30)
TYPES = {"integer": int, "number": (int, float), "string": str, "date": date, "boolean": bool}
Tables = dict[str, list[dict[str, Any]]]


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Farm, Ledger]]:
    folder = tmp_path_factory.mktemp("results") / "farm"
    shutil.copytree(DEMO, folder)
    lines = (folder / "fillings.csv").read_text(encoding="utf-8").splitlines()
    placed = [f"{line},{'position' if at == 0 else f'A{at % 9}'}" for at, line in enumerate(lines)]
    (folder / "fillings.csv").write_text("\n".join(placed) + "\n", encoding="utf-8")
    (folder / "promises.csv").write_text("due_on,buyer,weight_g,strain\n2026-10-09,Inn,2500,grey\n", encoding="utf-8")
    farm = open_farm(folder)
    refresh(farm, "test")
    with opened_ledger(farm.ledger, farm.settings) as ledger:
        yield farm, ledger


@pytest.fixture(scope="module")
def tables(opened: tuple[Farm, Ledger]) -> Tables:
    """Every result table of the demo farm, by substrate where it is grouped."""
    farm, ledger = opened
    query = Query(AS_OF, ("substrate",), 2)
    view = ledger.view(query)
    grouped = ("yields", "days", "losses", "causes", "months")
    found: Tables = {name: getattr(measures, name)(view) for name in grouped}
    found |= growth_tables(view, farm.settings)
    found |= {"money": money(view), "money_months": money_months(view), "unsold": unsold(view)}
    found["running_units"] = measures.running_units(view)
    found["recipes"] = recipes(view, date.min, AS_OF)
    # On the way they make the unit tables anew, so they come before what the month's tables read.
    found |= ahead_tables(ledger, AS_OF)
    units = farm_units(ledger, AS_OF, 2)
    compared = compare(units, ComparisonQuery("substrate", MEASURES["losses"]), farm.settings)
    found |= {"compared_levels": level_rows(compared), "compared_pairs": pair_rows(compared)}
    found["compared_sites"] = sites_rows(over_sites(dict.fromkeys(("hill", "valley"), site_cells(compared))))
    by_rate = compare(units, ComparisonQuery("spawn_rate", MEASURES["be"]), farm.settings)
    found |= {"compared_trends": trend_rows(by_rate), "next_soak": split_rows(next_soak(units, farm.settings))}
    found |= {"today": [vars(each) for each in today(ledger.view(query))], "history": read_history(farm).records}
    span = of_span(ledger.view(query), AS_OF.replace(month=1, day=1), AS_OF)
    found |= {name: span[name] for name in ("span_months", "span_be")}
    return found | measures.of_month(ledger.view(query), AS_OF.replace(day=1))


# The expectations are held against their contract where an audit is run: tests/test_audit_command.py.
@pytest.mark.parametrize("name", [each for each in RESULTS if each != "expectations"])
def test_columns_and_types_are_the_contracts(tables: Tables, name: str) -> None:
    rows = tables[name]
    assert rows
    for row in rows:
        assert [key for key in row if key != "substrate" or "substrate" in contract(name).names] == list(
            contract(name).names
        )
        for each in contract(name).fields:
            value = row[each.name]
            assert value is None or isinstance(value, TYPES[each.type]), (name, each.name, value)
            assert not (each.type == "integer" and isinstance(value, bool))


def test_every_contract_of_a_result_is_checked() -> None:
    kept = package_files("schemas").joinpath("results").iterdir()
    assert sorted(RESULTS) == sorted(each.name.removesuffix(".json") for each in kept)


@pytest.mark.parametrize("name", RESULTS)
def test_every_measure_says_its_unit_and_meaning(name: str) -> None:
    table = contract(name)
    assert table.grain.startswith("one row per ")
    for each in table.fields:
        assert each.description.endswith("."), each.name
        if each.name.endswith(("_g", "_pct", "_days")) or "_per_day" in each.name:
            assert each.unit, each.name


def test_parts_add_up_to_the_whole(opened: tuple[Farm, Ledger], tables: Tables) -> None:
    con = opened[1].connection
    loaded = con.execute(
        "select sum(fresh_weight_g)::double, count(*) from harvests where picked_on <= ?", [AS_OF]
    ).fetchone()
    assert loaded is not None
    assert sum(row["fresh_g"] for row in tables["yields"]) == pytest.approx(loaded[0], rel=1e-12)
    assert sum(row["fresh_g"] for row in tables["months"]) == pytest.approx(loaded[0], rel=1e-12)
    assert sum(row["pickings"] for row in tables["months"]) == loaded[1]
    of_month = tables["months"][-1]["fresh_g"]
    for name in ("weeks", "strains", "stages", "picked_days", "days_by_kind"):
        assert sum(row["fresh_g"] for row in tables[name]) == pytest.approx(of_month, rel=1e-12), name
    for month in tables["months"]:
        parts = [row for row in tables["months_by_kind"] if row["month"] == month["month"]]
        for name in ("fresh_g", "pickings", "units_finished", "units_lost"):
            assert sum(row[name] for row in parts) == pytest.approx(month[name], rel=1e-12), name
        fresh, dry = (sum(row[name] for row in parts) for name in ("fresh_in_be_g", "substrate_dry_g"))
        assert (100 * fresh / dry if fresh else None) == pytest.approx(month["be_finished_pct"])
    for week in tables["outlook"]:
        parts = [row["expected_kg"] for row in tables["outlook_by_batch"] if row["week"] == week["week"]]
        assert sum(parts) == pytest.approx(week["running_kg"] + week["planned_kg"], rel=1e-9)
    fresh = {row["month"]: row["fresh_g"] for row in tables["months"]}
    for row in tables["waiting_months"]:
        assert row["picked_and_waiting_g"] - row["waiting_g"] == pytest.approx(fresh[row["month"]], rel=1e-12)
    assert sum(row["pickings_waiting"] for row in tables["waiting_months"]) > 0
    for row in tables["yields"]:
        assert row["units_known"] + row["units_not_yet"] == row["units"]
        assert row["units_open"] <= row["units_known"]
    for row in tables["losses"]:
        assert row["lost"] + row["units_not_yet"] <= row["units"]
    assert sum(row["lost"] for row in tables["causes"]) == sum(row["lost"] for row in tables["losses"])
    assert sum(row["units_finished"] for row in tables["months"]) == sum(
        row["units"] for row in tables["yields"]
    ) - unfinished(con)
    assert tables["months"][-1]["units_finished"] == len(tables["finished_units"])
    assert (
        sum(row["units_lost"] for row in tables["months"])
        == con.execute("select count(*) from unit_states where finished and highest_flush = 0").fetchone()[0]
    )
    given = {row["batch"]: 0.0 for row in tables["batch_courses"]}
    for row in tables["batch_pickings"]:
        given[row["batch"]] += row["fresh_g"]
    assert given == pytest.approx({row["batch"]: row["fresh_g"] for row in tables["batch_courses"]}, rel=1e-12)
    for name in ("finished_batches", "finished_recipes"):
        assert sum(row["units"] for row in tables[name]) == len(tables["finished_units"])


def unfinished(con: duckdb.DuckDBPyConnection) -> int:
    found = con.execute("select count(*) from unit_states where not finished").fetchone()
    assert found is not None
    return int(found[0])


def test_lost_and_survivors_are_all_units_whose_fate_is_told(opened: tuple[Farm, Ledger]) -> None:
    _, ledger = opened
    view = ledger.view(Query(AS_OF))
    row = measures.losses(view)[0]
    con = view.connection
    survivors = con.execute("select count(*) from unit_states where highest_flush > 0").fetchone()
    assert survivors is not None
    assert row["lost"] + survivors[0] + row["units_not_yet"] == row["units"]


def test_every_picking_belongs_to_one_batch_and_one_unit(opened: tuple[Farm, Ledger]) -> None:
    con = opened[1].connection
    twice = con.execute("select line from unit_pickings group by line having count(*) > 1").fetchall()
    assert twice == []
    without = (
        "select count(*) from harvest_assignments where picked_on <= ? and line not in (select line from unit_pickings)"
    )
    assert con.execute(without, [AS_OF]).fetchall() == [(0,)]
