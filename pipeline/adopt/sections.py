"""Rows that head the rows below them, lines above a table, and the names of sheets: what they say of each row."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.adopt.block import (
    BOOK_DAYS,
    DAYS_OF_MONTH,
    Block,
    BlockRow,
    LeftOut,
    float_or_none,
    meanings,
    sums_others,
)
from pipeline.adopt.cells import looks_date, looks_number
from pipeline.adopt.days import (
    DAY_ALONE,
    YEAR,
    PartialDay,
    iso,
    month_of,
    months_first,
    partial_day,
    whole_day,
    year_for,
)
from pipeline.adopt.dialogue import Dialogue

NAMED = re.compile(r"([^\W\d_]+)\s*(?:no\.?|nr\.?|#)?\s*[:#]?\s*([\w-]*\d[\w-]*|[A-Z])")


def name_in(label: str, column: str) -> str | None:
    """Return the name in "Batch 12" or "Bucket #7", where the word before it stands for this column."""
    found = NAMED.fullmatch(label.strip())
    return found[2] if found and column in meanings(found[1]) else None


@dataclass
class _Section:
    """The labels above the row at hand."""

    month: str = ""
    batch: str | None = None
    container: str | None = None


def without_sections(block: Block, where: str, texts: Sequence[str], talk: Dialogue) -> Block:
    """Return the block without rows that only head others, or sum them up; what they say is in a column of each row."""
    rows: list[BlockRow] = []
    left: list[LeftOut] = []
    labels: list[_Section] = []
    now = _Section(next((text for text in texts if month_of(text)), ""))
    days = [at for at in range(len(block.header)) if {"picked_on", *BOOK_DAYS} & block.meanings(at)]
    for row in block.rows:
        cells = [cell for cell in row.cells if cell]
        dated = any(row.cells[at] and not sums_others(row.cells[at] or "") for at in days)
        if any(sums_others(cell) for cell in cells) and not dated:
            left.append(LeftOut(row.at, cells[0], "sums up other rows, or stands between pages"))
        elif _heads_others(block, row):
            now = _labelled(now, cells[0], block, where, row, left, talk)
        else:
            rows.append(row)
            labels.append(replace(now))
    block = replace(block, rows=tuple(rows), left_out=(*block.left_out, *left))
    block = _with_months(block, [label.month for label in labels], where, texts, talk)
    for column in ("batch", "container"):
        names = [getattr(label, column) for label in labels]
        if any(names) and block.find(column) is None:
            block = block.with_column(column.capitalize(), names)
    return block


def _heads_others(block: Block, row: BlockRow) -> bool:
    filled = [at for at, cell in enumerate(row.cells) if cell]
    if len(filled) != 1 or len(row.cells) < 2:
        return False
    cell = row.cells[filled[0]] or ""
    if looks_number(cell) or looks_date(cell) or partial_day(cell):
        return False
    return filled[0] == 0 and not (meanings(block.header[0]) & {"batch", "container"} and not name_in(cell, "batch"))


def _labelled(
    now: _Section, text: str, block: Block, where: str, row: BlockRow, left: list[LeftOut], talk: Dialogue
) -> _Section:
    """The labels from this row on."""
    if month_of(text):
        return replace(now, month=text)
    batch, container = name_in(text, "batch"), name_in(text, "container")
    if container and block.find("container") is None:
        return replace(now, container=container)
    question = f'"{text}" heads rows of {where}. Is it their batch?'
    if block.find("batch") is None and (batch or talk.agrees(f"sections of {where}", question, default=False)):
        return replace(now, batch=batch or text)
    left.append(LeftOut(row.at, text, "stands alone in its row"))
    return now


def _with_months(block: Block, months: Sequence[str], where: str, texts: Sequence[str], talk: Dialogue) -> Block:
    """Whole days in all columns of days, with the month of the section and the year of the names about them."""
    imperial = any(mark in heading.casefold() for heading in block.header for mark in ("oz", "lb"))
    for at, heading in enumerate(block.header):
        of_day = block.meanings(at) & {"picked_on", "inoculated_on", "seen_on", *BOOK_DAYS}
        if not of_day and (block.meanings(at) or not _days_written(block.column(at))):
            continue
        partial = [_partial(row.cells[at], month) for row, month in zip(block.rows, months, strict=True)]
        if not any(partial):
            continue
        here = f'"{heading}" of {where}'
        both = any(each and each.open for each in partial)
        if both and not months_first(filter(None, partial), imperial, here, talk):
            partial = [PartialDay(p.year, p.day, p.month or 1) if p and p.open else p for p in partial]
        bare = [each for each in partial if each and each.year is None]
        years = [*texts, *filter(None, months), *(cell for cell in block.column(at) if whole_day(cell))]
        year = year_for(bare, years, here, talk) if bare else 0
        cells = [
            iso(each.year or year, each.month, each.day) or row.cells[at] if each and each.month else row.cells[at]
            for row, each in zip(block.rows, partial, strict=True)
        ]
        block = block.with_cells(at, cells)
    return block


def _days_written(cells: Sequence[str]) -> bool:
    return bool(cells) and all(partial_day(cell) for cell in cells)


def _partial(cell: str | None, month: str) -> PartialDay | None:
    """The day of a cell that is not whole by itself."""
    if cell is None or whole_day(cell):
        return None
    alone = DAY_ALONE.fullmatch(cell) or (float_or_none(cell) in DAYS_OF_MONTH and re.fullmatch(r"(\d+).*", cell))
    if month and alone:
        year = YEAR.search(month)
        return PartialDay(int(year[1]) if year else None, month_of(month), int(alone[1]))
    return partial_day(cell)


def with_facts(block: Block) -> Block:
    """Return the block with a column for each line above it that says something of all of its rows."""
    for heading, value in block.facts:
        if heading not in block.header and not any(meanings(heading) & meanings(other) for other in block.header):
            block = block.with_column(heading, [value] * len(block.rows))
    return block


def with_sheet_name(block: Block, sheet: str | None, alone: bool, talk: Dialogue) -> Block:
    """Return the block with its batch or container, where the sheet's name is one. `alone`: the file has no other."""
    if sheet is None:
        return block
    for column in ("batch", "container"):
        name = name_in(sheet, column)
        if (
            name
            and block.find(column) is None
            and talk.agrees(f"sheets as {column}", f'A sheet is called "{sheet}". Is {name} the {column} of its rows?')
        ):
            return block.with_column(column.capitalize(), [name] * len(block.rows))
    bare = not alone and re.fullmatch(r"[A-Z]{0,3}-?\d{1,4}[A-Z]?|[A-Z]", sheet) and not YEAR.fullmatch(sheet)
    if (
        bare
        and block.find("batch") is None
        and talk.agrees("sheets as batch", f'A sheet is called "{sheet}". Is that the batch of its rows?')
    ):
        return block.with_column("Batch", [sheet] * len(block.rows))
    return block
