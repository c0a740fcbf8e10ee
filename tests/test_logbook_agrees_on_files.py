"""The logbook reads files without the ledger's libraries, and sees the same farm in every kind of file."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest
from ledgers import refreshed, rows
from openpyxl.worksheet.worksheet import Worksheet
from own_files import saved, workbook

from pipeline.farm.folder import open_farm
from pipeline.farm.table_names import SUFFIXES
from pipeline.logbook.containers import Assignment, Containers
from pipeline.logbook.summaries import current_summaries
from schemas.contract import GROWING

Rows = Sequence[Sequence[str]]
# One small farm, in the program's own manner: 7 is refilled, 8 thrown out, 9 stands in the middle of its name.
TABLES: Mapping[str, Rows] = {
    "batches": [
        ("batch", "inoculated_on", "strain", "substrate", "substrate_wet_kg"),
        ("A", "2026-01-04", "grey", "wheat straw", "20"),
        ("B", "2026-02-14", "pink", "wheat straw", "1250.5"),
    ],
    "fillings": [
        ("batch", "container", "fill_kg", "volume_l"),
        ("A", "7", "5.25", "20"),
        ("A", "8", "5", "20"),
        ("A", "tub 9, blue", "", "20"),
        ("B", "7", "4.5", "20"),
    ],
    "observations": [
        ("seen_on", "event", "container", "batch", "count"),
        ("2026-01-20", "colonised", "", "A", ""),
        ("2026-02-20", "contaminated", "8", "", ""),
        ("2026-02-21", "emptied", "tub 9, blue", "A", ""),
    ],
    "harvests": [
        ("picked_on", "fresh_weight_g", "container", "batch", "flush", "entry"),
        ("2026-02-01", "400", "7", "", "", "w1"),
        ("2026-02-02", "1250.5", "tub 9, blue", "A", "1", ""),
        ("2026-02-10", "250", "8", "", "", "w2"),
        ("2026-03-20", "300", "7", "", "1", ""),
        ("2026-03-21", "310.25", "7", "B", "", ""),
    ],
}
SETTINGS = 'decimal_mark = ","\nthousands_mark = "."\ndate_order = "day_month_year"\n'
OWN_HEADINGS = (
    '[headings.batches]\n"Mix" = "batch"\n"Made" = "inoculated_on"\n"Base lb" = {column = "substrate_wet_kg", '
    'unit = "lb"}\n[headings.fillings]\n"Mix" = "batch"\n"Tub" = "container"\n[headings.observations]\n'
    '"Mix" = "batch"\n"Tub" = "container"\n"What" = "event"\n"Day" = "seen_on"\n[headings.harvests]\n"Mix" = "batch"\n'
    '"Tub" = "container"\n"kg" = {column = "fresh_weight_g", unit = "kg"}\n"Day" = "picked_on"\n'
    '[words.event]\nbinned = "contaminated"\n'
)
OWN_NAMES = {
    "batches": {"batch": "Mix", "inoculated_on": "Made", "substrate_wet_kg": "Base lb"},
    "fillings": {"batch": "Mix", "container": "Tub"},
    "observations": {"batch": "Mix", "container": "Tub", "event": "What", "seen_on": "Day"},
    "harvests": {"batch": "Mix", "container": "Tub", "fresh_weight_g": "kg", "picked_on": "Day"},
}


def line(cells: Sequence[str], separator: str = ",", quoted: bool = False) -> str:
    return separator.join(f'"{cell}"' if quoted or separator in cell else cell for cell in cells)


def lines(table: Rows, separator: str = ",", end: str = "\n", quoted: bool = False) -> str:
    return "".join(line(cells, separator, quoted) + end for cells in table)


def as_text(**form: str | bool) -> Callable[[str, Rows], Mapping[str, bytes]]:
    return lambda name, table: {f"{name}.csv": lines(table, **form).encode()}  # type: ignore[arg-type]


def european(name: str, table: Rows) -> Mapping[str, bytes]:
    """Decimal commas, dots between thousands, days as 14.02.2026."""

    def cell(text: str) -> str:
        if text[:4] == "2026":
            return f"{text[8:]}.{text[5:7]}.{text[:4]}"
        number = text.replace(".", "").isdigit() and "." in text
        return f"{float(text):,}".translate(str.maketrans(",.", ".,")) if number else text

    changed = [table[0], *([cell(text) for text in cells] for cells in table[1:])]
    return {f"{name}.csv": lines(changed, ";", "\r\n").encode()}


def own_words(name: str, table: Rows) -> Mapping[str, bytes]:
    """Headings, a unit and a word of the farm's own."""
    header = [OWN_NAMES[name].get(column, column) for column in table[0]]
    changed = [[f"{Decimal(text) / 1000:f}" if at == header.index("kg") else text for at, text in enumerate(cells)]
               for cells in table[1:]] if "kg" in header else table[1:]  # fmt: skip
    changed = [["Binned" if text == "contaminated" else text for text in cells] for cells in changed]
    return {f"{name}.csv": lines([header, *changed]).encode()}


