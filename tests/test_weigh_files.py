"""An entry in the grower's own files: written as they are written, and never over what another program wrote."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest
from conftest import Said
from ledgers import here, refreshed, rows

from pipeline.cli.clock import now
from pipeline.cli.prompts import picking_day
from pipeline.farm.folder import open_farm
from pipeline.logbook import append
from pipeline.logbook.book import Book
from pipeline.logbook.parsing import PickingOptions, parse_picking
from pipeline.logbook.weigh import enter

Farm = Callable[..., Path]
BATCHES = "batch,inoculated_on\nA,2026-01-01"
FILLINGS = "batch,container\nA,7\nA,8"
FULL = "picked_on,fresh_weight_g,container,batch,flush,entry"


def weigh(folder: Path, *words: object) -> Said:
    return here("weigh", *words, "--on", "2026-02-03", "--farm", folder)


def written(folder: Path, file: str = "harvests.csv") -> list[bytes]:
    """The lines of a file, each with its end; entry ids are called ID."""
    return re.sub(rb"\bw1[0-9a-z]{13}\b", b"ID", (folder / file).read_bytes()).splitlines(keepends=True)


OWN = """
decimal_mark = ","
date_order = "day_month_year"
[headings.harvests]
"Gepflückt am" = "picked_on"
"Gewicht (oz)" = {column = "fresh_weight_g", unit = "oz"}
"Eimer" = "container"
[words.cap_stage]
"jung" = "curled"
"gerade recht" = "turned_down"
"""
HEAD, ROW, LINE = FULL.encode(), b"2026-02-01,300,7,A,1,x", b"2026-02-03,412,7,A,1,ID"
TURNED = b"entry,weather,flush,batch,container,fresh_weight_g,picked_on\nx,wet,1,A,7,300,2026-02-01\n"
OWN_HEAD = "Gepflückt am;Gewicht (oz);Eimer;batch;flush;cap_stage;entry\n"
DECIMAL_COMMA = 'decimal_mark = ","'
# name: farm.toml, the file before, the words, the line that is added
DIALECTS: dict[str, tuple[str, bytes, list[str], bytes]] = {
    "plain": ("", HEAD + b"\n" + ROW + b"\n", ["7", "412"], LINE + b"\n"),
    "carriage returns": ("", HEAD + b"\r\n" + ROW + b"\r\n", ["7", "412"], LINE + b"\r\n"),
    "no end of the last line": ("", HEAD + b"\n" + ROW, ["7", "412"], LINE + b"\n"),
    "a byte-order mark": ("", b"\xef\xbb\xbf" + HEAD + b"\n", ["7", "412"], LINE + b"\n"),
    "semicolons": ("", HEAD.replace(b",", b";") + b"\n", ["7", "412.5"], b"2026-02-03;412.5;7;A;1;ID\n"),
    "tabs": ("", HEAD.replace(b",", b"\t") + b"\n", ["7", "412"], LINE.replace(b",", b"\t") + b"\n"),
    "another order and columns of one's own": ("", TURNED, ["7", "412"], b"ID,,1,A,7,412,2026-02-03\n"),
    "a comma as decimal mark": (
        DECIMAL_COMMA,
        HEAD.replace(b",", b";") + b"\n",
        ["7", "412,5"],
        b"2026-02-03;412,5;7;A;1;ID\n",
    ),
    "a comma as decimal mark, between commas": (
        DECIMAL_COMMA,
        HEAD + b"\n",
        ["7", "412,5"],
        b'2026-02-03,"412,5",7,A,1,ID\n',
    ),
    "days and headings and units and words of one's own": (
        OWN,
        (OWN_HEAD + "1.2.2026;14,5;7;A;1;jung;x\n").encode(),
        ["7", "411 g", "--stage", "t"],
        b"3.2.2026;14,4976;7;A;1;gerade recht;ID\n",
    ),
    "a weight without a unit is in the column's": (
        OWN,
        (OWN_HEAD + "01.02.2026;14,5;7;A;1;jung;x\n").encode(),
        ["7", "14,25"],
        b"03.02.2026;14,25;7;A;1;;ID\n",
    ),
    "text that needs quotation marks": (
        "",
        HEAD + b",note\n",
        ["7", "412", "--note", 'wet, "old"\nleaf'],
        LINE + b',"wet, ""old"" leaf"\n',
    ),
    "a formula": ("", HEAD + b",note\n", ["7", "412", "--note", "=1+1"], LINE + b",'=1+1\n"),
}


@pytest.mark.parametrize("name", DIALECTS)
def test_an_entry_is_written_as_its_file_is_written(farm: Farm, name: str) -> None:
    settings, before, words, added = DIALECTS[name]
    folder = farm(settings, batches=BATCHES, fillings=FILLINGS)
    (folder / "harvests.csv").write_bytes(before)
    said = weigh(folder, *words)
    assert (said.code, said.err) == (0, "")
    *_, last = written(folder)
    assert last == added
    assert (folder / "harvests.csv").read_bytes().startswith(before)
    refreshed(folder)
    loaded = rows(folder, "select file, row, batch, flush from harvests order by picked_on desc")
    assert loaded[0] == ("harvests.csv", len(before.decode("utf-8-sig").splitlines()) + 1, "A", 1)
    assert f"harvests.csv, row {loaded[0][1]} " in said.out
    # Taken back, the file is as it was; a last line without an end has one now.
    assert here("weigh", "--undo", "--farm", folder).code == 0
    assert (folder / "harvests.csv").read_bytes().rstrip(b"\n") == before.rstrip(b"\n")


def test_what_was_typed_is_what_is_loaded(farm: Farm) -> None:
    folder = farm(OWN, batches=BATCHES, fillings=FILLINGS)
    # A new file has the farm's own headings, and the separator that its decimal mark asks for.
    said = weigh(folder, "7", "0,41 kg", "--stage", "young", "--insist")
    assert said.code == 2
    said = weigh(folder, "7", "0,41 kg", "--stage", "jung", "--note", "=cmd")
    assert "Logged: 7 (batch A), 2026-02-03: 14,46232 oz (410 g), from 0,41 kg, flush 1" in said.out
    header, line = written(folder, "harvests/2026-02.csv")
    assert header.decode().startswith("Gepflückt am;Gewicht (oz);Eimer;batch;flush;cap_stage;")
    assert line == b"2026-02-03;14,46232;7;A;1;jung;;;ID;'=cmd\n"
    refreshed(folder)
    assert rows(folder, "select fresh_weight_g, cap_stage, note from harvests") == [
        (Decimal("410.000"), "curled", "=cmd")
    ]


def test_a_header_alone_gains_the_columns_that_entries_need(farm: Farm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    (folder / "harvests.csv").write_bytes(b"\xef\xbb\xbfpicked_on;fresh_weight_g;container;mine\r\n")
    assert weigh(folder, "7", "412").code == 0
    assert written(folder) == [
        b"\xef\xbb\xbfpicked_on;fresh_weight_g;container;mine;batch;flush;cap_stage;culled_g;picker;entry;note\r\n",
        b"2026-02-03;412;7;;A;1;;;;ID;\r\n",
    ]


UNFIT = {
    "no column for it": (
        "harvests.csv",
        b"picked_on,fresh_weight_g,container\n2026-02-01,300,7\n",
        "harvests.csv has no column batch, flush, entry: the entry goes into a file beside it, and both are read. "
        'To keep one file, add ",batch,flush,entry" to the end of its header line.',
    ),
    "a sum at its end": (
        "harvests.csv",
        HEAD + b"\n" + ROW + b"\nTotal,300,,,,\n",
        "harvests.csv ends with a row that adds up the others: entries go into a file beside it.",
    ),
    "not UTF-8": (
        "harvests.csv",
        HEAD + b"\n2026-02-01,300,K\xfcbel,A,1,x\n",
        "harvests.csv, row 2: is not UTF-8 text (byte 70, value 0xfc). In the spreadsheet choose Save as: CSV UTF-8.",
    ),
    "an open quotation mark": (
        "harvests.csv",
        HEAD + b'\n2026-02-01,300,7,A,1,"x\n',
        'harvests.csv, row 2: has a quotation mark that opens a cell and never closes. A cell that begins with " ends '
        'with "; within it, write each " twice.',
    ),
    "a column that stands twice": (
        "harvests.csv",
        HEAD + b",container\n" + ROW + b",8\n",
        "harvests.csv, row 1, container: stands twice in the header. Rename or delete one of them.",
    ),
    "a month's file that is broken": (
        "harvests/2026-02.csv",
        b"",
        "harvests/2026-02.csv: is empty. Put a header line in it: picked_on,fresh_weight_g,container,flush,cap_stage",
    ),
}


@pytest.mark.parametrize("name", UNFIT)
def test_a_file_that_cannot_take_it_stays_and_one_beside_it_does(farm: Farm, name: str) -> None:
    file, before, message = UNFIT[name]
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    (folder / file).parent.mkdir(exist_ok=True)
    (folder / file).write_bytes(before)
    said = weigh(folder, "7", "412", "--insist")
    assert (said.code, said.err) == (0, message + "\n")
    beside = "harvests/2026-02.csv" if file == "harvests.csv" else "harvests/2026-02-logbook.csv"
    assert written(folder, beside)[1].startswith(b"2026-02-03,412,7,A,1,")
    assert (folder / file).read_bytes() == before
    weigh(folder, "7", "413")
    assert len(written(folder, beside)) == 3


@pytest.mark.parametrize("suffix", [".xlsx", ".xlsm"])
def test_a_workbook_is_seen_and_never_written_to(farm: Farm, suffix: str) -> None:
    folder = farm(batches=BATCHES)
    book = openpyxl.Workbook()
    book.active.append(["batch", "container"])
    book.active.append(["A", 7])
    book.save(folder / f"fillings{suffix}")
    book = openpyxl.Workbook()
    book.active.append(FULL.split(","))
    for day in range(1, 6):
        book.active.append([f"2026-01-0{day + 4}", 400, "7", "A", 2, None])
    book.save(folder / "harvests.xlsx")
    before = (folder / "harvests.xlsx").read_bytes()
    said = weigh(folder, "7", "412")
    assert (said.code, said.err) == (0, "")
    assert "flush 3 (proposed: picked 25 days before)" in said.out
    assert written(folder, "harvests/2026-02.csv")[1].startswith(b"2026-02-03,412,7,A,3,")
    assert (folder / "harvests.xlsx").read_bytes() == before
    assert "10 times the usual 400 g" in weigh(folder, "7", "4000").err


def test_a_file_that_a_spreadsheet_saved_meanwhile_is_read_anew(farm: Farm) -> None:
    """While the question waits for its answer, the file is saved with other columns in another order."""
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    file = folder / "harvests.csv"
    file.write_bytes(FULL.encode() + b"\n" + b"2026-02-01,300,7,A,1,x\n" * 5)
    book = Book(open_farm(folder))
    picking = parse_picking(book, ["7", "30000"], picking_day("2026-02-03"), PickingOptions())
    saved = b"entry;flush;batch;container;fresh_weight_g;picked_on\nx;2;A;7;300;2026-02-02\n"

    def answer(*_: object) -> None:
        file.write_bytes(saved)

    logged = enter(book, picking, False, answer, now)
    assert logged.row == 3
    assert written(folder)[-1] == b"ID;2;A;7;30000;2026-02-03\n"
    assert file.read_bytes().startswith(saved)


def test_a_file_that_is_changed_between_reading_and_writing_is_not_written_to(farm: Farm) -> None:
    folder = farm()
    file, opened = folder / "harvests.csv", open_farm(folder)
    file.write_bytes(b"a\n")
    was = file.stat()
    file.write_bytes(b"a\nb\n")
    for write in (
        lambda: append.append(opened, "harvests.csv", "c\n", (was.st_size, was.st_mtime_ns)),
        lambda: append.cut(opened, "harvests.csv", [(0, 2)], (was.st_size, was.st_mtime_ns)),
        lambda: append.replace(opened, "harvests.csv", lambda data: data + b"c", (was.st_size, was.st_mtime_ns)),
    ):
        with pytest.raises(append.ChangedMeanwhile):
            write()
        assert file.read_bytes() == b"a\nb\n"


@pytest.mark.parametrize("total", ["Total", "Average", "Mean:", "Sum (kg)", "Totals of May"])
def test_nothing_is_added_below_a_row_that_adds_up_the_others(farm: Farm, total: str) -> None:
    # Below an entry it would not stand last any more, and be read as a picking (see pipeline/files/read.py).
    before = f"{FULL}\n2026-02-01,300,7,A,1,x\n{total},300,,,,\n"
    folder = farm(batches=BATCHES, fillings=FILLINGS, harvests=before)
    said = weigh(folder, 7, 412)
    assert said.code == 0, said.err
    assert (folder / "harvests.csv").read_text(encoding="utf-8") == before
    refreshed(folder)
    assert rows(folder, "select sum(fresh_weight_g)::integer from harvests") == [(712,)]
