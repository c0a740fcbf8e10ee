"""What the invented farm sells, to invented buyers, at invented prices: worked out from its harvests, by no dice."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from pathlib import Path

from pipeline.demo.recipes import LAST_DAY
from pipeline.files.write_csv import csv_lines
from schemas.contract import HARVESTS, PRICES, PROMISES, SALES

FRIDAY = 4
# From the first of June on the kilogram brings more: the one change of a price.
PRICE_ROWS = [
    ("2026-01-01", "fresh", "", "", "10.00", "kg"),
    ("2026-06-01", "fresh", "", "", "11.50", "kg"),
    ("2026-01-01", "fresh", "", "Saturday market (invented)", "13.00", "kg"),
    ("2026-01-01", "spawn", "", "", "3.50", "kg"),
    ("2026-01-01", "spawn", "grain", "", "4.20", "kg"),
    ("2026-01-01", "substrate", "", "", "0.45", "kg"),
    ("2026-01-01", "lime", "", "", "1.20", "batch"),
    ("2026-01-01", "start", "", "", "0.60", "container"),
    ("2026-01-01", "container_day", "", "", "0.02", "day"),
]
# Of what is picked in a week, in %: who takes it on its Friday, and how.
SHARES = [
    (55, "Blue Door (invented)", "sold"),
    (30, "Saturday market (invented)", "sold"),
    (5, "neighbours", "given"),
    (4, "", "discarded"),
]
# Each week, and once more than the farm can have by then.
PROMISE_ROWS = [
    ("2026-05-01", "Blue Door (invented)", "1500", "week", ""),
    ("2026-10-09", "Harvest feast (invented)", "40000", "", ""),
]
HEADERS = {
    PRICES: ("from_on", "item", "name", "buyer", "price", "per"),
    SALES: ("sold_on", "weight_g", "buyer", "kind"),
    PROMISES: ("due_on", "buyer", "weight_g", "repeats", "until_on"),
}


def write_books(folder: Path) -> None:
    """Write prices, sales and promises beside the demo farm's other tables. The same bytes every time."""
    rows: dict[str, Sequence[tuple[str, ...]]]
    rows = {PRICES: PRICE_ROWS, SALES: _sales(folder), PROMISES: PROMISE_ROWS}
    for table, cells in rows.items():
        records = [dict(zip(HEADERS[table], row, strict=True)) for row in cells]
        with open(folder / f"{table}.csv", "w", encoding="utf-8", newline="") as file:
            file.writelines(csv_lines(records, list(HEADERS[table])))


def _sales(folder: Path) -> list[tuple[str, ...]]:
    """What left on each Friday of what was picked in the seven days up to it."""
    weeks: Counter[date] = Counter()
    for path in sorted((folder / HARVESTS).glob("*.csv")):
        with open(path, encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                day, grams = _read(row["picked_on"], row["fresh_weight_g"])
                weeks[day + timedelta((FRIDAY - day.weekday()) % 7)] += grams
    return [
        (friday.isoformat(), str(grams * share // 100), buyer, kind)
        for friday, grams in sorted(weeks.items())
        if friday <= LAST_DAY
        for share, buyer, kind in SHARES
        if grams * share >= 100
    ]


def _read(day: str, weight: str) -> tuple[date, int]:
    """The day and the whole grams of a picking; nothing of one with a mistake in it, as some are on purpose."""
    try:
        read, grams = date.fromisoformat(day), Decimal(weight)
    except (ValueError, InvalidOperation):
        return LAST_DAY, 0
    # What was weighed in kg or mistyped is set aside or doubtful: no harvest of a container is beyond these bounds.
    return read, int(grams) if 0 < grams < 5000 else 0
