"""Matching a sheet: the tables that it holds, and the column that each of its headings stands for."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

from pipeline.adopt.books import books_of
from pipeline.adopt.cells import filled
from pipeline.adopt.fitting import cells_fit, fitting, is_any_day
from pipeline.adopt.headings import Candidate, candidates, parse_heading
from pipeline.adopt.sheets import SourceSheet
from pipeline.files.wide import SHARED
from schemas.contract import (
    BATCHES,
    FILLINGS,
    GROWING,
    HARVESTS,
    INPUTS,
    OBSERVATIONS,
    PRICES,
    PROMISES,
    SALES,
    ColumnRole,
    Contract,
    Field,
    Varies,
    contract,
)
from schemas.exported import is_settings, whole_table

# A heading that fits columns of several tables stands in the one whose rows are most: a note beside a picking is on it.
ORDER = (HARVESTS, OBSERVATIONS, FILLINGS, BATCHES, SALES, PROMISES, PRICES)
# A sheet holds a table when it has so many of the columns that are signs of it: see _is_sign.
# Of the books, see pipeline.adopt.books.
LEAST_SIGNS = {HARVESTS: 1, OBSERVATIONS: 1, FILLINGS: 1, BATCHES: 1}


def _is_sign(table: str, each: Field) -> bool:
    """Whether a column speaks for its table: of batches those that everyone fills in, of fillings how a container was
    made (but for where it stands), of entries what is noted of each.
    """
    if each.name in SHARED:
        return False
    if table == BATCHES:
        return each.starred
    if table == FILLINGS:
        made = (ColumnRole.CHOICE, ColumnRole.AMOUNT, ColumnRole.READING)
        return each.varies == Varies.CONTAINER and each.role in made and not each.belongs_to
    return each.required and each.type != "date"


SIGNS = frozenset((name, each.name) for name in GROWING for each in contract(name).fields if _is_sign(name, each))


@dataclass(frozen=True)
class MatchedHeading:
    """A heading and the column that it stands for. `at`: its place in the sheet; `no_unit`: the heading names none."""

    at: int
    heading: str
    table: str
    column: str
    unit: str | None = None
    no_unit: bool = False


@dataclass(frozen=True)
class SheetMatch:
    """What a sheet holds: `tables` in the order of the contracts, `matched` its headings, `unmatched` the others with
    why, `lacking` the tables that it would hold but for a column that must be there.
    """

    sheet: SourceSheet
    tables: tuple[str, ...] = ()
    matched: tuple[MatchedHeading, ...] = ()
    unmatched: tuple[tuple[str, str], ...] = ()
    lacking: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Hints:
    """What is known beside the sheet: `units`, by words of a heading, that the grower named; `doubtful`, the places of
    headings that are not to be matched, with why; `fillings_too`: batch and container together mean a filling, as where
    no other sheet does.
    """

    units: Mapping[str, str] = field(default_factory=dict)
    doubtful: Mapping[int, str] = field(default_factory=dict)
    fillings_too: bool = False


def match_sheet(sheet: SourceSheet, hints: Hints) -> SheetMatch:
    """Return what this sheet holds."""
    if is_settings(sheet.header):
        return SheetMatch(sheet)
    whole = whole_table(sheet.header)
    if whole:
        names = contract(whole).names
        own = tuple(MatchedHeading(at, sheet.header[at], whole, name) for at, name in enumerate(names))
        return SheetMatch(sheet, (whole,), own)
    found = [_fitting(sheet, at, hints.units) for at in range(len(sheet.header))]
    books = books_of(found)
    every, found = found, [[each for each in column if each.table in books.read] for column in found]
    tables = _signed([each for column in found for each in column]) | books.tables
    found = [[] if at in hints.doubtful else column for at, column in enumerate(found)]
    if books.alone:
        pass
    elif (hints.fillings_too and tables & {HARVESTS, BATCHES}) or not tables:
        columns = {each.column for column in found for each in column}
        tables |= {FILLINGS} if set(SHARED) <= columns else set()
    lacking: dict[str, str] = {}
    while True:
        matched = _assigned(sheet, found, tables, hints.units)
        incomplete = {table: lack for table in tables if (lack := _lacks(contract(table), matched))}
        if not incomplete:
            break
        # The one that lacks something gives its columns back, and the others are looked at again.
        table = next(each for each in reversed(ORDER) if each in incomplete)
        lacking[table] = incomplete[table]
        tables -= {table}
    ordered = tuple(table for table in INPUTS if table in tables)
    unmatched = [
        (heading or f"column {at + 1}", hints.doubtful.get(at) or _why_not(sheet, at, every[at], matched, tables))
        for at, heading in enumerate(sheet.header)
        if at not in {each.at for each in matched} and (heading or sheet.column(at))
    ]
    return SheetMatch(sheet, ordered, tuple(matched), tuple(unmatched), lacking)


def _fitting(sheet: SourceSheet, at: int, units: Mapping[str, str]) -> list[Candidate]:
    """Return the columns that this heading may stand for, by its wording, its unit and its cells."""
    heading = sheet.meant.get(sheet.header[at], sheet.header[at])
    unit = units.get(parse_heading(sheet.header[at]).words)
    heading = f"{heading} ({unit})" if unit else heading
    return fitting(heading, [cell for _, cell in sheet.column(at)])


def _signed(found: Sequence[Candidate]) -> set[str]:
    there = {(each.table, each.column) for each in found if not is_any_day(each)}
    counts = Counter(table for table, _ in there & SIGNS)
    return {table for table, least in LEAST_SIGNS.items() if counts[table] >= least}


def _likeness(candidate: Candidate) -> tuple[bool, int, int]:
    """Return how likely a candidate is, the likeliest first. A heading that says just "date" is any table's alike."""
    any_day = is_any_day(candidate)
    return any_day, 0 if any_day else candidate.rank, ORDER.index(candidate.table)


