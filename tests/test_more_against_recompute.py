"""Is every figure of days, losses, causes and months the one that plain Python gives? On farms drawn at random, and
on the demo farm.

tests/recompute*.py was written from the blueprint by another hand, without sight of the SQL.
"""

import random
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

from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.models import measures
from pipeline.models.groups import grouping
from pipeline.models.view import Query
from pipeline.models.view import opened as opened_ledger

DEMO = Path(__file__).parent.parent / "demo_data"
BY = ["batch", "container", "soak", "substrate", "container,soak", "kind,strain", "soak,volume_l", "spawn_kg", "all"]
TABLES = ("days", "losses", "causes", "months")
Row = dict[str, str | int | float | None]
Rows = list[Row]


def ours(folder: Path, as_of: date, by: str) -> dict[str, Rows]:
    """What does the program say?"""
    opened = open_farm(folder)
    refresh(opened, "test")
    told: dict[str, Rows] = {}
    with opened_ledger(opened.ledger, opened.settings) as ledger:
        # A container's losses are those of all its fillings; in the other tables its batch tells them apart.
        for tables, add_batch in ((("days", "months"), True), (("losses", "causes"), False)):
            view = ledger.view(Query(as_of, grouping(by, add_batch)))
            told |= {table: getattr(measures, table)(view) for table in tables}
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
        columns = () if table == "months" else grouping(by, add_batch=table not in ("losses", "causes"))
        groups = by_group(mine[table], columns), by_group(other[table], columns)
        if groups[0].keys() != groups[1].keys():
            found.append(f"{table}: groups {sorted(groups[0])} against {sorted(groups[1])}")
            continue
        for group in groups[0]:
            for row, told in zip_longest(groups[0][group], groups[1][group]):
                if not same(row, told):
                    found.append(f"{table} {group}: {row} against {told}")
    return found


def losing_farm(folder: Path, seed: int) -> None:
    """Writes a farm of many losses: few days, so that ends, pickings and counts of one day meet; few mistakes."""
    draw = random.Random(seed)
    losing, picking = draw.random(), draw.random() * 0.4
    rows: dict[str, list[str]] = {
        "batches": ["batch,inoculated_on,soak,substrate,strain"],
        "fillings": ["batch,container"],
        "observations": ["seen_on,event,batch,container,count,cause"],
        "harvests": ["picked_on,fresh_weight_g,batch,container"],
    }

    def day() -> date:
        return START + timedelta(days=draw.randint(4, 7))

    for batch in (f"B{number}" for number in range(1, draw.randint(4, 9))):
        inoculated = START + timedelta(days=draw.choice([0, 0, 0, 4, 5]))
        soak, strain = draw.choice(["S1", "S2", "", ""]), draw.choice(["grey", "pink"])
        rows["batches"].append(f"{batch},{inoculated},{soak},straw,{strain}")
        own = [f"{batch}-{number}" for number in range(draw.randint(0, 3))]
        held = [container if draw.random() < 0.9 else "shared" for container in own[1:]] + own[:1]
        rows["fillings"] += sorted({f"{batch},{container}" for container in held})
        for container in [*held, "", "unlisted"]:
            for _ in range(draw.randint(1, 2)):
                count = draw.choice(["", "1", "2"]) if container == "" else ""
                cause = draw.choice(["", "flies", "green_mould"])
                event = draw.choice(["contaminated", "contaminated", "emptied"])
                if draw.random() < (losing if container in held else losing / 3):
                    rows["observations"].append(f"{day()},{event},{batch},{container},{count},{cause}")
                if draw.random() < (picking if container in held else picking / 3):
                    rows["harvests"].append(f"{day()},{draw.randint(50, 400)},{batch},{container}")
    for table, lines in rows.items():
        (folder / f"{table}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


@settings(max_examples=50, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(seed=st.integers(0, 10**6), age=st.integers(20, 200), by=st.sampled_from(BY))
def test_figures_equal_the_independent_recomputation(seed: int, age: int, by: str) -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        random_farm(folder, seed)
        assert differences(folder, START + timedelta(days=age), by) == []
    finally:
        shutil.rmtree(folder)


@settings(max_examples=50, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(
    seed=st.integers(0, 10**6),
    age=st.sampled_from([5, 6, 7, 8, 50, 60, 100]),
    by=st.sampled_from(["container", "container,strain", "soak", "batch", "strain", "all"]),
)
def test_figures_of_many_losses_equal_the_independent_recomputation(seed: int, age: int, by: str) -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        losing_farm(folder, seed)
        assert differences(folder, START + timedelta(days=age), by) == []
    finally:
        shutil.rmtree(folder)


@pytest.mark.parametrize("as_of", [date(2026, 5, 31), date(2027, 1, 1)])
def test_figures_of_the_demo_farm_equal_the_independent_recomputation(tmp_path: Path, as_of: date) -> None:
    farm = tmp_path / "farm"
    shutil.copytree(DEMO, farm)
    for by in ("substrate,strain", "soak,spawn_lot", "container", "all"):
        assert differences(farm, as_of, by) == [], by
