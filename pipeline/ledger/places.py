"""Where a finding stands, in the grower's own words: the sheet, the row, and the heading that stands in the file."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import replace
from functools import cache

from pipeline.farm.conventions import folded
from pipeline.farm.folder import TEXTS, Farm
from pipeline.farm.settings import parts
from schemas.contract import INPUTS
from schemas.finding import ORIGIN, Finding


def with_places(farm: Farm, found: Sequence[Finding]) -> list[Finding]:
    """Return the findings with the place of each whose file has headings or a sheet of its own, or is straightened from
    one. A cell that is named for what stands in it is not named again as missing.
    """
    places = Places(farm)
    named = {(each.file, each.row, each.column) for each in found if each.value is not None and each.level != "missing"}
    left = [each for each in found if each.level != "missing" or (each.file, each.row, each.column) not in named]
    return [replace(each, place=places.of(each)) for each in left]


class Places:
    """The places of a farm's cells. Each straightened file is read once, for where its rows come from."""

    def __init__(self, farm: Farm) -> None:
        self._farm = farm
        self._headings = parts(farm.settings, "headings")
        self._rows = cache(self._read)

    def of(self, found: Finding) -> str:
        """Return the place of this finding; nothing where file, row and column say it as they are."""
        if found.table not in INPUTS or not found.row:
            return ""
        header, origins = self._rows(found.file)
        use = self._farm.conventions.files.get(found.file)
        sheet = use.sheets.get(found.table) if use else None
        heading = self._heading(found, header)
        origin = origins.get(found.row)
        if not (heading or sheet or origin):
            return ""
        place = found.file + (f', sheet "{sheet}"' if sheet else "") + f", row {found.row}"
        column = f', "{heading}"' if heading else f", {found.column}" if found.column else ""
        return place + column + (f" (from {origin})" if origin else "")

    def _heading(self, found: Finding, header: Sequence[str]) -> str | None:
        """The grower's own heading of this column: of several, the one that stands in the file."""
        own = [
            name
            for name, setting in self._headings.get(found.table, {}).items()
            if (setting["column"] if isinstance(setting, dict) else setting) == found.column
        ]
        there = {folded(name) for name in header}
        return next((name for name in own if folded(name) in there or not there), None)

    def _read(self, file: str) -> tuple[tuple[str, ...], dict[int, str]]:
        """The headings of a text file, and where each of its rows comes from; nothing of a file that is no such."""
        path = self._farm.folder / file
        if path.suffix.lower() not in TEXTS or not path.is_file():
            return (), {}
        text = path.read_text(encoding="utf-8-sig", errors="replace")
        if not text.split("\n", 1)[0].rstrip("\r").endswith(f",{ORIGIN}"):
            first = next((line for line in text.splitlines() if line.strip()), "")
            separator = max(",;\t", key=first.count)
            return tuple(next(csv.reader([first], delimiter=separator), ())), {}
        rows = list(csv.reader(io.StringIO(text, newline="")))
        return tuple(rows[0]), {row: cells[-1] for row, cells in enumerate(rows[1:], 2) if cells}
