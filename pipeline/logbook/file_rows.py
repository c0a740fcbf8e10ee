"""The rows of a farm's files, each with the bytes it takes in its file: for correcting and taking back single ones."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from pipeline.farm.folder import Farm, TableFile
from pipeline.farm.table_names import WORKBOOKS
from pipeline.files.dialect import CSV_FIELD_LIMIT, MARK, dialect_of, plain_text
from pipeline.logbook.text_table import TextTable, read_text_table
from schemas.contract import contract
from schemas.finding import OutOfReach, UnreadableFile


@dataclass(frozen=True)
class FileRow:
    """A row of a file: as the spreadsheet counts, its cells, and its bytes from `first` to before `end` (0 and 0 in a
    workbook). `version`: size and time (ns) of the file when it was read, `data` what it held.
    """

    source: TableFile
    table: TextTable
    version: tuple[int, int]
    row: int
    cells: Sequence[str]
    first: int = 0
    end: int = 0
    data: bytes = field(default=b"", repr=False, compare=False)

    @property
    def line(self) -> bytes:
        """The row's bytes, without its line end."""
        return self.data[self.first : self.end].rstrip(b"\r\n")

    def cell(self, column: str) -> str:
        """Return what stands in this row under this column of ours; "" for nothing."""
        return self.table.cell(self.cells, column)


def rows_of_file(farm: Farm, source: TableFile, within: bytes = b"") -> Iterator[FileRow]:
    """Yield the rows below the header of this file. `within`: bytes that the file must hold, or no row comes.

    Raises OutOfReach where the file cannot be read.
    """
    try:
        now = source.path.stat()
        data = source.path.read_bytes()
        if within not in data:
            return
        table = read_text_table(source, data, farm.conventions)
        version = (now.st_size, now.st_mtime_ns)
        if source.path.suffix.lower() in WORKBOOKS:
            for row, cells in enumerate(table.rows, start=table.row + 1):
                yield FileRow(source, table, version, row, cells)
            return
        yield from _text_rows(farm, source, table, version, data)
    except OSError as problem:
        reason = problem.strerror or problem
        raise OutOfReach(f"{source.name} cannot be opened ({reason}). Nothing was changed.") from problem
    except UnreadableFile as problem:
        raise OutOfReach(f"{problem.findings[0].sentence()} Nothing was changed.") from problem


def _text_rows(
    farm: Farm, source: TableFile, table: TextTable, version: tuple[int, int], data: bytes
) -> Iterator[FileRow]:
    of_table = contract(source.table)
    plain = plain_text(of_table, source.name, data)
    dialect = dialect_of(of_table, source.name, plain, farm.conventions.of_file(source.name))
    shift = dialect.body + (len(MARK) if data.startswith(MARK) else 0)
    text = plain[dialect.body :].decode("utf-8")
    body = io.StringIO(text, newline="")
    csv.field_size_limit(CSV_FIELD_LIMIT)
    start = 0
    for row, cells in enumerate(csv.reader(body, strict=True, delimiter=dialect.separator), start=dialect.row + 1):
        length = len(text[start : body.tell()].encode("utf-8"))
        yield FileRow(source, table, version, row, cells, shift, shift + length, data)
        start, shift = body.tell(), shift + length
