"""Units that a workbook shows by its number formats: they go from the cells to the heading of their column."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.adopt.block import Block
from pipeline.adopt.cells import looks_number
from pipeline.adopt.dialogue import Dialogue
from pipeline.adopt.headings import candidates, parse_heading
from pipeline.adopt.unit_words import UNIT_WORDS
from pipeline.files.workbook_formats import unit_called

if TYPE_CHECKING:
    from pipeline.files.workbook import Sheet


def without_shown_units(sheet: Sheet) -> tuple[Sheet, dict[str, str]]:
    """Return the sheet with plain numbers in the columns whose numbers are all shown in one unit; and these units, by
    heading. A column that names another unit in its heading stays as it is shown.
    """
    rows = [list(cells) for cells in sheet.rows]
    by_column: dict[int, dict[int, str]] = {}
    for row, column, _, unit in sheet.formats:
        by_column.setdefault(column, {})[row] = unit
    units = {}
    for column, shown in by_column.items():
        unit, heading = _one_unit(sheet, column, shown), _heading(sheet, column, min(shown))
        if unit and parse_heading(heading).unit in (None, unit):
            for row, written in shown.items():
                rows[row][column] = (rows[row][column] or "").removesuffix(f" {written}")
            units[heading] = unit
    return replace(sheet, rows=rows), units


def _one_unit(sheet: Sheet, column: int, shown: Mapping[int, str]) -> str:
    """The unit of all numbers of this column; "" where they have several, or some have none."""
    called = {unit_called(unit) for unit in shown.values()}
    plain = [cells[column] for row, cells in enumerate(sheet.rows) if row > min(shown) and row not in shown]
    if len(called) > 1 or any(cell is not None and looks_number(cell) for cell in plain):
        return ""
    unit = called.pop()
    return unit if unit in UNIT_WORDS else ""


def _heading(sheet: Sheet, column: int, first: int) -> str:
    """The nearest cell above the first number of this column."""
    above = (cells[column] for cells in reversed(sheet.rows[:first]) if column < len(cells))
    return next((cell for cell in above if cell), "")


def with_shown_units(block: Block, units: Mapping[str, str], where: str, talk: Dialogue) -> Block:
    """Return the block with headings that mean the unit in which their numbers are shown."""
    for heading in block.header:
        meant = block.meant.get(heading, heading)
        named = f"{meant} ({units[heading]})" if heading in units else ""
        if named and parse_heading(meant).unit is None and candidates(named):
            talk.say(f'"{heading}" of {where} is shown in {units[heading]} by the format of its cells; it is read so.')
            block = replace(block, meant={**block.meant, heading: named})
    return block
