"""Workbooks: a sheet of an .xlsx file is read as it stands, with the sheet's row numbers, and what is no sound workbook
is refused with a reason, whatever it would do to its reader.
"""

from __future__ import annotations

import io
import struct
import zipfile
from datetime import date, datetime, time
from decimal import Decimal

import openpyxl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from own_files import HEADER, conventions, load, refusal, repacked, rules, saved, told, values, workbook

NAME = "harvests.xlsx"
MAY_1, MAY_2 = date(2026, 5, 1), date(2026, 5, 2)
BROKEN = "harvests.xlsx: is no workbook that can be read. Save it anew as .xlsx or CSV UTF-8."
ONE_ROW = (MAY_1, 400, "B1")


def test_dates_numbers_and_texts_are_read_as_the_sheet_holds_them() -> None:
    data = workbook(
        (MAY_1, 412.5, "007", "wet"),
        (datetime(2026, 5, 2, 10, 30), 0.1 + 0.2, 7, True),
        ("2026-05-02", "300", 7.5, time(10, 30)),
        (datetime(2026, 5, 2), 1_234_567, " B 1 ", None),
        fill=lambda sheet: sheet.__setitem__("D1", "note"),
    )
    raw, done = load(data, name=NAME)
    assert values(done, "picked_on", "fresh_weight_g", "container", "note") == [
        (2, MAY_1, Decimal("412.5"), "007", "wet"),
        (3, MAY_2, Decimal("0.3"), "7", "TRUE"),
        (4, MAY_2, Decimal(300), "7.5", "10:30:00"),
        (5, MAY_2, Decimal(1_234_567), "B 1", None),
    ]
    assert told(raw, done) == [
        'harvests.xlsx, row 1: "Sheet" is the sheet that is read. Nothing to do.',
        'harvests.xlsx, row 3, picked_on: "2026-05-02 10:30:00" has a time of day, which is not used. Nothing to do.',
    ]


@pytest.mark.parametrize(
    "own", [conventions(), conventions(decimal_mark=",", thousands_mark=".", date_order="month_day_year")]
)
def test_what_the_sheet_holds_as_a_number_or_a_day_needs_no_setting(own) -> None:  # type: ignore[no-untyped-def]
    _, done = load(workbook((MAY_1, 1234.5, "B1"), (MAY_2, 412.00025, "B1")), own, name=NAME)
    assert values(done, "picked_on", "fresh_weight_g") == [(2, MAY_1, Decimal("1234.5")), (3, MAY_2, Decimal(412))]
    assert (3, "fresh_weight_g", "too_fine", "warning") in rules(done)


def test_what_the_sheet_holds_as_text_is_read_with_the_marks_of_farm_toml() -> None:
    own = conventions(decimal_mark=",", date_order="day_month_year")
    _, done = load(workbook(("1/5/2026", "412,5", "B1"), ("5/13/2026", "412.5", "B1")), own, name=NAME)
    assert values(done, "picked_on", "fresh_weight_g") == [(2, MAY_1, Decimal("412.5")), (3, None, None)]
    assert [rule for _, _, rule, _ in rules(done)] == ["decimal_mark", "date_order"]


def test_rows_keep_the_sheets_numbers_after_blank_ones_and_hidden_ones_count() -> None:
    def fill(sheet) -> None:  # type: ignore[no-untyped-def]
        sheet.insert_rows(1, 2)
        sheet.row_dimensions[4].hidden = True
        sheet.append([])
        sheet.append([])
        sheet.append([MAY_2, 300, "B2"])

    raw, done = load(workbook(ONE_ROW, fill=fill), name=NAME)
    assert values(done, "container") == [(4, "B1"), (7, "B2")]
    assert (raw.rows_in, raw.rows_blank) == (4, 2)
    assert raw.notices[0].row == 3


