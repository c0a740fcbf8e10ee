"""Screen and audit agree: the rows that the one faults by a rule are those on which the other's expectation fails, and
of what is loaded in the end nothing breaks a constraint.
"""

from __future__ import annotations

import csv
import json
import random
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pytest
from audits import AS_OF, audited, cells, failed, typed_frame
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.audit.compiled import suite
from pipeline.audit.engine import verdicts
from pipeline.farm.folder import open_farm
from pipeline.ledger.findings import read_findings
from schemas.audit import row_rules
from schemas.check import check
from schemas.contract import GROWING, INPUTS, Contract, contract

MakeFarm = Callable[..., Path]
Columns = dict[str, list[str | None]]
Faults = dict[tuple[str, str], set[int]]
TYPES = {"date", "number", "integer"}


def generated(table: Contract, seed: int, rows: int = 400) -> Columns:
    rng = random.Random(seed)
    return {each.name: cells(each, rng, rows) for each in table.fields}


def screen_faults(table: Contract, columns: Columns) -> Faults:
    """The rows that the screen tells of, by column and rule."""
    frame = pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))
    found = check(frame.with_row_index("row").cast({"row": pl.Int32}), table).findings
    faults: Faults = {}
    for row, column, rule in found.select("row", "column_name", "rule").iter_rows():
        faults.setdefault((column, rule), set()).add(row)
    return faults


def audit_faults(table: Contract, columns: Columns) -> Faults:
    """The rows on which the compiled suite fails, by column and rule, as the screen tells them: a cell that breaks a
    constraint is told of once, for that, and not also as unexpected.
    """
    frame = typed_frame(table, columns)
    compiled = [each for each in suite(table, table.names, {"batches.batch": []}) if each.rule not in table.row_rules]
    found = list(zip(compiled, verdicts(frame, compiled), strict=True))
    broken: dict[str, set[int]] = {}
    for each, verdict in found:
        if each.severity == "error":
            broken.setdefault(each.column, set()).update(verdict.faulty)
    faults: Faults = {}
    for each, verdict in found:
        assert verdict.held == (not verdict.faulty)
        unused = set() if each.severity == "error" or each.rule == "required" else broken.get(each.column, set())
        faults.setdefault((each.column, each.rule), set()).update(set(verdict.faulty) - unused)
    return {key: rows for key, rows in faults.items() if rows}


def agreed(faults: Faults, table: Contract) -> Faults:
    """The screen's faults as an engine can see them that sees values only: an unreadable cell is a missing one, and
    what is told of a text (too fine, with a time of day) is not there to be seen.
    """
    seen: Faults = {}
    for (column, rule), rows in faults.items():
        named = "required" if rule in TYPES else rule
        if named == "required" and not table.field(column).required:
            continue
        if named not in ("too_fine", "time_dropped"):
            seen.setdefault((column, named), set()).update(rows)
    return seen


@pytest.mark.parametrize("name", INPUTS)
def test_screen_and_audit_fault_the_same_rows_by_the_same_rules(name: str) -> None:
    table = contract(name)
    columns = generated(table, seed=5)
    found = audit_faults(table, columns)
    assert found == agreed(screen_faults(table, columns), table)
    # Every cell rule of the contract is broken by some row: the agreement is not an empty one.
    assert found.keys() == {(each.column, each.rule) for each in cell_rules(table)}


def cell_rules(table: Contract) -> list[Any]:
    return [each for each in suite(table, table.names, {"batches.batch": []}) if each.rule not in table.row_rules]


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.sampled_from(INPUTS), st.integers(0, 10_000), st.integers(1, 30))
def test_they_agree_on_any_table(name: str, seed: int, rows: int) -> None:
    columns = generated(contract(name), seed, rows)
    assert audit_faults(contract(name), columns) == agreed(screen_faults(contract(name), columns), contract(name))


def write_generated(folder: Path, seed: int, rows: int = 150) -> None:
    """A farm of generated tables: keys that meet each other, every other cell as it comes."""
    rng = random.Random(seed)
    (folder / "farm.toml").write_text("", encoding="utf-8")
    for name in INPUTS:
        columns = generated(contract(name), seed, rows)
        columns["batch"] = [f"B{rng.randrange(rows) if name == 'batches' else rng.randrange(40)}" for _ in range(rows)]
        if "container" in columns:
            columns["container"] = [rng.choice([None, "1", "2", "3"]) for _ in range(rows)]
        if "inoculated_on" in columns:
            columns["inoculated_on"] = [
                rng.choice(["2026-03-01", "2026-05-02", None, "1899-12-31"]) for _ in range(rows)
            ]
        with open(folder / f"{name}.csv", "w", encoding="utf-8", newline="") as out:
            writer = csv.writer(out)
            writer.writerow(columns)
            writer.writerows(zip(*columns.values(), strict=True))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_nothing_that_a_constraint_refuses_is_loaded(tmp_path: Path, seed: int) -> None:
    write_generated(tmp_path, seed)
    told = audited(tmp_path)
    assert failed(told, "error") == {}
    looked_at = {each.table: each.looked_at for each in told.outcomes if each.rule == "refused"}
    assert all(looked_at[name] >= 5 for name in INPUTS), "rows are loaded, or nothing was held against anything"
    warned = failed(told, "warning")
    assert ("batches", "moisture_pct", "minimum") in warned
    # What is only unexpected is loaded, and the screen has told of the same rows.
    for each in warned.values():
        if each.table in INPUTS:
            assert each.already_reported == each.faulty, each


