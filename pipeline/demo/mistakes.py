"""The realistic mistakes of the demo farm: each a slip of the pen that one rule of the contracts should find.

A slip is planted into a row that fits it and was not touched before, so the table below survives a change of
recipes or seed; where no row fits, planting stops with a LookupError.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta

from schemas.contract import FILLINGS, HARVESTS, OBSERVATIONS

Cells = dict[str, str]


@dataclass(eq=False)
class Row:
    """What does one line of a file say, and which batch and filling (-1: none) is it truly about?

    of_filling: the pickings of that filling, in the order of days.
    """

    cells: Cells
    batch: str = ""
    unit: int = -1
    of_filling: "list[Row]" = field(default_factory=list)


Files = dict[str, list[Row]]
Fits = Callable[[Row], bool]


@dataclass(frozen=True)
class Planted:
    """A spoiled row, what the checks should say of it, and which rows wait for it to be mended."""

    what: str
    file: str
    row: Row
    column: str | None
    rule: str
    waiting: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Slip:
    """One wrongly typed cell: in which file, in a row that fits, what is written instead of what stood there?"""

    what: str
    file: str
    column: str
    rule: str
    fits: Fits
    typed: str | Callable[[Cells], str]


def _grams(row: Row) -> float:
    """Return how much was picked, in grams."""
    return float(row.cells["fresh_weight_g"])


def _alone(row: Row) -> bool:
    """Whether this is a picking of one container, with its flush."""
    return bool(row.cells["container"] and row.cells["flush"])


def _moved(day: str, days: int) -> str:
    """Return the day that is so many days later."""
    return (date.fromisoformat(day) + timedelta(days=days)).isoformat()


def _again_soon_in_flush_2(row: Row) -> bool:
    """Whether this is a first picking of flush 2 that was picked of once more, days later, all flushes written."""
    second = [other for other in row.of_filling if other.cells["flush"] == "2"]
    days = [other.cells["picked_on"] for other in second]
    written = all(other.cells["flush"] for other in row.of_filling)
    return bool(written and row in second and row is second[0] and len(set(days)) == 2)


SLIPS = (
    Slip("kilograms in the column of grams", "harvests/2026-03.csv", "fresh_weight_g", "unlike_usual",
         lambda row: _alone(row) and 220 < _grams(row) < 320 and not row.cells["culled_g"],
         lambda cells: f"{float(cells['fresh_weight_g']) / 1000:.3f}"),
    Slip("a nought too many", "harvests/2026-04.csv", "fresh_weight_g", "unlike_usual",
         lambda row: row.batch == "S05" and 280 < _grams(row) < 400,
         lambda cells: cells["fresh_weight_g"] + "0"),
    Slip("a date that reads two ways", "harvests/2026-04.csv", "picked_on", "date_two_ways",
         lambda row: "2026-04-04" != row.cells["picked_on"] < "2026-04-13",
         lambda cells: f"{cells['picked_on'][8:]}/04/2026"),
    Slip("a weight that was never written", "harvests/2026-05.csv", "fresh_weight_g", "required",
         lambda row: _alone(row) and _grams(row) < 300,
         ""),
    Slip("the wrong month", "harvests/2026-08.csv", "picked_on", "before_inoculation",
         lambda row: row.batch == "S15b" and _alone(row),
         lambda cells: "2026-06" + cells["picked_on"][7:]),
    Slip("the container's digits swapped", "harvests/2026-05.csv", "container", "unknown_place",
         lambda row: row.cells["container"][1:] in {"16", "26", "27", "18", "28"} and not row.cells["batch"],
         lambda cells: cells["container"][0] + cells["container"][:0:-1]),
    Slip("the batch's letter mistyped", "harvests/2026-07.csv", "batch", "batch_not_listed",
         lambda row: row.batch == "S14a" and _alone(row),
         "S14d"),
    Slip("a flush that is none", "harvests/2026-08.csv", "flush", "integer",
         lambda row: _alone(row) and row.cells["flush"] == "2",
         "2.5"),
    Slip("a cap stage misspelt", "harvests/2026-04.csv", "cap_stage", "enum",
         lambda row: row.cells["cap_stage"] == "turned_down",
         "turneddown"),
    Slip("culls weighed with their crate", "harvests/2026-09.csv", "culled_g", "culls_above_weight",
         lambda row: _alone(row) and _grams(row) < 200 and row.cells["culled_g"] not in ("", "0"),
         lambda cells: f"{float(cells['culled_g']) + 450:g}"),
    Slip("flush 3 written where flush 2 had begun", "harvests/2026-06.csv", "flush", "flush_disorder",
         _again_soon_in_flush_2,
         "3"),
    Slip("an event misspelt", "observations.csv", "event", "enum",
         lambda row: row.cells["event"] == "pins" and row.cells["flush"] == "2",
         "pin"),
    Slip("the year's digits swapped", "observations.csv", "seen_on", "future",
         lambda row: row.cells["event"] == "opened" and row.cells["seen_on"] > "2026-07",
         lambda cells: "2062" + cells["seen_on"][4:]),
    Slip("a bucket of two litres", "fillings.csv", "volume_l", "packed_dense",
         lambda row: row.batch == "S18b" and row.cells["volume_l"] == "20",
         "2"),
    Slip("a pH that lime water cannot reach", "batches.csv", "ph_start", "lime_ph",
         lambda row: row.batch == "S11a",
         "13.5"),
    Slip("moisture with a wrong first digit", "batches.csv", "moisture_pct", "minimum",
         lambda row: row.batch == "S15c",
         "18"),
)  # fmt: skip


def plant(files: Files) -> list[Planted]:
    """Write the mistakes into the files, and return which they are. Changes rows and adds rows, file by file; nothing
    moves.
    """
    _link_pickings(files)
    planted = [*_batch_twice(files), *_filling_twice(files), *_soak_forgotten(files)]
    touched = {id(row) for rows in files.values() for row in rows if _waits(row, planted)}
    for slip in SLIPS:
        row = _spoiled(files, slip.file, slip.what, touched, slip.fits)
        row.cells[slip.column] = slip.typed if isinstance(slip.typed, str) else slip.typed(row.cells)
        column = None if slip.rule == "unknown_place" else slip.column
        planted.append(Planted(slip.what, slip.file, row, column, slip.rule))
    for spoil in (_row_twice, _weighed_twice, _picked_after_emptied, _pins_too_late):
        planted.extend(spoil(files, touched))
    return planted


def _link_pickings(files: Files) -> None:
    """Give each row the pickings of its filling. Fills in of_filling, the same list for all rows of a filling."""
    of_filling: dict[int, list[Row]] = {}
    for row in _pickings(files):
        if row.unit >= 0:
            of_filling.setdefault(row.unit, []).append(row)
    for rows in files.values():
        for row in rows:
            row.of_filling = of_filling.get(row.unit, [])


def _pickings(files: Files) -> Iterator[Row]:
    """Return the rows that are pickings, month after month."""
    return (row for name in sorted(files) if name.startswith("harvests/") for row in files[name])


def _waits(row: Row, planted: list[Planted]) -> bool:
    """Whether this is a row of a batch or filling that is already spoiled."""
    return any(row.batch == bad.row.batch and bad.row.unit in (-1, row.unit) for bad in planted)


def _spoiled(files: Files, file: str, what: str, touched: set[int], fits: Fits) -> Row:
    """Return an untouched row of the file that fits. The other pickings of its filling are left alone from now on."""
    fitting = [row for row in files[file] if id(row) not in touched and fits(row)]
    if not fitting:
        raise LookupError(f"no row of {file} fits the mistake: {what}")
    row = fitting[len(what) * 7 % len(fitting)]  # anywhere in the file, the same row every time
    touched.update(id(other) for other in [row, *row.of_filling])
    return row


def _added(rows: list[Row], row: Row, **changed: str) -> Row:
    """Return this row, entered once more right below with some cells changed."""
    again = Row(row.cells | changed, row.batch, row.unit)
    rows.insert(rows.index(row) + 1, again)
    return again


def _batch_twice(files: Files) -> list[Planted]:
    """A batch entered twice with different spawn: its fillings, events and pickings wait for one row."""
    rows = files["batches.csv"]
    row = next(row for row in rows if row.batch == "S18a")
    waiting = {FILLINGS: sum(other.batch == row.batch for other in files["fillings.csv"])}
    waiting[OBSERVATIONS] = sum(other.batch == row.batch for other in files["observations.csv"])
    waiting[HARVESTS] = sum(other.batch == row.batch for other in _pickings(files))
    again = _added(rows, row, spawn_kg=f"{float(row.cells['spawn_kg']) + 0.4:g}", note="spawn weighed again")
    what = "one batch entered twice, with different spawn"
    return [Planted(what, "batches.csv", bad, "batch", "conflicting", waiting) for bad in (row, again)]


def _soak_forgotten(files: Files) -> list[Planted]:
    """Two batches of one recipe and day whose soak was never named: a question at the first of them."""
    rows = [row for row in files["batches.csv"] if row.cells["soak"] == "S21"]
    for row in rows:
        row.cells["soak"] = ""
    return [Planted("a soak that was never named", "batches.csv", rows[0], "soak", "soak_not_named")]


def _filling_twice(files: Files) -> list[Planted]:
    """A filling entered twice, the digits of its mass swapped the second time: its pickings wait."""
    rows = files["fillings.csv"]
    row = next(r for r in rows if r.cells["container"][0] == "G" and r.batch >= "S10" and _swappable(r))
    mass = row.cells["fill_kg"]
    again = _added(rows, row, fill_kg=mass[:2] + mass[:1:-1])
    events = sum(other.unit == row.unit for other in files["observations.csv"])
    waiting = {OBSERVATIONS: events, HARVESTS: len(row.of_filling)}
    what = "one filling entered twice, with different mass"
    return [Planted(what, "fillings.csv", bad, "container", "conflicting", waiting) for bad in (row, again)]


def _swappable(row: Row) -> bool:
    """Whether this is a filling with pickings and a mass like 2.85, whose last two digits can be swapped."""
    mass = row.cells["fill_kg"]
    return len(row.of_filling) > 2 and len(mass) == 4 and mass[2] != mass[3]


def _row_twice(files: Files, touched: set[int]) -> list[Planted]:
    """A picking entered twice in full."""
    what, file = "one picking entered twice in full", "harvests/2026-06.csv"
    row = _spoiled(files, file, what, touched, _alone)
    return [Planted(what, file, _added(files[file], row), None, "repeated")]


def _weighed_twice(files: Files, touched: set[int]) -> list[Planted]:
    """A picking entered by two people: same container, day and weight, another picker."""
    what, file = "one picking entered by two people", "harvests/2026-09.csv"
    row = _spoiled(files, file, what, touched, lambda row: _alone(row) and row.cells["picker"] == "M")
    again = _added(files[file], row, picker="T", culled_g="", note="")
    return [Planted(what, file, twin, "fresh_weight_g", "same_weight_twice") for twin in (row, again)]


def _picked_after_emptied(files: Files, touched: set[int]) -> list[Planted]:
    """A last picking dated two days after the container was emptied."""
    what, file = "a picking dated after its container was emptied", "harvests/2026-08.csv"
    emptied = {r.unit: r.cells["seen_on"] for r in files["observations.csv"] if r.cells["event"] == "emptied"}
    row = _spoiled(
        files, file, what, touched,
        lambda row: _alone(row) and row is row.of_filling[-1] and emptied.get(row.unit, "")[:7] == "2026-08",
    )  # fmt: skip
    row.cells["picked_on"] = _moved(emptied[row.unit], 2)
    return [Planted(what, file, row, "picked_on", "after_closing")]


def _pins_too_late(files: Files, touched: set[int]) -> list[Planted]:
    """Pins of flush 1 dated ten days late, after that flush was picked."""
    what, file = "pins dated ten days late, after the picking", "observations.csv"
    row = _spoiled(
        files, file, what, touched,
        lambda row: row.cells["event"] == "pins" and row.cells["flush"] == "1"
        and row.cells["seen_on"] > "2026-06" and len(row.of_filling) > 1
        and all(other.cells["flush"] for other in row.of_filling),
    )  # fmt: skip
    row.cells["seen_on"] = seen = _moved(row.cells["seen_on"], 10)
    planted = [Planted(what, file, row, "seen_on", "pins_after_picking")]
    months = {id(other): name for name in files for other in files[name]}
    early = [r for r in row.of_filling if r.cells["flush"] == "1" and r.cells["picked_on"] < seen]
    return planted + [Planted(what, months[id(r)], r, "picked_on", "before_pins") for r in early]
