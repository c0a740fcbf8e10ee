"""Is every figure of days, losses, causes and months the one that plain Python gives? On farms drawn at random, and
on the demo farm.

tests/recompute*.py was written from the blueprint by another hand, without sight of the SQL.
"""

import shutil
import tempfile
from datetime import date, timedelta
from itertools import zip_longest
from pathlib import Path

import pytest
import recompute
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_against_recompute import START, close, random_farm

from pipeline.farm import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.measures import runner

DEMO = Path(__file__).parent.parent / "demo_data"
BY = ["batch", "container", "soak", "substrate", "container,soak", "kind,strain", "soak,volume_l", "spawn_kg", "all"]
TABLES = ("days", "losses", "causes", "months")
Row = dict[str, str | int | float | None]
Rows = list[Row]


def ours(folder: Path, as_of: date, by: str) -> dict[str, Rows]:
    """What does the program say?"""
    opened = open_farm(folder)
    refresh(opened, "test")
    told = {}
    with runner.open_ledger(opened.ledger) as con:
        for table in TABLES:
            # A container's losses are those of all its fillings; in the other tables its batch tells them apart.
            columns = runner.grouping(by, add_batch=table not in ("losses", "causes"))
            question = runner.Question(as_of, columns)
            runner.prepare(con, opened.settings, question)
            told[table] = getattr(runner, table)(con, question)
    return told


def theirs(farm: recompute.Farm, as_of: date, by: str) -> dict[str, Rows]:
    """What does the recomputation say?"""
    columns = [] if by == "all" else by.split(",")
    measures = {"days": recompute.days, "losses": recompute.losses, "causes": recompute.causes}
    told = {table: measure(farm, as_of, columns) for table, measure in measures.items()}
    return {**told, "months": recompute.months(farm, as_of)}


def by_group(rows: Rows, columns: tuple[str, ...]) -> dict[tuple[str, ...], Rows]:
    """Which rows, in their order, does each group have?"""
    groups: dict[tuple[str, ...], Rows] = {}
    for row in rows:
        groups.setdefault(tuple(str(row[column]) for column in columns), []).append(row)
    return groups


def same(row: Row | None, told: Row | None) -> bool:
    """Do two rows have the same columns in the same order, and the same figures?"""
    if row is None or told is None or list(row) != list(told):
        return False
    return all(close(row[name], told[name]) for name in row)


def differences(folder: Path, as_of: date, by: str) -> list[str]:
    """Where do the program's figures and the recomputed ones differ?"""
    farm = recompute.load(folder)
    if not recompute.units(farm, as_of):
        return []  # the whole of a farm with nothing in it is told by nobody
    mine, other = ours(folder, as_of, by), theirs(farm, as_of, by)
    found = []
    for table in TABLES:
        columns = () if table == "months" else runner.grouping(by, add_batch=table not in ("losses", "causes"))
        groups = by_group(mine[table], columns), by_group(other[table], columns)
        if groups[0].keys() != groups[1].keys():
            found.append(f"{table}: groups {sorted(groups[0])} against {sorted(groups[1])}")
            continue
        for group in groups[0]:
            for row, told in zip_longest(groups[0][group], groups[1][group]):
                if not same(row, told):
                    found.append(f"{table} {group}: {row} against {told}")
    return found


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(seed=st.integers(0, 10**6), age=st.integers(20, 200), by=st.sampled_from(BY))
def test_figures_equal_the_independent_recomputation(seed: int, age: int, by: str) -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        random_farm(folder, seed)
        assert differences(folder, START + timedelta(days=age), by) == []
    finally:
        shutil.rmtree(folder)


@pytest.mark.parametrize("as_of", [date(2026, 5, 31), date(2027, 1, 1)])
def test_figures_of_the_demo_farm_equal_the_independent_recomputation(tmp_path: Path, as_of: date) -> None:
    farm = tmp_path / "farm"
    shutil.copytree(DEMO, farm)
    for by in ("substrate,strain", "soak,spawn_lot", "container", "all"):
        assert differences(farm, as_of, by) == [], by