def typed(cell: str) -> object:
    """A cell as a spreadsheet holds it."""
    if cell[:4] == "2026":
        return date.fromisoformat(cell)
    return float(cell) if cell.replace(".", "").isdigit() else cell or None


def sheet(name: str, table: Rows, suffix: str = ".xlsx") -> Mapping[str, bytes]:
    data = workbook(*([typed(cell) for cell in cells] for cells in table), header=False)
    return {f"{name}/{name} 2026{suffix}": data}


def below_a_title(name: str, table: Rows) -> Mapping[str, bytes]:
    return {f"{name}.xlsx": workbook((), (), *([typed(cell) for cell in cells] for cells in table), header=False)}


def merged(name: str, table: Rows) -> Mapping[str, bytes]:
    """Where a cell says what the one above it does, the two are merged; and a weight over two rows, which may be the
    sum of both.
    """

    def fill(sheet: Worksheet) -> None:
        for row in range(2, len(table)):
            for at, (above, below) in enumerate(zip(table[row - 1], table[row], strict=True), start=1):
                if row % 2 == 0 and above == below and above:
                    sheet.merge_cells(start_row=row, end_row=row + 1, start_column=at, end_column=at)
        if name == "harvests":
            sheet.merge_cells("B5:B6")

    return {f"{name}.xlsx": workbook(*([typed(c) for c in cells] for cells in table), fill=fill, header=False)}


def with_totals(name: str, table: Rows) -> Mapping[str, bytes]:
    return {f"{name}.csv": lines([*table, ["Total", "99", *[""] * (len(table[0]) - 2)]]).encode()}


def guarded(name: str, table: Rows) -> Mapping[str, bytes]:
    """Names that a spreadsheet would run, with the apostrophe that keeps it from that."""
    changed = [[f"'={text}" if text in ("7", "A") else f" {text} " for text in cells] for cells in table]
    return {f"{name}.csv": lines(changed).encode()}


FORMS: Mapping[str, tuple[str, Callable[[str, Rows], Mapping[str, bytes]]]] = {
    "commas": ("", as_text()),
    "semicolons": ("", as_text(separator=";", end="\r\n")),
    "tabs": ("", lambda name, table: {f"{name}.tsv": lines(table, "\t").encode()}),
    "carriage returns alone": ("", as_text(end="\r")),
    "quotation marks": ("", as_text(quoted=True)),
    "byte-order mark": ("", lambda name, table: {f"{name}.csv": b"\xef\xbb\xbf" + lines(table).encode()}),
    "sep= line": ("", lambda name, table: {f"{name}.csv": b"sep=;\r\n" + lines(table, ";").encode()}),
    "blank lines": ("", lambda name, table: {f"{name}.csv": ("\n,,\n" + lines(table, end="\n\n")).encode()}),
    "upper case suffix": ("", lambda name, table: {f"{name}/2026.CSV": lines(table).encode()}),
    "decimal commas": (SETTINGS, european),
    "own headings, units and words": (OWN_HEADINGS, own_words),
    "row of totals": ("", with_totals),
    "guarded names": ("", guarded),
    **{f"workbook {suffix}": ("", lambda name, table, suffix=suffix: sheet(name, table, suffix))
       for suffix in SUFFIXES if suffix.startswith(".x")},
    "workbook with upper case suffix": ("", lambda name, table: sheet(name, table, ".XLSM")),
    "workbook with blank rows": ("", below_a_title),
    "workbook with merged cells": ("", merged),
}  # fmt: skip