def test_an_error_or_a_formula_that_nobody_calculated_is_told_and_never_taken_as_blank() -> None:
    def fill(sheet) -> None:  # type: ignore[no-untyped-def]
        sheet["D1"] = "culled_g"
        for cell in ("B3", "D4"):
            sheet[cell] = "#DIV/0!"
            sheet[cell].data_type = "e"
        sheet["D2"] = "#N/A"
        sheet["D2"].data_type = "e"

    data = workbook(ONE_ROW, ONE_ROW, (MAY_2, "=1+1", "B2", None), fill=fill)
    _, done = load(data, name=NAME)
    assert done.findings.sort("row").select("row", "column_name", "rule", "value").rows() == [
        (2, "culled_g", "blank_word", "#N/A"),
        (3, "fresh_weight_g", "number", "#DIV/0!"),
        (4, "fresh_weight_g", "number", "= (not calculated)"),
        (4, "culled_g", "number", "#DIV/0!"),
    ]


def test_a_formula_counts_with_the_result_that_the_sheet_holds() -> None:
    data = workbook(ONE_ROW, (MAY_2, "=2*150", "B2"), (MAY_2, 5, "=B1"))
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        xml = packed.read("xl/worksheets/sheet1.xml")
    # As a spreadsheet saves them: the result beside the formula; a formula may also say nothing.
    xml = xml.replace(b"<f>2*150</f><v />", b"<f>2*150</f><v>300</v>").replace(
        b"<f>2*150</f><v></v>", b"<f>2*150</f><v>300</v>"
    )
    empty = xml.replace(b'<c r="C4">', b'<c r="C4" t="str">')
    assert b"<v>300</v>" in xml
    assert empty != xml
    _, done = load(repacked(data, sheet1_xml=empty), name=NAME)
    assert values(done, "fresh_weight_g", "container") == [
        (2, Decimal(400), "B1"),
        (3, Decimal(300), "B2"),
        (4, Decimal(5), None),
    ]


def test_a_cell_merged_over_rows_names_the_batch_and_day_of_each_but_never_doubles_a_weight() -> None:
    def fill(sheet) -> None:  # type: ignore[no-untyped-def]
        for cells in ("A2:A3", "B2:B3", "C3:C4"):
            sheet.merge_cells(cells)

    raw, done = load(workbook((MAY_1, 400, "B1"), (None, None, "B2"), (MAY_2, 300, None), fill=fill), name=NAME)
    assert values(done, "picked_on", "fresh_weight_g", "container", "faulty") == [
        (2, MAY_1, Decimal(400), "B1", False),
        (3, MAY_1, None, "B2", True),
        (4, MAY_2, Decimal(300), "B2", False),
    ]
    assert [each.column for each in raw.notices if each.rule == "merged_cells"] == ["picked_on", "container"]


def test_days_counted_from_1904_are_the_days_that_the_sheet_shows() -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook()))
    book.epoch = CALENDAR_MAC_1904
    book.active.append(list(ONE_ROW))
    assert values(load(saved(book), name=NAME)[1], "picked_on") == [(2, MAY_1)]


