"""Crafted workbooks: nothing that a file does to the library that reads it takes a command down with it."""

from __future__ import annotations

import io
import sys
import zipfile
from datetime import date
from pathlib import Path

import pytest
from conftest import gillbook, write_table
from own_files import load, refusal, repacked, values, workbook

from pipeline.files import workbook_process
from pipeline.files.workbook_process import WORKER

NAME = "harvests.xlsx"
TOO_MUCH = (
    "harvests.xlsx: cannot be read with the memory and the cells that it asks for, and was not read. "
    "Save the sheet as CSV UTF-8."
)
ONE_ROW = (date(2026, 5, 1), 400, "B1")
BROKEN = "harvests.xlsx: is no workbook that can be read. Save it anew as .xlsx or CSV UTF-8."
NO_CELLS = [
    "A999999999999",
    "A99999999",
    "A1048577",
    "XFE1",
    "AAAA1",
    "ZZZZZZZZZZZZ1",
    "A0",
    "A",
    "1",
    "",
    "A-1",
    "\uff211",
]


def crafted(old: bytes, new: bytes, part: str = "sheet1_xml") -> bytes:
    """A workbook in whose sheet these bytes stand for those."""
    data = workbook(ONE_ROW, (date(2026, 5, 2), 300, "B2"))
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        xml = packed.read("xl/worksheets/sheet1.xml")
    assert old in xml
    return repacked(data, **{part: xml.replace(old, new, 1)})


@pytest.mark.parametrize("reference", NO_CELLS)
def test_a_cell_where_no_sheet_has_one_is_refused_before_the_library_sees_it(reference: str) -> None:
    assert refusal(crafted(b'r="C3"', f'r="{reference}"'.encode()), name=NAME) == BROKEN


@pytest.mark.parametrize("row", ["1048577", "0", "99999999999999", "-1", "x", "1e3"])
def test_a_row_that_no_sheet_has_is_refused(row: str) -> None:
    assert refusal(crafted(b'<row r="3"', f'<row r="{row}"'.encode()), name=NAME) == BROKEN


@pytest.mark.parametrize("span", ["A1:C999999999999", "A1:XFE3", "999999999", "A1:", ":", "A1:ZZZZ3"])
def test_a_range_beyond_the_sheet_is_refused(span: str) -> None:
    assert refusal(crafted(b'<dimension ref="A1:C3"', f'<dimension ref="{span}"'.encode()), name=NAME) == BROKEN
    merged = f'</sheetData><mergeCells><mergeCell ref="{span}"/></mergeCells>'.encode()
    assert refusal(crafted(b"</sheetData>", merged), name=NAME) == BROKEN


def test_a_crafted_table_is_refused_too() -> None:
    table = b'<table xmlns="x" id="1" name="T" displayName="T" ref="A1:C99999999999"></table>'
    assert refusal(repacked(workbook(ONE_ROW), {"xl/tables/table1.xml": table}), name=NAME) == BROKEN


def test_the_farthest_cells_of_a_sheet_are_none_that_is_crafted() -> None:
    done = load(crafted(b'<dimension ref="A1:C3"', b'<dimension ref="A1:XFD1048576"'), name=NAME)[1]
    assert [row for row, _ in values(done, "container")] == [2, 3]


def long_text() -> bytes:
    """A workbook with a text that takes a library long, and much memory: 100 MB in 100 kB."""
    texts = b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><si><t>' + bytes(10**8).replace(
        b"\0", b"a"
    )
    data = workbook(ONE_ROW)
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        rels = packed.read("xl/_rels/workbook.xml.rels")
    kind = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"
    more = f'<Relationship Type="{kind}" Target="/xl/sharedStrings.xml" Id="rId99"/></Relationships>'.encode()
    rels = rels.replace(b"</Relationships>", more)
    return repacked(data, {"xl/sharedStrings.xml": texts + b"</t></si></sst>"}, workbook_xml_rels=rels)


def test_a_workbook_that_takes_too_long_or_too_much_is_refused_and_the_next_is_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    slow = long_text()
    monkeypatch.setattr(workbook_process, "SECONDS", 0.01)
    assert refusal(slow, name=NAME) == (
        "harvests.xlsx: cannot be read within 0.01 seconds, and was not read. Save the sheet as CSV UTF-8."
    )
    monkeypatch.undo()
    if sys.platform == "linux":
        monkeypatch.setattr(workbook_process, "MEMORY_BYTES", 120_000_000)
        assert values(load(workbook(ONE_ROW), name=NAME)[1], "container") == [(2, "B1")]
        assert refusal(slow, name=NAME) in (BROKEN, TOO_MUCH)
        monkeypatch.undo()
        WORKER.stop()
    assert values(load(slow, name=NAME)[1], "container") == [(2, "B1")]


def test_no_command_falls_over_a_crafted_workbook(tmp_path: Path) -> None:
    write_table(tmp_path, "batches", "batch,inoculated_on,substrate_wet_kg\nA,2026-01-01,10")
    (tmp_path / "harvests").mkdir()
    (tmp_path / "harvests" / "2026-05.xlsx").write_bytes(crafted(b'r="C3"', b'r="A999999999999"'))
    for words, code in ((["check"], 3), (["weigh", "7", "400"], 2), (["yields"], 3)):
        done = gillbook(*words, "--farm", tmp_path)
        assert (done.code, "mistake" in done.err, "panicked" in done.err) == (code, False, False), done
        assert code == 2 or "harvests/2026-05.xlsx: is no workbook that can be read" in done.err + done.out
    assert not (tmp_path / "out" / "crash.txt").exists()
