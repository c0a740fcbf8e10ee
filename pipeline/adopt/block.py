"""A block: a table found in a sheet, with where each of its rows stands; and what its headings may mean."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipeline.adopt.cells import looks_date, looks_number
from pipeline.adopt.headings import candidates, parse_heading
from schemas.contract import GROWING, INPUTS, OBSERVATIONS, contract
from schemas.trade_words import plain_word, trade_words

Cells = tuple[str | None, ...]
DATES = tuple(each.name for table in INPUTS for each in contract(table).fields if each.type == "date")
# Days of the books that a row may leave to the one above.
BOOK_DAYS = ("sold_on", "due_on", "from_on")
PICKED, WEIGHT = "picked_on", "fresh_weight_g"


@dataclass(frozen=True)
class BlockRow:
    """A row of a block. `at`: its row in the spreadsheet; `heading`: the heading of the cell that it was made of, where
    a row of the sheet became several.
    """

    at: int
    cells: Cells
    heading: str = ""


@dataclass(frozen=True)
class LeftOut:
    """A row that is not read, and why."""

    at: int
    text: str
    why: str


@dataclass(frozen=True)
class Block:
    """A table found in a sheet. `groups`: the label above each heading, where there are two rows of headings;
    `titles`: the texts above it; `facts`: what lines above it say for all of its rows, by heading;
    `meant`: known wordings that headings stand for, where the grower said so.
    """

    header: tuple[str, ...]
    rows: tuple[BlockRow, ...]
    head_row: int = 1
    groups: tuple[str, ...] = ()
    titles: tuple[str, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    meant: Mapping[str, str] = field(default_factory=dict)

    def meanings(self, at: int) -> set[str]:
        """Return the columns that the heading of this column may stand for."""
        return meanings(self.meant.get(self.header[at], self.header[at]))

    def column(self, at: int) -> list[str]:
        """The filled cells of a column."""
        return [cell for row in self.rows if (cell := row.cells[at]) is not None]

    def find(self, *columns: str) -> int | None:
        """Return the place of the first heading that may stand for one of these columns of what grows, the
        likeliest first; or for one of the days of the books.
        """
        for column in columns:
            ranked = [
                (each.rank, at)
                for at, heading in enumerate(self.header)
                for each in candidates(self.meant.get(heading, heading))
                if (each.table in GROWING or column in BOOK_DAYS) and each.column == column and self._fits(column, at)
            ]
            if ranked:
                return min(ranked)[1]
        return None

    def _fits(self, column: str, at: int) -> bool:
        cells = self.column(at)
        if column in DATES and cells:
            return not any(_no_day(cell) for cell in cells)
        if column == WEIGHT:
            return 2 * sum(map(looks_date, cells)) <= len(cells)
        return True

    def with_column(self, heading: str, cells: Sequence[str | None]) -> Block:
        """Return the block with one more column. A heading that is there already gets a number."""
        name, number = heading, 2
        while name in self.header:
            name, number = f"{heading} {number}", number + 1
        rows = tuple(replace(row, cells=(*row.cells, cell)) for row, cell in zip(self.rows, cells, strict=True))
        groups = (*self.groups, "") if self.groups else ()
        return replace(self, header=(*self.header, name), rows=rows, groups=groups)

    def with_note(self, heading: str, cells: Sequence[str | None]) -> Block:
        """Return the block with these notes: behind those of the column of this heading, where it has one."""
        if heading not in self.header:
            return self.with_column(heading, cells)
        at = self.header.index(heading)
        before = [row.cells[at] for row in self.rows]
        return self.with_cells(at, ["; ".join(filter(None, both)) or None for both in zip(before, cells, strict=True)])

    def with_cells(self, at: int, cells: Sequence[str | None]) -> Block:
        """Return the block with other cells in one column."""
        rows = tuple(
            replace(row, cells=(*row.cells[:at], cell, *row.cells[at + 1 :]))
            for row, cell in zip(self.rows, cells, strict=True)
        )
        return replace(self, rows=rows)

    def with_heading(self, at: int, heading: str) -> Block:
        """Return the block with another heading in one column."""
        return replace(self, header=(*self.header[:at], heading, *self.header[at + 1 :]))

    def without(self, columns: Sequence[int]) -> Block:
        """Return the block without these columns."""
        keep = [at for at in range(len(self.header)) if at not in columns]
        rows = tuple(replace(row, cells=tuple(row.cells[at] for at in keep)) for row in self.rows)
        groups = tuple(self.groups[at] for at in keep) if self.groups else ()
        return replace(self, header=tuple(self.header[at] for at in keep), rows=rows, groups=groups)


def _no_day(cell: str) -> bool:
    """Whether this cell is a number that is no day: 10.01.2026 has the marks of one, and is a day."""
    return looks_number(cell) and not looks_date(cell) and float_or_none(cell) not in DAYS_OF_MONTH


DAYS_OF_MONTH = tuple(map(float, range(1, 32)))


def float_or_none(cell: str) -> float | None:
    """Return the plain number in this cell."""
    try:
        return float(cell.replace("\u2396", "."))
    except ValueError:
        return None


def meanings(heading: str) -> set[str]:
    """Return the columns that a heading may stand for."""
    return {each.column for each in candidates(heading)}


def event_of(heading: str) -> str | None:
    """Return the event that this heading or cell names."""
    words = plain_word(heading)
    known = trade_words("event")
    for ending in ("", " on", " date", " day"):
        if words.endswith(ending) and words.removesuffix(ending) in known:
            return known[words.removesuffix(ending)]
    event = contract(OBSERVATIONS).field("event")
    return event.guesses.get(words.replace(" ", "_"))


def sums_others(text: str) -> bool:
    """Return whether this text begins as a row or column of totals does, or as a line between pages."""
    first = plain_word(text).split(" ")
    return first[0] in trade_words("total") or " ".join(first[:2]) in trade_words("total")


def is_unit(text: str) -> bool:
    """Whether this cell is a unit and nothing else."""
    inside = text.strip("()[] ")
    read = parse_heading(f"x ({inside})")
    return read.words == "x" and read.unit is not None
