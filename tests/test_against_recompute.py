"""Is every figure of yields and flushes the one that plain Python dictionaries give? On farms drawn at random.

tests/recompute*.py was written from the blueprint by another hand, without sight of the SQL.
"""

import math
import random
import shutil
import tempfile
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
import recompute
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.models import measures
from pipeline.models.compared_units import COMPARED_COLUMNS, HOLES, compared_units
from pipeline.models.groups import grouping
from pipeline.models.view import Query, open_ledger
from pipeline.models.view import opened as opened_ledger
from schemas.answers import ComparedMeasure

START = date(2026, 1, 1)
COLUMNS = {
    "batches": "batch,inoculated_on,strain,substrate,soak,substrate_wet_kg,moisture_pct,substrate_dry_kg,"
    "supplement_dry_kg,spawn_form,spawn_kg,containers_filled",
    "fillings": "batch,container,kind,volume_l,fill_kg,substrate_dry_kg,holes_taped",
    "observations": "seen_on,event,container,batch,flush,count,cause",
    "harvests": "picked_on,fresh_weight_g,container,batch,flush,cap_stage,culled_g",
}
BY = ["batch", "container", "substrate", "volume_l", "kind,strain", "spawn_kg", "all"]


def random_farm(folder: Path, seed: int) -> None:
    """Writes a small farm in which every rule of places, flushes, closing and dry mass comes up, and many mistakes."""
    draw = random.Random(seed)

    def some(*cells: object, blank: float = 0.25) -> str:
        return "" if draw.random() < blank else str(draw.choice(cells))

    def day(lo: int, hi: int) -> str:
        return str(START + timedelta(days=draw.randint(lo, hi)))

    names = [f"B{n}" for n in range(1, draw.randint(2, 7))]
    batches = [
        [
            name,
            day(0, 60) if draw.random() < 0.9 else "",
            some("grey", "pink", blank=0.1),
            some("straw", "mulch", blank=0.1),
            some("S1", "S2", "S3", "s3"),
            some(20, "20.0", 12.5),
            some(70, 65.5, 75, 150),
            some(5, 6.25, blank=0.7),
            some(0.5, blank=0.8),
            some("grain", "sawdust", "liquid", "moss"),
            some(1, "1.0", 0.4),
            some(2, 3, blank=0.6),
        ]
        for name in names
    ]
    if draw.random() < 0.3:
        batches.append([*draw.choice(batches)[:3], "bagasse", *[""] * 8])
    if draw.random() < 0.3:
        batches.append(list(draw.choice(batches)))
    fillings = [
        [name, container, some("bucket", "bag"), some(20, 10, "20.0"), some(5, 4.5, blank=0.5), some(1.5, blank=0.8)]
        for name in [*names, "B9"]
        for container in ("1", "2", "3")
        if draw.random() < (0.7 if name != "B9" else 0.1)
    ]
    if fillings and draw.random() < 0.4:
        fillings.append([*draw.choice(fillings)[:2], "", "", "4.25", ""])
    for at, row in enumerate(fillings):
        row.append(("", "0", "4")[(seed + at) % 3])
    containers, known = ("1", "2", "3", "7"), (*names, "B9")
    observations = [
        [
            day(0, 150),
            draw.choice(["pins", "Pins", "emptied", "contaminated", "opened", "colonised", "suspect", "gone"]),
            some(*containers, blank=0.3),
            some(*known, blank=0.4),
            some(1, 2, 3, "2.5", blank=0.5),
            some(1, 2, 3, blank=0.6),
            some("green_mould", "flies", "Dried out"),
        ]
        for _ in range(draw.randint(0, 16))
    ]
    harvests = [
        [
            day(-5, 150) if draw.random() < 0.95 else "soon",
            some(412, 250.5, "300", 120.125, "-30", "x", blank=0.03),
            some(*containers, blank=0.2),
            some(*known, blank=0.4),
            some(1, 2, 3, "2.5", blank=0.5),
            some("flat", "Turned Up", "old", "Inrolled", "turned_down"),
            some(20, "12.5", 300, "-1", blank=0.6),
        ]
        for _ in range(draw.randint(0, 25))
    ]
    if harvests and draw.random() < 0.5:
        harvests.append(list(draw.choice(harvests)))
    tables = {"batches": batches, "fillings": fillings, "observations": observations, "harvests": harvests}
    late_from = some("flat", "turned_down", blank=0.6)
    (folder / "farm.toml").write_text(f'late_from = "{late_from}"\n' if late_from else "", encoding="utf-8")
    for table, rows in tables.items():
        text = "\n".join([COLUMNS[table], *(",".join(row) for row in rows)]) + "\n"
        (folder / f"{table}.csv").write_text(text, encoding="utf-8")


def close(ours: object, theirs: object) -> bool:
    if isinstance(ours, float) and isinstance(theirs, int | float):
        return math.isclose(ours, theirs, rel_tol=1e-9, abs_tol=1e-9)
    return ours == theirs


