"""Straightening: a sheet of any shape becomes tables that can be read, one row per entry. Headings and cells stay the
grower's own; only where they stand changes. A sheet that can be read as it lies stays as it is.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

from pipeline.adopt.amounts import with_plain_amounts
from pipeline.adopt.block import BOOK_DAYS, Block, BlockRow, LeftOut
from pipeline.adopt.book_columns import books_in, with_book_columns
from pipeline.adopt.dialogue import Dialogue
from pipeline.adopt.event_columns import with_event_rows
from pipeline.adopt.fill_down import filled_down
from pipeline.adopt.find_blocks import filled, find_blocks
from pipeline.adopt.headings import parse_heading
from pipeline.adopt.matching import Hints, match_sheet
from pipeline.adopt.near_headings import with_meant_headings
from pipeline.adopt.one_batch import with_one_batch
from pipeline.adopt.proposal import IMPERIAL
from pipeline.adopt.sections import with_facts, with_sheet_name, without_sections
from pipeline.adopt.sheets import Origin, SheetGrid, SourceFile, SourceSheet, first_filled, grids_of
from pipeline.adopt.shown_units import with_shown_units
from pipeline.adopt.unpivot import About, unpivoted
from schemas.exported import is_settings, whole_table

# The folder of a farm in which straightened tables lie.
FOLDER = "sheets"


@dataclass(frozen=True)
class _Found:
    """A table of a sheet, straightened. `as_it_lies`: it needs no change."""

    grid: SheetGrid
    block: Block
    as_it_lies: bool


def straight_sheets(files: Sequence[SourceFile], talk: Dialogue) -> list[SourceSheet]:
    """Return the tables of these files. Raises UnreadableFile for a file that cannot be read, or has no table."""
    grids = [grids_of(file) for file in files]
    found = [[each for grid in one for each in _of_grid(grid, len(one) == 1, talk)] for one in grids]
    if not any(_names_batch(each.block) for one in found for each in one):
        found = [[_of_one_batch(each, talk) for each in one] for one in found]
    names: dict[str, int] = {}
    return [sheet for one, tables in zip(grids, found, strict=True) for sheet in _of_file(one, tables, names)]


def _names_batch(block: Block) -> bool:
    return block.find("batch") is not None


def _of_one_batch(found: _Found, talk: Dialogue) -> _Found:
    """The table with batches by day, or one for all, where that can be."""
    block = with_one_batch(found.block, talk)
    return found if block is None else _Found(found.grid, block, as_it_lies=False)


def _of_file(grids: Sequence[SheetGrid], found: Sequence[_Found], names: dict[str, int]) -> list[SourceSheet]:
    if not found or all(each.as_it_lies for each in found):
        plain = {each.grid.sheet: dict(each.block.meant) for each in found}
        sheets = [as_it_lies(grid, plain.get(grid.sheet, {})) for grid in grids]
        if not _share_a_table(sheets):
            return sheets
    return [_made_sheet(each, _name(each.grid, names)) for each in found]


def _share_a_table(sheets: Sequence[SourceSheet]) -> bool:
    """Whether two sheets of a workbook hold the same table, as with a sheet a month: farm.toml can name one a table."""
    tables = Counter(table for each in sheets for table in match_sheet(each, Hints()).tables)
    return any(count > 1 for count in tables.values())


def as_it_lies(grid: SheetGrid, meant: dict[str, str]) -> SourceSheet:
    """Return the sheet with its headings in the first row that is not blank. Raises UnreadableFile where none is."""
    at = first_filled(grid)
    header = tuple(cell or "" for cell in grid.rows[at])
    return SourceSheet(grid.file, grid.sheet, at + 1, header, grid.rows[at + 1 :], meant=meant)


def _of_grid(grid: SheetGrid, alone: bool, talk: Dialogue) -> list[_Found]:
    whole = _whole(grid)
    if whole:
        return [_Found(grid, whole, as_it_lies=True)]
    found = []
    blocks = find_blocks(grid.rows)
    for number, block in enumerate(blocks):
        where = grid.called if len(blocks) == 1 else f"{grid.called}, table {number + 1}"
        done = _straightened(block, grid, alone, where, talk)
        if done.rows:
            found.append(_Found(grid, done, len(blocks) == 1 and _lies_so(grid, done)))
    return found


def _whole(grid: SheetGrid) -> Block | None:
    """The sheet as a table, or the settings, as gillbook hands them on; None where it is another."""
    at = first_filled(grid)
    header = tuple(cell or "" for cell in grid.rows[at])
    if (whole_table(header) is None and not is_settings(header)) or not any(map(any, grid.rows[at + 1 :])):
        return None
    width = len(header)
    rows = [
        BlockRow(row, tuple((*cells, *[None] * width)[:width]))
        for row, cells in enumerate(grid.rows[at + 1 :], at + 2)
        if any(cells)
    ]
    return Block(header, tuple(rows), at + 1)


def _straightened(block: Block, grid: SheetGrid, alone: bool, where: str, talk: Dialogue) -> Block:
    texts = (*block.titles, grid.sheet or "", PurePosixPath(grid.file.name).stem)
    imperial = any(parse_heading(heading).unit in IMPERIAL for heading in block.header)
    block = replace(block, header=_distinct(block.header))
    block = with_meant_headings(block, where, talk, books_in(block).alone)
    block = with_shown_units(block, grid.units, where, talk)
    block = with_book_columns(block, where, texts, talk)
    if books_in(block).alone:
        block = with_plain_amounts(without_sections(with_facts(block), where, texts, talk), where, talk)
        return filled_down(block, where, talk, BOOK_DAYS)
    block = without_sections(block, where, texts, talk)
    block = with_sheet_name(with_facts(block), grid.sheet, alone, talk)
    block = with_event_rows(block, where, talk)
    block = unpivoted(block, About(where, texts, imperial), talk)
    block = with_plain_amounts(block, where, talk)
    return filled_down(block, where, talk)


def _distinct(header: Sequence[str]) -> tuple[str, ...]:
    """The headings, each once: a number tells apart those that are the same."""
    found: list[str] = []
    for heading in header:
        name, number = heading, 2
        while heading and name in found:
            name, number = f"{heading} {number}", number + 1
        found.append(name)
    return tuple(found)


def _lies_so(grid: SheetGrid, block: Block) -> bool:
    """Whether the block is the sheet as it lies, but for rows at its end that sum up the others."""
    at = first_filled(grid)
    if tuple(cell or "" for cell in grid.rows[at]) != block.header or block.head_row != at + 1:
        return False
    lines = [(row, line) for row, line in enumerate(grid.rows[at + 1 :], at + 2) if filled(line)]
    out = {each.at for each in block.left_out}
    while lines and lines[-1][0] in out:
        lines.pop()
    width = len(block.header)
    return [(row.at, row.cells) for row in block.rows] == [
        (row, tuple((*line, *[None] * width)[:width])) for row, line in lines if len(line) <= width
    ] and all(len(line) <= width for _, line in lines)


def _name(grid: SheetGrid, names: dict[str, int]) -> str:
    stem = Path(grid.file.name).stem + (f" - {grid.sheet}" if grid.sheet else "")
    stem = re.sub(r"[^\w .()-]", "_", stem).strip(". ") or "sheet"
    names[stem] = names.get(stem, 0) + 1
    return f"{FOLDER}/{stem}.csv" if names[stem] == 1 else f"{FOLDER}/{stem} ({names[stem]}).csv"


def _made_sheet(found: _Found, name: str) -> SourceSheet:
    grid, block = found.grid, found.block
    origins = tuple(Origin(row.at, row.heading) for row in block.rows)
    file = SourceFile(Path(name), name, b"")
    rows = [list(row.cells) for row in block.rows]
    out = tuple(_left_out(each) for each in block.left_out)
    return SourceSheet(file, None, 1, block.header, rows, grid, origins, out, dict(block.meant))


def _left_out(each: LeftOut) -> str:
    said = f' "{each.text}"' if each.text else ""
    return f"row {each.at}{said}: {each.why}"