ROWS = {
    "batches": """
        batch,inoculated_on,note
        A,2026-03-01,
        B,2026-03-01,one
        B,2026-03-01,two
        C,2026-05-01,""",
    "fillings": """
        batch,container,fill_kg
        A,1,5
        A,2,5
        A,2,6
        X,3,5
        C,4,5""",
    "observations": """
        seen_on,event,batch,container
        2026-03-20,pins,A,1
        2026-02-20,pins,A,1
        2026-03-20,pins,A,1""",
    "harvests": """
        picked_on,fresh_weight_g,batch,container,flush,culled_g
        2026-04-01,300,A,1,1,20
        2026-02-28,300,A,1,1,
        2026-04-01,300,A,1,1,20
        2026-03-01,300,A,1,1,300
        2026-04-02,300,A,1,1,301
        2026-04-30,300,C,4,1,400""",
}
# Which rows of ROWS break which rule, by row of the spreadsheet, worked out by hand. Alike ones are told of together.
BROKEN = {
    ("batches", "conflicting"): {3, 4},
    ("fillings", "conflicting"): {3, 4},
    ("fillings", "unknown_batch"): {5},
    ("observations", "before_inoculation"): {3},
    ("observations", "repeated"): {2, 4},
    ("harvests", "before_inoculation"): {3, 7},
    ("harvests", "repeated"): {2, 4},
    ("harvests", "culls_above_weight"): {6, 7},
}


def staged(con: duckdb.DuckDBPyConnection, table: Contract) -> Any:
    """Every row that was read, loaded or not, as the audit frames it."""
    numbers = [each.name for each in table.fields if each.type in ("number", "integer")]
    doubles = ", ".join(f"{name}::double as {name}" for name in numbers)
    of_batch = "(select min(b.inoculated_on) from rows_of_batches as b where b.batch = s.batch) as inoculated_on"
    day = "" if table.name == "batches" else f", {of_batch}"
    return con.execute(
        f"select s.* replace ({doubles}), c.cells::varchar as cells{day} from rows_of_{table.name} as s "
        f"left join cells_of_{table.name} as c on c.line = s.line order by s.row"
    ).df()


def test_keys_and_references_are_those_of_the_contracts() -> None:
    for rule in row_rules():
        raw = json.loads(files("schemas").joinpath("inputs", f"{rule.table}.json").read_text(encoding="utf-8"))
        if rule.rule == "conflicting":
            assert list(rule.columns) == raw["primaryKey"]
        if rule.relation == "among":
            (key,) = raw["foreignKeys"]
            table, columns = key["reference"]["resource"], key["reference"]["fields"]
            assert (list(rule.columns), rule.other) == (key["fields"], f"{table}.{columns[0]}")
        assert rule.rule in contract(rule.table).row_rules


def test_rules_on_whole_rows_fail_on_the_rows_that_the_ledger_sets_aside_for_them(farm: MakeFarm) -> None:
    folder = farm(**ROWS)
    told = audited(folder)
    assert failed(told, "error") == {}
    assert {(rule.table, rule.rule) for rule in row_rules()} == BROKEN.keys()
    with duckdb.connect(str(open_farm(folder).ledger), read_only=True) as con:
        by_screen: dict[tuple[str, str], set[int]] = {}
        for each in read_findings(con, AS_OF):
            by_screen.setdefault((each.table, each.rule), set()).add(each.row)
        for name in GROWING:
            table, frame = contract(name), staged(con, contract(name))
            rules = [
                each
                for each in suite(table, frame.columns, {"batches.batch": ["A", "B", "C"]})
                if each.rule in table.row_rules
            ]
            for each, verdict in zip(rules, verdicts(frame, rules), strict=True):
                rows = {int(frame["row"][at]) for at in verdict.faulty}
                assert rows == BROKEN[name, each.rule]
                aside = by_screen[name, each.rule]
                if each.rule == "repeated":
                    assert aside == rows - {min(rows)}, "the first of rows alike is loaded"
                elif each.rule == "culls_above_weight":
                    assert aside == rows - by_screen[name, "before_inoculation"], (
                        "what is set aside is told of for that"
                    )
                else:
                    assert aside == rows
