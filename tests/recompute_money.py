"""What units cost and brought, from the files and the definitions, in fractions, without sight of the SQL."""

from __future__ import annotations

import csv
import tomllib
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path

from recompute_farm import Picking, load
from recompute_units import Unit, units

PER_KG = {"kg": Fraction(1), "g": Fraction(1000), "lb": Fraction(1000) / Fraction("453.59237")}
FARM = {"spawn": "spawn_cost_per_kg", "substrate": "substrate_cost_per_kg", "start": "start_cost_per_container"}
Rows = list[dict[str, str]]
Sums = dict[str, Counter[str]]


def read(folder: Path, table: str) -> Rows:
    path = folder / f"{table}.csv"
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@dataclass
class Books:
    """The prices, sales and settings of a farm."""

    folder: Path

    def __post_init__(self) -> None:
        self.settings = tomllib.loads((self.folder / "farm.toml").read_text(encoding="utf-8"))
        self.prices, self.sales = read(self.folder, "prices"), read(self.folder, "sales")

    def setting(self, name: str) -> Fraction:
        return Fraction(str(self.settings[name]))

    def price(self, item: str, day: date, *names: str, buyer: str = "") -> tuple[Fraction, str] | None:
        """The price of this item on a day, per kg, container, batch, day or hour: of the first name that has one."""
        buyers = [buyer, ""] if buyer else [""]
        wanted = [(each, name) for each in buyers for name in (*filter(None, names), "")]
        for who, name in wanted:
            rows = [row for row in self.prices if row["item"] == item and date.fromisoformat(row["from_on"]) <= day]
            rows = [row for row in rows if (row["name"].lower(), row["buyer"].lower()) == (name, who.lower())]
            if rows:
                row = max(rows, key=lambda each: each["from_on"])
                return Fraction(row["price"]) * PER_KG.get(row["per"], 1), row["per"]
        key = FARM.get(item)
        return (self.setting(key), "container" if item == "start" else "kg") if key in self.settings else None


def costs(
    books: Books,
    unit: Unit,
    all_units: list[Unit],
    until: date | None = None,
    pickings: Iterable[Picking] | None = None,
) -> list[tuple[date, Fraction]]:
    """What the unit cost, each with a day of the month in which it came up: until a day, of these pickings alone."""
    day, row = unit.inoculated_on, unit.batch_row
    assert day is not None
    assert unit.containers is not None
    (kind,) = {kind for kind, _ in unit.sizes} if len(unit.sizes) == 1 else {""}
    of_batch = sum((each.containers or 0 for each in all_units if each.batch == unit.batch), Fraction(0))
    found = []
    of_supplement = books.price("supplement", day, row.words.get("supplement", "").lower())
    supplement = Fraction(0)
    if of_supplement and "supplement_dry_kg" in row.numbers and unit.dry_kg is not None:
        whole = row.numbers["substrate_dry_kg"] + row.numbers["supplement_dry_kg"]
        supplement = row.numbers["supplement_dry_kg"] * unit.dry_kg / whole
        found.append((day, of_supplement[0] * supplement))
    masses = {
        "substrate": (unit.dry_kg and unit.dry_kg - supplement, row.words.get("substrate", "")),
        "spawn": (unit.spawn_kg, row.words.get("spawn_lot", ""), row.words.get("spawn_form", "")),
    }
    for item, (mass, *names) in masses.items():
        price = books.price(item, day, *(name.lower() for name in names))
        if price and mass is not None:
            found.append((day, price[0] * mass))
    limed = "lime" in row.words.get("treatment", "")
    for item in ("lime", "start") if limed else ("start",):
        price = books.price(item, day, kind if item == "start" else "")
        if price:
            share = unit.containers / of_batch if price[1] == "batch" else unit.containers
            found.append((day, price[0] * share))
    end = min(
        [
            *([unit.closing.day] if unit.closing else []),
            *([unit.lapse_day] if unit.lapse_day else []),
            *([until] if until else []),
            unit.as_of,
        ]
    )
    while day < end:
        of_day = books.price("container_day", day, kind)
        found += [(day, of_day[0] * unit.containers)] if of_day else []
        day += timedelta(1)
    wages = [(unit.inoculated_on, unit.containers * books.setting("work_hours_per_container"))]
    wages += [
        (each.day, each.grams / 1000 * books.setting("work_hours_per_kg"))
        for each in (unit.pickings if pickings is None else pickings)
    ]
    of_hours = [(when, hours, books.price("work_hour", when)) for when, hours in wages]
    return found + [(when, hours * price[0]) for when, hours, price in of_hours if price]


