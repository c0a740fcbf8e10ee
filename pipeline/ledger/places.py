"""Where a finding stands, in the grower's own words: the sheet, the row, and the heading that stands in the file."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property

from pipeline.farm.conventions import folded
from pipeline.farm.folder import Farm, TableFile
from pipeline.farm.settings import parts
from pipeline.farm.table_names import TEXTS, WORKBOOKS
from schemas.contract import INPUTS, contract
from schemas.finding import ORIGIN, Finding
from schemas.phrases import counted


@dataclass(frozen=True)
class _Content:
    """The headings of a file (none: not known), and where each of its rows comes from, if it is straightened."""

    header: tuple[str, ...] = ()
    origins: Mapping[int, str] | None = None

    @cached_property
    def folded(self) -> frozenset[str]:
        """The headings as farm.toml knows them: once, for a file may have thousands, and a finding on each."""
        return frozenset(map(folded, self.header))


def with_places(places: Places, found: Sequence[Finding]) -> list[Finding]:
    """Return the findings with the place of each whose file has headings or a sheet of its own, or is straightened from
    one. A cell that is named for what stands in it is not named again as missing; a column that a file lacks is named
    once.
    """
    named = {(each.file, each.row, each.column) for each in found if each.value is not None and each.level != "missing"}
    left = [each for each in found if each.level != "missing" or (each.file, each.row, each.column) not in named]
    return [places.in_own_words(each) for each in _lacking_once(places, left)]


def _lacking_once(places: Places, found: Sequence[Finding]) -> list[Finding]:
    """The findings, with those on blank cells of a column that the file lacks as one."""
    result: dict[object, Finding] = {}
    rows: dict[object, int] = {}
    for at, each in enumerate(found):
        lacking = each.rule == "required" and places.lacks(each.table, each.file, each.column)
        key = (each.table, each.file, each.column, each.rule, each.level) if lacking else at
        rows[key] = rows.get(key, 0) + 1
        result.setdefault(key, replace(each, row=0, fix=f"{each.fix} {add_column(each.column)}.") if lacking else each)
    return [
        replace(each, message=f"{each.message} ({counted(rows[key], 'row')})") if rows[key] > 1 else each
        for key, each in result.items()
    ]


def add_column(column: str) -> str:
    """Return how a column that a file lacks is added to it, a sentence that may go on."""
    return f"The file has no such column: add one, called {column}"


class Places:
    """The places of a farm's cells. Each file is read once, for its headings and for where its rows come from."""

    def __init__(self, farm: Farm) -> None:
        self._farm = farm
        self._headings = parts(farm.settings, "headings")
        self._content = cache(self._read)
        self._own = {column: f'"{name}"' for table in INPUTS for column, name in self._first_headings(table).items()}

    def in_own_words(self, found: Finding) -> Finding:
        """Return the finding with its place, and with the grower's headings in its sentences."""
        message, fix = (self.with_headings(text) for text in (found.message, found.fix))
        found = replace(found, message=message, fix=fix)
        return replace(found, place=self.of(found), heading=self.heading(found) or "")

    def with_headings(self, text: str) -> str:
        """Return a sentence with the grower's heading in place of each of our columns that has one: fill_kg and the
        like, for a plain word may be no column.
        """
        return re.sub(r"(?<![\w.\[])[a-z]+(?:_[a-z]+)+(?!\w|\.\w|\])", lambda one: self._own.get(one[0], one[0]), text)

    def of_cell(self, table: str, file: str, row: int, column: str) -> str:
        """Return the place of this cell; row 0: of the column as a whole."""
        as_it_is = f"{column} in {file}" if not row else f"{file}, row {row}, {column}"
        return self.of(Finding(table, file, row, column, "", "", None, "", "", "")) or as_it_is

    def of(self, found: Finding) -> str:
        """Return the place of this finding; nothing where file, row and column say it as they are."""
        if found.table not in INPUTS:
            return ""
        use = self._farm.conventions.files.get(found.file)
        sheet = use.sheets.get(found.table) if use else None
        heading = self.heading(found)
        origin = (self._content(found.file, found.table).origins or {}).get(found.row)
        if not (heading or sheet or origin):
            return ""
        place = found.file + (f', sheet "{sheet}"' if sheet else "") + (f", row {found.row}" if found.row else "")
        column = f', "{heading}"' if heading else f", {found.column}" if found.column else ""
        return place + column + (f" (from {origin})" if origin else "")

    def lacks(self, table: str, file: str, column: str) -> bool:
        """Whether the file is known to have no heading for this column."""
        there = self._content(file, table).folded if table in INPUTS and column else frozenset()
        return bool(there) and not there & {column, *map(folded, self._names(table, column))}

    def heading(self, found: Finding) -> str | None:
        """The grower's own heading of this finding's column: of several, the one that stands in the file."""
        if found.table not in INPUTS or not found.column:
            return None
        there = self._content(found.file, found.table).folded
        return next(
            (name for name in self._names(found.table, found.column) if folded(name) in there or not there), None
        )

    def _names(self, table: str, column: str) -> list[str]:
        """What farm.toml says that this column is called."""
        return [
            name
            for name, setting in self._headings.get(table, {}).items()
            if (setting["column"] if isinstance(setting, dict) else setting) == column
        ]

    def _first_headings(self, table: str) -> dict[str, str]:
        return {column: names[0] for column in contract(table).names if (names := self._names(table, column))}

    def _read(self, file: str, table: str) -> _Content:
        path = self._farm.folder / file
        if not path.is_file():
            return _Content()
        if path.suffix.lower() in WORKBOOKS:
            return _Content(self._header_of_sheet(file, table))
        if path.suffix.lower() not in TEXTS:
            return _Content()
        text = path.read_text(encoding="utf-8-sig", errors="replace")
        if not text.split("\n", 1)[0].rstrip("\r").endswith(f",{ORIGIN}"):
            first = next((line for line in text.splitlines() if line.strip()), "")
            separator = max(",;\t", key=first.count)
            return _Content(tuple(next(csv.reader([first], delimiter=separator), ())))
        rows = list(csv.reader(io.StringIO(text, newline="")))
        return _Content(tuple(rows[0]), {row: cells[-1] for row, cells in enumerate(rows[1:], 2) if cells})

    def _header_of_sheet(self, file: str, table: str) -> tuple[str, ...]:
        from pipeline.files.workbook import read_sheet
        from schemas.finding import CannotWork, DataNeedAttention

        use = self._farm.conventions.files.get(file)
        path = self._farm.folder / file
        source = TableFile(table, file, path, use.sheets.get(table) if use else None)
        try:
            rows = read_sheet(contract(table), source, path.read_bytes(), ".").rows
        except (CannotWork, DataNeedAttention, OSError):
            return ()
        return tuple(cell or "" for cell in next((cells for cells in rows if any(cells)), ()))
