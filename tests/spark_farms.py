"""Farms for Spark: what the same models give on each farm's own ledger, and how two tables of figures differ."""

from __future__ import annotations

import math
import shutil
from collections.abc import Iterator, Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path

from conftest import write_table
from ledgers import BATCHES, refreshed

from pipeline.export.decided import write_decided
from pipeline.export.hive import add_site
from pipeline.farm.folder import open_farm
from pipeline.models.columns import grouped
from pipeline.models.decided import decided, what_they_are
from pipeline.models.lineage import model
from pipeline.models.view import LedgerView, opened

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
# Other settings than the demo farm's, prices that farm.toml tells, no sales, and a month less: with the same rows in
# the same files otherwise, so that a row of one farm that met a row of the other would be in its figures.
HILL = """
flush_settled_days = 12
lapse_days = 30
lapse_unpicked_days = 60
late_from = "flat"
price_per_kg = 11.5
spawn_cost_per_kg = 4.2
substrate_cost_per_kg = 0.6
start_cost_per_container = 0.8
work_hours_per_kg = 0.1
"""
WORK_HOUR = "from_on,item,price,per\n2026-01-01,work_hour,20,hour\n"
# So close are figures that are the same: floating numbers are added in another order.
CLOSE = 1e-9


def write_hill(folder: Path, demo: Path) -> None:
    """Writes a farm of the demo farm's rows but for a month, with settings and prices of its own, and without sales."""
    folder.mkdir()
    for name in ("batches.csv", "fillings.csv", "observations.csv"):
        shutil.copy(demo / name, folder)
    (folder / "harvests").mkdir()
    for path in sorted((demo / "harvests").glob("*.csv"))[1:]:
        shutil.copy(path, folder / "harvests")
    (folder / "prices.csv").write_text(WORK_HOUR, encoding="utf-8")
    (folder / "farm.toml").write_text(HILL, encoding="utf-8")


def write_bare(folder: Path) -> None:
    """Writes a farm of one batch, of which nothing was filled, seen, picked or sold."""
    folder.mkdir()
    write_table(folder, "batches", BATCHES)
    (folder / "farm.toml").write_text("", encoding="utf-8")


def write_farms(folder: Path) -> None:
    """Writes farms into a folder, each with its ledger: the demo farm, one of its rows, and one of nothing."""
    shutil.copytree(DEMO, folder / "demo")
    write_hill(folder / "hill", folder / "demo")
    write_bare(folder / "007")
    for each in folder.iterdir():
        refreshed(each)


def of_ledger(view: LedgerView, name: str) -> list[dict[str, object]]:
    """The rows of a model as the farm's own ledger gives them."""
    view.make(name)
    cursor = view.connection.execute(grouped(model(name).text, view.query.by))
    names = [column[0] for column in cursor.description]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def unlike(found: Sequence[dict[str, object]], expected: Sequence[dict[str, object]]) -> Iterator[str]:
    """Where two tables differ: in number, order or columns of rows, or in a cell by more than CLOSE."""
    if len(found) != len(expected):
        yield f"{len(found)} rows, {len(expected)} expected"
        return
    for at, (mine, other) in enumerate(zip(found, expected, strict=True)):
        if list(mine) != list(other):
            yield f"row {at}: columns {list(mine)}, {list(other)} expected"
            return
        for name, cell in other.items():
            if not _alike(mine[name], cell):
                yield f"row {at}, {name}: {mine[name]!r}, {cell!r} expected"


def _alike(found: object, expected: object) -> bool:
    if isinstance(found, Decimal | float | int) and isinstance(expected, Decimal | float | int):
        return math.isclose(found, expected, rel_tol=CLOSE, abs_tol=CLOSE)
    return found == expected


def question(month: date) -> dict[str, object]:
    """The variables of a question beside those of a view: a month, and a comparison by flush."""
    return {"month_first": month, "month_last": month.replace(day=28), "to_day": None}


def hand_on(farms: Path, together: Path) -> None:
    """Writes what the ledgers of the farms in a folder have decided, as `many export` does."""
    for each in sorted(farms.iterdir()):
        farm, apart = open_farm(each), together / f".{each.name}"
        apart.mkdir()
        with opened(farm.ledger, farm.settings) as ledger:
            write_decided(apart, decided(ledger), what_they_are())
        add_site(together, each.name, apart)
