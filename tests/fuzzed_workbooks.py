"""Strategies for workbooks: sheets of fuzzed cells, and workbooks that were well once."""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal

import openpyxl
from fuzzed_cells import a_cell
from fuzzed_files import Written, headers, mutated
from fuzzed_reading import WHITE, Own, Plain
from hypothesis import strategies as st
from openpyxl.worksheet.worksheet import Worksheet
from own_files import repacked, saved

from schemas.contract import Field, contract

# What XML 1.0 cannot hold (section 2.2), and the return that its readers take for a line end (2.11).
NOT_IN_XML = re.compile("[\0-\x08\x0b-\x1f\ufffe\uffff]")
ERRORS = ["#DIV/0!", "#N/A", "#VALUE!", "#REF!", "#NAME?", "#NUM!"]


@dataclass(frozen=True)
class SheetCell:
    """What is put in a cell (`kind` as openpyxl has it, "" where it tells), and how a CSV file would have it."""

    value: object
    text: str
    kind: str = ""


def _of_text(text: str) -> SheetCell:
    kept = NOT_IN_XML.sub("", text)
    return SheetCell(kept or None, kept, "s")


def _of_number(number: float, own: Own) -> SheetCell:
    return SheetCell(number, f"{Decimal(f'{number:.15g}'):f}".replace(".", own.decimal_mark))


NUMBERS: list[float] = [
    0,
    1,
    2,
    412,
    -3,
    2.5,
    412.5,
    0.1 + 0.2,
    1 / 3,
    1e-7,
    99.9999,
    1e15,
    123456789012345,
    1e300,
    2.0,
]
DAYS = [date(2026, 1, 5), date(2026, 2, 10), date(1950, 1, 1), date(2099, 12, 31)]


def _others(own: Own) -> list[SheetCell]:
    days = [SheetCell(day, day.isoformat()) for day in DAYS]
    return [
        *days,
        SheetCell(datetime(2026, 1, 5, 10, 30), "2026-01-05 10:30:00"),
        SheetCell(time(10, 30), "10:30:00"),
        SheetCell(True, "TRUE"),
        SheetCell(None, ""),
        SheetCell("=1+1", "= (not calculated)", "f"),
        *(SheetCell(error, error, "e") for error in ERRORS),
        *(_of_number(number, own) for number in NUMBERS),
    ]


def _sheet_cell(table: str, each: Field | None, own: Own) -> st.SearchStrategy[SheetCell]:
    typed = st.sampled_from(_others(own))
    text = (a_cell(table, each, own, 6) if each else st.text(max_size=5)).map(_of_text)
    return st.one_of(text, text, typed)


@st.composite
def workbooks(draw: st.DrawFn, table: str, own: Own) -> Written:
    """A workbook of one sheet of fuzzed cells. Its rows end with the last that holds any."""
    header = draw(headers(contract(table), own))
    cells = [_sheet_cell(table, contract(table).field(column) if column else None, own) for _, column in header]
    blank = st.just([SheetCell(None, "") for _ in header])
    beyond = st.tuples(st.tuples(*cells), st.just([_of_text("x")])).map(lambda two: [*two[0], *two[1]])
    kinds = {0: blank, 1: beyond}
    chosen = draw(st.lists(st.integers(0, 9), max_size=5))
    rows = [list(draw(kinds.get(kind, st.tuples(*cells).map(list)))) for kind in chosen]
    above = draw(st.integers(0, 2))
    while rows and all(cell.value is None for cell in rows[-1]):
        rows.pop()
    width = max(len(cells) for cells in [*rows, header])
    titles = [heading for heading, _ in header] + [""] * (width - len(header))
    while titles and not titles[-1] and all(len(cells) < len(titles) or cells[-1].value is None for cells in rows):
        titles.pop()
        rows = [cells[: len(titles)] for cells in rows]
    sheet_rows = [[_of_text(title) for title in titles], *rows]
    texts = {at: [cell.text.strip(WHITE) for cell in cells] for at, cells in enumerate(rows, start=above + 2)}
    return Written(_saved(sheet_rows, above), Plain(tuple(titles), texts, guarded=False), "")


def _saved(rows: list[list[SheetCell]], above: int) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    for row, cells in enumerate(rows, start=above + 1):
        for column, each in enumerate(cells, start=1):
            if each.value is not None:
                cell = sheet.cell(row, column, each.value)
                cell.data_type = each.kind or cell.data_type
    return saved(book)


@st.composite
def mutated_parts(draw: st.DrawFn, data: bytes) -> bytes:
    """A workbook with a part of it mutated and packed anew, so that what is within is reached."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    name = draw(st.sampled_from([name for name in sorted(parts) if "docProps" not in name]))
    parts[name] = draw(mutated(parts[name]))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        for each, content in parts.items():
            packed.writestr(each, content)
    return out.getvalue()


# Where a sheet ends, and what lies beyond: references as no program writes them.
LETTERS = st.sampled_from(["", "A", "B", "XFD", "XFE", "xfd", "ZZZ", "AAAA", "A" * 40, "$A", "\uff21", "-"])
DIGITS = st.one_of(
    st.sampled_from(["", "0", "1", "2", "3", "1048576", "1048577", "99999999", "9" * 12, "9" * 400, "-1", "1e9", "$2"]),
    st.integers(0, 2**70).map(str),
)
A_REFERENCE = st.tuples(LETTERS, DIGITS).map("".join)
REFERENCES = re.compile(rb'\b(r|ref|s|min|max|count|sheetId|activeCell|t)="([^"]*)"')


@st.composite
def crafted_references(draw: st.DrawFn, data: bytes) -> bytes:
    """A workbook in whose sheet a few references stand for others."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        xml = packed.read("xl/worksheets/sheet1.xml")
    for _ in range(draw(st.integers(1, 3))):
        found = draw(st.sampled_from(list(REFERENCES.finditer(xml))))
        ends = draw(st.lists(A_REFERENCE, min_size=1, max_size=2))
        xml = xml[: found.start(2)] + ":".join(ends).encode() + xml[found.end(2) :]
    return repacked(data, sheet1_xml=xml)
