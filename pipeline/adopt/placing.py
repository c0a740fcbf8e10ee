"""Placing: which tables does a sheet hold, and which of its headings stands for which column?"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

from pipeline.adopt.cells import looks_date, looks_number, said
from pipeline.adopt.headings import Candidate, bare, candidates
from pipeline.adopt.sheets import LyingSheet
from pipeline.files.wide import SHARED
from schemas.contract import Contract, contract

# A heading that fits columns of several tables stands in the one whose rows are most: a note beside a picking is on it.
ORDER = ("harvests", "observations", "fillings", "batches")
# A sheet holds a table when it has so many of these columns, which no other table has.
SIGNS = {
    "harvests": (1, ("fresh_weight_g",)),
    "observations": (1, ("event",)),
    "fillings": (1, ("kind", "volume_l", "holes_open", "holes_taped", "fill_kg")),
    "batches": (
        2,
        ("inoculated_on", "strain", "substrate", "treatment", "substrate_wet_kg", "moisture_pct", "spawn_kg"),
    ),
}
# Names, which may be numbers; any other text that is all numbers is something else.
NAMES = (*SHARED, "soak", "spawn_lot", "room", "position", "entry", "picker", "note")
# Headings that any dated table may have.
ANY_DAY = ("date", "day")
PER_FLUSH = re.compile(
    r"(flush|wave|pick\w*|harvest\w*|weight|yield)\s*\d|\d(st|nd|rd|th)?\s*(flush|wave|pick|harvest)"
)


@dataclass(frozen=True)
class Placed:
    """A heading and the column that it stands for. `at`: its place in the sheet; `no_unit`: the heading names none."""

    at: int
    heading: str
    table: str
    column: str
    unit: str | None = None
    no_unit: bool = False


@dataclass(frozen=True)
class Placing:
    """What a sheet holds: `tables` in the order of the contracts, `placed` its headings, `unplaced` the others with
    why, `short` the tables that it would hold but for a column that must be there.
    """

    sheet: LyingSheet
    tables: tuple[str, ...] = ()
    placed: tuple[Placed, ...] = ()
    unplaced: tuple[tuple[str, str], ...] = ()
    short: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Known:
    """What is known beside the sheet: `units`, by bare heading, that the grower told; `doubtful`, the places of
    headings that are not to be placed, with why; `fillings_too`: batch and container together tell a filling, as where
    no other sheet does.
    """

    units: Mapping[str, str] = field(default_factory=dict)
    doubtful: Mapping[int, str] = field(default_factory=dict)
    fillings_too: bool = False


def place(sheet: LyingSheet, known: Known) -> Placing:
    """What does this sheet hold?"""
    found = [_fitting(sheet, at, known.units) for at in range(len(sheet.header))]
    tables = _signed([each for column in found for each in column])
    found = [[] if at in known.doubtful else column for at, column in enumerate(found)]
    if (known.fillings_too and tables & {"harvests", "batches"}) or not tables:
        columns = {each.column for column in found for each in column}
        tables |= {"fillings"} if set(SHARED) <= columns else set()
    short: dict[str, str] = {}
    while True:
        placed = _assigned(sheet, found, tables, known.units)
        lacking = {table: lack for table in tables if (lack := _lacks(contract(table), placed))}
        if not lacking:
            break
        # The one that lacks something gives its columns back, and the others are looked at again.
        table = next(each for each in reversed(ORDER) if each in lacking)
        short[table] = lacking[table]
        tables -= {table}
    ordered = tuple(table for table in reversed(ORDER) if table in tables)
    unplaced = [
        (heading or f"column {at + 1}", known.doubtful.get(at) or _why_not(sheet, at, found[at], placed, tables))
        for at, heading in enumerate(sheet.header)
        if at not in {each.at for each in placed} and (heading or sheet.column(at))
    ]
    return Placing(sheet, ordered, tuple(placed), tuple(unplaced), short)


def _fitting(sheet: LyingSheet, at: int, units: Mapping[str, str]) -> list[Candidate]:
    """For which columns may this heading stand, by its wording, its unit and its cells?"""
    told = units.get(bare(sheet.header[at]).words)
    heading = f"{sheet.header[at]} ({told})" if told else sheet.header[at]
    cells = said(cell for _, cell in sheet.column(at))
    return [each for each in candidates(heading) if cells_fit(each, cells)]


def cells_fit(candidate: Candidate, cells: Sequence[str]) -> bool:
    """Are most cells of the kind that the column holds?"""
    if not cells:
        return True
    numbers, dates = sum(map(looks_number, cells)), sum(map(looks_date, cells))
    if candidate.field.type == "date":
        return 2 * dates >= len(cells)
    if candidate.field.type in ("number", "integer"):
        return 2 * numbers >= len(cells)
    return candidate.column in NAMES or max(numbers, dates) < len(cells)


def _signed(found: Sequence[Candidate]) -> set[str]:
    there = {(each.table, each.column) for each in found if not _any_day(each)}
    return {table for table, (least, signs) in SIGNS.items() if sum((table, sign) in there for sign in signs) >= least}


def _any_day(candidate: Candidate) -> bool:
    """Is it a table's day only because the heading says no more than that?"""
    if candidate.field.type != "date" or candidate.rank == 0:
        return False
    return candidate.rank > 1 and candidate.field.headings[candidate.rank - 2] in ANY_DAY