def _assigned(
    sheet: SourceSheet, found: Sequence[Sequence[Candidate]], tables: set[str], units: Mapping[str, str]
) -> list[MatchedHeading]:
    """Return which heading stands for which column. The likeliest wordings first; each heading and each column once,
    but for the columns by which the tables belong together.
    """
    every = [(_likeness(each), at, each) for at, column in enumerate(found) for each in column if each.table in tables]
    matched: list[MatchedHeading] = []
    for _, at, each in sorted(every, key=lambda entry: entry[:2]):
        taken = any(
            (each.table, each.column) == (other.table, other.column) or (at == other.at and each.column not in SHARED)
            for other in matched
        )
        if not taken:
            read = parse_heading(sheet.header[at])
            meant = parse_heading(sheet.meant.get(sheet.header[at], sheet.header[at]))
            no_unit = each.rank > 0 and not (read.unit or meant.unit) and read.words not in units
            matched.append(MatchedHeading(at, sheet.header[at], each.table, each.column, each.unit, no_unit))
    return sorted(matched, key=lambda each: (ORDER.index(each.table), each.at))


def _lacks(table: Contract, matched: Sequence[MatchedHeading]) -> str:
    """Return the columns that must be there and are not."""
    there = {each.column for each in matched if each.table == table.name}
    lacking = [each.name for each in table.fields if each.must_be_there and each.name not in there]
    lacking += [" or ".join(group) for group in table.needs_one_of if not set(group) & there]
    return ", ".join(lacking)


def _why_not(
    sheet: SourceSheet, at: int, fitting: Sequence[Candidate], matched: Sequence[MatchedHeading], tables: set[str]
) -> str:
    """Return why this heading stands for no column."""
    heading = sheet.header[at]
    read = parse_heading(heading)
    if not heading:
        return "has cells, but no heading"
    if read.foreign:
        hint = ', call it "US gal" if it is that one' if read.foreign.startswith("gal") else ""
        return f"is in a unit that gillbook does not read ({read.foreign}{hint})"
    return _taken(fitting, matched, tables) or _not_fitting(sheet, at)


def _taken(fitting: Sequence[Candidate], matched: Sequence[MatchedHeading], tables: set[str]) -> str:
    for each in sorted(fitting, key=lambda one: (one.table not in GROWING, _likeness(one))):
        other = next((one for one in matched if (one.table, one.column) == (each.table, each.column)), None)
        if other:
            return f'may be {each.column} of {each.table}, but "{other.heading}" is taken for that'
        if each.table not in tables:
            return f"may be {each.column} of {each.table}, which this sheet does not hold"
    return ""


def _not_fitting(sheet: SourceSheet, at: int) -> str:
    for each in candidates(sheet.header[at]):
        odd = [(row, cell) for row, cell in sheet.column(at) if not cells_fit(each, filled([cell]))]
        if odd:
            row, cell = odd[0]
            return f'may be {each.column}, but its cells do not fit that ("{cell}" in row {row})'
    return "stands for no column that gillbook knows"


def middle(sheet: SourceSheet, at: int, decimal_mark: str, thousands_mark: str) -> float | None:
    """Return the middle value of a column of numbers, written with these marks."""
    values = []
    for _, cell in sheet.column(at):
        plain = re.sub(r"[\s\u2019']", "", cell)
        plain = plain.replace(thousands_mark, "") if thousands_mark else plain
        try:
            values.append(float(plain.replace(decimal_mark, ".").replace("\u2396", ".")))
        except ValueError:
            continue
    return median(values) if values else None