def differences(folder: Path, as_of: date, by: str, through: int | None) -> list[str]:
    """Where do the ledger's figures and the recomputed ones differ?"""
    opened = open_farm(folder)
    refresh(opened, "test")
    question = Query(as_of, grouping(by), through)
    plain = recompute.load(folder)
    with opened_ledger(opened.ledger, opened.settings) as ledger:
        view = ledger.view(question)
        ours = {"yields": measures.yields(view), "flushes": measures.flushes(view)}
    columns = [] if by == "all" else by.split(",")
    theirs = {
        "yields": recompute.yields(plain, as_of, columns, through),
        "flushes": recompute.flushes(plain, as_of, columns),
    }
    found = []
    for table, rows in ours.items():

        def key(row: dict[str, object], keys: tuple[str, ...] = (*question.by, "flush")) -> tuple[str, ...]:
            return tuple(str(row.get(name, "")) for name in keys)

        mine, other = {key(row): row for row in rows}, {key(row): row for row in theirs[table]}
        if by == "all" and not rows:
            continue
        if mine.keys() != other.keys():
            found.append(f"{table}: groups {sorted(mine)} against {sorted(other)}")
            continue
        found += [
            f"{table} {group} {name}: {row[name]} against {other[group][name]}"
            for group, row in mine.items()
            for name in row
            if not close(row[name], other[group][name])
        ]
    return found


def fates_of(folder: Path) -> dict[tuple[str, int], str]:
    """What became of each staged row, by the ledger?"""
    with open_ledger(folder / "ledger.duckdb") as con:
        found = {}
        for table in ("batches", "fillings", "observations", "harvests"):
            found |= dict.fromkeys(con.execute(f"select file, row from {table}").fetchall(), "loaded")
        query = "select file, row, level from findings where level in ('set_aside', 'waiting')"
        for file, row, level in con.execute(query).fetchall():
            assert found.get((file, row)) != "loaded", f"{file} row {row} is loaded and {level}"
            found[file, row] = level
    return found


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(
    seed=st.integers(0, 10**6),
    age=st.integers(20, 200),
    by=st.sampled_from(BY),
    through=st.sampled_from([None, 1, 2, 3]),
)
def test_figures_equal_the_independent_recomputation(seed: int, age: int, by: str, through: int | None) -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        random_farm(folder, seed)
        assert differences(folder, START + timedelta(days=age), by, through) == []
        recomputed = {place: fate for place, fate in recompute.fates(recompute.load(folder)).items() if fate != "blank"}
        assert fates_of(folder) == recomputed
    finally:
        shutil.rmtree(folder)


def compared_differently(folder: Path, as_of: date, through: int, to_day: int | None) -> list[str]:
    """Where does what a unit adds to a comparison differ from the recomputed?"""
    opened = open_farm(folder)
    refresh(opened, "test")
    theirs = recompute.compared(recompute.load(folder), as_of, through, to_day)
    with opened_ledger(opened.ledger, opened.settings) as ledger:
        view = ledger.view(Query(as_of, COMPARED_COLUMNS, through))
        ours = compared_units(view, to_day)
        query = "select unit, batch, container from unit_states"
        named = {unit: (batch, container) for unit, batch, container in view.connection.execute(query).fetchall()}
    assert {named[unit] for unit in ours.unit.tolist()} == theirs.keys()
    found = []
    for at, unit in enumerate(ours.unit.tolist()):
        other = theirs[named[unit]]
        for measure in ComparedMeasure:
            part, their = ours.parts[measure.value], other.parts[measure.value]
            over, under, resolved = float(part.over[at]), float(part.under[at]), bool(part.resolved[at])
            same = resolved == their.resolved and math.isnan(under) == (their.under is None)
            if not (same and close(over, float(their.over)) and close(np.nan_to_num(under), float(their.under or 0))):
                found.append(f"{named[unit]} {measure.value}: {(over, under, resolved)} against {their}")
        holes = ours.cells[HOLES].texts[ours.cells[HOLES].codes[at]]
        if holes != other.holes:
            found.append(f"{named[unit]} holes: {holes} against {other.holes}")
        waits = {name: (each.fate[at], each.day[at]) for name, each in ours.waits.items() if each.fate[at]}
        if waits != {name: (fate.fate, fate.days) for name, fate in other.fates.items()}:
            found.append(f"{named[unit]} waits: {waits} against {other.fates}")
    return found


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
@given(
    seed=st.integers(0, 10**6),
    age=st.integers(20, 200),
    through=st.sampled_from([1, 2, 2, 3]),
    to_day=st.sampled_from([None, None, 30, 60]),
)
def test_what_a_unit_adds_to_a_comparison_equals_the_recomputation(
    seed: int, age: int, through: int, to_day: int | None
) -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        random_farm(folder, seed)
        assert compared_differently(folder, START + timedelta(days=age), through, to_day) == []
    finally:
        shutil.rmtree(folder)


@pytest.mark.parametrize("by", BY)
def test_mass_in_equals_mass_in_every_breakdown(tmp_path: Path, by: str) -> None:
    random_farm(tmp_path, 7)
    opened = open_farm(tmp_path)
    refresh(opened, "test")
    question = Query(date(2027, 1, 1), grouping(by), None)
    with opened_ledger(opened.ledger, opened.settings) as ledger:
        told = sum(row["fresh_g"] for row in measures.yields(ledger.view(question)))
        loaded = ledger.connection.execute("select sum(fresh_weight_g)::double from harvests").fetchone()
    assert loaded is not None
    assert loaded[0] > 0
    assert told == pytest.approx(loaded[0], rel=1e-12)