def _likeness(candidate: Candidate) -> tuple[bool, int, int]:
    """How likely is a candidate, the likeliest first? A heading that says just "date" is any table's alike."""
    any_day = _any_day(candidate)
    return any_day, 0 if any_day else candidate.rank, ORDER.index(candidate.table)


def _assigned(
    sheet: LyingSheet, found: Sequence[Sequence[Candidate]], tables: set[str], units: Mapping[str, str]
) -> list[Placed]:
    """Which heading stands for which column? The likeliest wordings first; each heading and each column once, but for
    the columns by which the tables belong together.
    """
    every = [(_likeness(each), at, each) for at, column in enumerate(found) for each in column if each.table in tables]
    placed: list[Placed] = []
    for _, at, each in sorted(every, key=lambda entry: entry[:2]):
        taken = any(
            (each.table, each.column) == (other.table, other.column) or (at == other.at and each.column not in SHARED)
            for other in placed
        )
        if not taken:
            read = bare(sheet.header[at])
            no_unit = each.rank > 0 and read.unit is None and read.words not in units
            placed.append(Placed(at, sheet.header[at], each.table, each.column, each.unit, no_unit))
    return sorted(placed, key=lambda each: (ORDER.index(each.table), each.at))


def _lacks(table: Contract, placed: Sequence[Placed]) -> str:
    """Which column that must be there is not?"""
    there = {each.column for each in placed if each.table == table.name}
    lacking = [each.name for each in table.fields if each.required and each.name not in there]
    lacking += [" or ".join(group) for group in table.needs_one_of if not set(group) & there]
    return ", ".join(lacking)


def _why_not(
    sheet: LyingSheet, at: int, fitting: Sequence[Candidate], placed: Sequence[Placed], tables: set[str]
) -> str:
    """Why does this heading stand for no column?"""
    heading = sheet.header[at]
    read = bare(heading)
    if not heading:
        return "has cells, but no heading"
    if read.foreign:
        hint = ', call it "US gal" if it is that one' if read.foreign.startswith("gal") else ""
        return f"is in a unit that gillbook does not read ({read.foreign}{hint})"
    return _taken(fitting, placed, tables) or _of_other_shape(sheet, at) or _not_fitting(sheet, at)


def _taken(fitting: Sequence[Candidate], placed: Sequence[Placed], tables: set[str]) -> str:
    for each in sorted(fitting, key=_likeness):
        other = next((one for one in placed if (one.table, one.column) == (each.table, each.column)), None)
        if other:
            return f'may be {each.column} of {each.table}, but "{other.heading}" is taken for that'
        if each.table not in tables:
            return f"may be {each.column} of {each.table}, which this sheet does not hold"
    return ""


def _of_other_shape(sheet: LyingSheet, at: int) -> str:
    """Is it one of several columns for what gillbook keeps as rows?"""
    words, cells = bare(sheet.header[at]).words, sheet.column(at)
    if PER_FLUSH.search(words):
        return "may be one of several columns of pickings; gillbook reads one row for each picking, with its day"
    if _of_event(words) and cells and all(looks_date(cell) for _, cell in cells):
        return "holds days of an event; gillbook reads one row for each event, with its day (observations)"
    return ""


def _not_fitting(sheet: LyingSheet, at: int) -> str:
    for each in candidates(sheet.header[at]):
        odd = [(row, cell) for row, cell in sheet.column(at) if not cells_fit(each, said([cell]))]
        if odd:
            row, cell = odd[0]
            return f'may be {each.column}, but its cells do not fit that ("{cell}" in row {row})'
    return "stands for no column that gillbook knows"


def _of_event(words: str) -> bool:
    event = contract("observations").field("event")
    return any(word.replace("_", " ") in words for word in (*event.words, *event.guesses))


def middle(sheet: LyingSheet, at: int, decimal_mark: str, thousands_mark: str) -> float | None:
    """What is the middle value of a column of numbers, written with these marks?"""
    values = []
    for _, cell in sheet.column(at):
        plain = re.sub(r"[\s\u2019']", "", cell)
        plain = plain.replace(thousands_mark, "") if thousands_mark else plain
        try:
            values.append(float(plain.replace(decimal_mark, ".").replace("\u2396", ".")))
        except ValueError:
            continue
    return median(values) if values else None