def several(*names: str, hidden: str = "") -> bytes:
    """A workbook with a sheet of each name; in each, one picking from a container of the sheet's name."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name in names:
        sheet = book.create_sheet(name)
        if name == hidden:
            sheet.sheet_state = "hidden"
        if not name.startswith("empty"):
            sheet.append(list(HEADER))
            sheet.append([MAY_1, 400, name])
    return saved(book)


def test_of_several_sheets_the_one_is_read_that_farm_toml_names_or_that_is_called_like_the_table() -> None:
    assert values(load(several("May", "June"), name=NAME, sheet="June")[1], "container") == [(2, "June")]
    assert values(load(several("May", " Harvests"), name=NAME)[1], "container") == [(2, "Harvests")]
    assert values(load(several("old", "May", hidden="old"), name=NAME)[1], "container") == [(2, "May")]
    assert values(load(several("empty", "May", "empty2"), name=NAME)[1], "container") == [(2, "May")]
    assert refusal(several("May", "June"), name=NAME) == (
        "harvests.xlsx: has several sheets (May, June). Call the right one harvests, or name it in farm.toml: "
        '[files."harvests.xlsx"].'
    )
    assert refusal(several("May", "June"), name=NAME, sheet="Mai") == (
        'harvests.xlsx: has no sheet "Mai"; there are May, June. Mend the sheet\'s name in farm.toml.'
    )
    assert refusal(several("empty"), name=NAME) == (
        'harvests.xlsx: has no header line in its sheet "empty". '
        "Put one in: picked_on,fresh_weight_g,container,flush,cap_stage"
    )


# As spreadsheets save them: texts in a part of their own, told by number; one in pieces of different look.
TEXTS = (
    b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" count="2" uniqueCount="2">'
    b"<si><t>007</t></si><si><r><t>B</t></r><r><t>1</t></r></si></sst>"
)


@pytest.mark.parametrize(("number", "container"), [(b"0", "007"), (b"1", "B1")])
def test_texts_that_cells_share_are_read_as_written(number: bytes, container: str) -> None:
    assert values(load(shared(number), name=NAME)[1], "container") == [(2, container)]


def shared(number: bytes) -> bytes:
    """A workbook whose cell C2 has the text of this number."""
    data = workbook(ONE_ROW)
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        xml = packed.read("xl/worksheets/sheet1.xml")
    own = b'<c r="C2" t="inlineStr"><is><t>B1</t></is></c>'
    assert own in xml
    xml = xml.replace(own, b'<c r="C2" t="s"><v>' + number + b"</v></c>")
    return repacked(data, {"xl/sharedStrings.xml": TEXTS}, sheet1_xml=xml)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"picked_on,fresh_weight_g,container\n2026-05-01,400,B1\n",
        workbook(ONE_ROW)[:3000],
        workbook(ONE_ROW)[:-1],
        repacked(workbook(ONE_ROW), sheet1_xml=None),
        repacked(workbook(ONE_ROW), sheet1_xml=b"<worksheet><sheetData><row"),
        repacked(workbook(ONE_ROW), workbook_xml=None),
        shared(b"99"),
        repacked(workbook(ONE_ROW), workbook_xml_rels=b"<x/>"),
        repacked(workbook(ONE_ROW), sheet1_xml=b'<!DOCTYPE w [<!ENTITY a "aaaa">]><worksheet>&a;</worksheet>'),
    ],
)
def test_what_is_no_sound_workbook_is_refused_and_never_crashes(data: bytes) -> None:
    assert refusal(data, name=NAME) == BROKEN


def test_a_workbook_under_a_password_is_refused_by_name() -> None:
    # A compound file, as the older format is and as a workbook is wrapped in for a password.
    assert refusal(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(1016), name=NAME) == (
        "harvests.xlsx: is under a password, or a workbook of the older format (.xls). "
        "Save it as .xlsx without a password, or as CSV UTF-8."
    )


def test_a_cell_far_out_is_refused_before_the_reader_takes_all_memory() -> None:
    far = workbook(ONE_ROW, fill=lambda sheet: sheet.__setitem__("XFD1048576", "x"))
    assert refusal(far, name=NAME) == (
        'harvests.xlsx: has cells as far as row 1048576 and column 16384 in its sheet "Sheet", too far to read. '
        "Delete the rows and columns beyond your entries, or save it as CSV."
    )


def test_a_workbook_that_unpacks_to_gigabytes_is_not_opened() -> None:
    assert refusal(bomb(), name=NAME) == (
        "harvests.xlsx: unpacks to 600 MB, which no farm's log does, and was not opened. Save the sheet as CSV UTF-8."
    )


def test_a_workbook_that_unpacks_to_more_than_it_says_is_not_opened() -> None:
    data = bomb()
    # Both its headers say 10 bytes; what is packed says 600 MB.
    lying = data.replace(struct.pack("<L", 600_000_000), struct.pack("<L", 10))
    assert refusal(lying, name=NAME) == BROKEN


def bomb() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed, packed.open("x", "w") as part:
        for _ in range(600):
            part.write(bytes(1_000_000))
    return out.getvalue()