def agrees(folder: Path) -> None:
    """What the ledger and the logbook say of the farm is the same, and not nothing."""
    refreshed(folder)
    farm = open_farm(folder)
    places = Containers(farm, current_summaries(farm, {})[0])
    assert places.troubles == []
    assert sorted(places.batch_days.items()) == rows(folder, "select batch, inoculated_on from batches order by all")
    fillings = rows(folder, "select batch, container, inoculated_on from fillings order by all")
    assert len(fillings) == 4
    mine = [(each.batch, each.container, each.day) for name in places.names for each in places.fillings(name)]
    assert sorted(mine) == fillings
    ends = {
        (batch, container): (closed_on, closed_by)
        for batch, container, closed_on, closed_by in rows(
            folder,
            "select f.batch, f.container, c.closed_on, c.closed_by from closings as c "
            "inner join fillings as f on c.filling_line = f.line",
        )
    }
    assert {event for _, event in ends.values()} == {"contaminated", "emptied", "refilled"}
    picked = 0
    for batch, container, day in fillings:
        place = Assignment(str(batch), str(container), day)  # type: ignore[arg-type]
        assert places.end(place) == ends.get((batch, container))
        pickings = rows(
            folder,
            "select h.picked_on, h.fresh_weight_g from harvest_assignments as h inner join fillings as f "
            f"on f.line = h.filling_line where f.batch = '{batch}' and f.container = '{container}' order by all",
        )
        assert [(each.day, each.weight_g) for each in places.pickings(place)] == pickings
        picked += len(pickings)
    assert picked >= 4


@pytest.mark.parametrize("form", FORMS)
def test_logbook_and_ledger_see_the_same_farm_in_files_of_every_form(form: str, tmp_path: Path) -> None:
    farm_toml, write = FORMS[form]
    (tmp_path / "farm.toml").write_text(farm_toml)
    for name in GROWING:
        for path, data in write(name, TABLES[name]).items():
            (tmp_path / path).parent.mkdir(exist_ok=True)
            (tmp_path / path).write_bytes(data)
    agrees(tmp_path)


WIDE = [
    ("batch", "inoculated_on", "strain", "substrate", "container", "fill_kg", "seen_on", "event", "picked_on",
     "fresh_weight_g"),
    ("A", "2026-01-04", "grey", "straw", "7", "5.25", "", "", "2026-02-01", "400"),
    ("A", "2026-01-04", "grey", "straw", "7", "5.25", "", "", "2026-02-02", "1250.5"),
    ("A", "", "", "", "8", "5", "", "", "2026-02-10", "250"),
    ("A", "", "", "", "8", "", "2026-02-20", "contaminated", "", ""),
    ("A", "", "", "", "9", "5", "2026-02-21", "emptied", "", ""),
    ("B", "2026-02-14", "pink", "straw", "7", "4.5", "", "", "2026-03-20", "300"),
    ("", "", "", "", "7", "", "", "", "2026-03-21", "310.25"),
]  # fmt: skip
ONE_SHEET = f'[files."log%s"]\ntables = {list(GROWING)}\n'


def several_sheets() -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name in GROWING:
        opened = book.create_sheet(name)
        for cells in TABLES[name]:
            opened.append([typed(cell) for cell in cells])
    return saved(book)


@pytest.mark.parametrize(
    ("suffix", "data"),
    [
        (".csv", lines(WIDE).encode()),
        (".tsv", lines(WIDE, "\t").encode()),
        *((suffix, workbook(*([typed(c) for c in cells] for cells in WIDE), header=False))
          for suffix in (".xlsx", ".xlsm")),
        (".xlsm", several_sheets()),
    ],
    ids=["csv", "tsv", "xlsx", "xlsm", "a sheet for each table"],
)  # fmt: skip
def test_logbook_and_ledger_see_the_same_farm_in_one_file_of_several_tables(
    suffix: str, data: bytes, tmp_path: Path
) -> None:
    (tmp_path / "farm.toml").write_text((ONE_SHEET % suffix).replace("'", '"'))
    (tmp_path / f"log{suffix}").write_bytes(data)
    agrees(tmp_path)