def money(
    folder: Path, as_of: date, group: Callable[[Unit], str]
) -> tuple[dict[str, Counter[str]], dict[str, Counter]]:
    """Sums by group and by month: revenue, cost, sold, given, discarded, picked. "": of no unit."""
    books, members = Books(folder), units(load(folder), as_of)
    by: dict[str, Counter[str]] = defaultdict(Counter)
    months: dict[str, Counter[str]] = defaultdict(Counter)
    for unit in members:
        for day, cost in costs(books, unit, members):
            by[group(unit)]["cost"] += cost
            months[f"{day:%Y-%m}"]["cost"] += cost
        for picking in unit.pickings:
            by[group(unit)]["picked_g"] += picking.grams
            months[f"{picking.day:%Y-%m}"]["picked_g"] += picking.grams
    for row in books.sales:
        sold_on = date.fromisoformat(row["sold_on"])
        if sold_on <= as_of:
            _share(books, row, members, group, by, months[f"{sold_on:%Y-%m}"])
    return dict(by), dict(months)


def _share(
    books: Books,
    row: dict[str, str],
    members: list[Unit],
    group: Callable[[Unit], str],
    by: dict[str, Counter[str]],
    month: Counter[str],
) -> None:
    day, strain = date.fromisoformat(row["sold_on"]), row.get("strain", "").lower()
    picked_on = date.fromisoformat(row["picked_on"]) if row["picked_on"] else None

    def fits(unit: Unit, picked: date) -> bool:
        if row["batch"]:
            return unit.batch == row["batch"] and picked <= day and picked_on in (None, picked)
        if strain not in ("", unit.batch_row.words["strain"].lower()):
            return False
        return picked == picked_on if picked_on else 0 <= (day - picked).days <= int(books.setting("shelf_days"))

    shares: Counter[str] = Counter()
    for unit in members:
        for each in unit.pickings:
            if fits(unit, each.day):
                shares[group(unit)] += each.grams
    weight, kind = Fraction(row["weight_g"]), row["kind"] or "sold"
    listed = books.price("fresh", day, strain, buyer=row["buyer"])
    paid = Fraction(0)
    if kind in ("sold", "returned"):
        per_kg = Fraction(row["price_per_kg"]) if row["price_per_kg"] else listed[0] if listed else Fraction(0)
        paid = Fraction(row["amount"]) if row["amount"] else per_kg * weight / 1000
    sign = -1 if kind == "returned" else 1
    column = {"given": "given_g", "own_kitchen": "given_g", "discarded": "discarded_g"}.get(kind, "sold_g")
    whole = sum(shares.values(), Fraction(0))
    for name, grams in shares.items() if shares else [("", Fraction(1))]:
        part = grams / whole if shares else Fraction(1)
        by[name][column] += sign * weight * part
        by[name]["revenue"] += sign * paid * part
    month[column] += sign * weight
    month["revenue"] += sign * paid


def margins(
    folder: Path, as_of: date, through: int, to_day: int | None = None
) -> dict[tuple[str, str | None], Fraction]:
    """What the pickings of each unit brought at the price of their day, through a flush or to an age, less what it cost
    up to its last such picking; where it never came to the flush, up to its end.
    """
    books, members, found = Books(folder), units(load(folder), as_of), {}
    for unit in members:
        assert unit.inoculated_on is not None
        until: date | None = None
        if to_day is not None:
            until = unit.inoculated_on + timedelta(to_day)
            counted = [each for each in unit.pickings if each.day <= until]
        else:
            counted = [each for each in unit.pickings if each.flush <= through]
            if any(each.flush >= through for each in unit.pickings):
                until = max((each.day for each in counted), default=min(each.day for each in unit.pickings))
        strain = unit.batch_row.words["strain"].lower()
        revenue = Fraction(0)
        for each in counted:
            price = books.price("fresh", each.day, strain)
            assert price is not None
            revenue += each.grams / 1000 * price[0]
        spent = costs(books, unit, members, until, counted)
        found[unit.batch, unit.container] = revenue - sum((cost for _, cost in spent), Fraction(0))
    return found
