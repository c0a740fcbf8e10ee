"""The books are handed on: whole, typed, with what every column means; and are read again to the same figures."""

from __future__ import annotations

import csv
import json
import shutil
import tomllib
from datetime import date, datetime
from pathlib import Path

import frictionless
import openpyxl
import polars as pl
import pytest
from conftest import write_table
from ledgers import BATCHES, FILLINGS, here, refreshed

from pipeline.cli import export_tables
from pipeline.demo.books import write_books
from pipeline.export import files
from pipeline.export.files import FileKind, write_files
from pipeline.export.table import ExportTable, input_table
from pipeline.export.workbook import MOST_LETTERS, write_workbook
from pipeline.farm.folder import open_farm
from pipeline.models.input_rows import input_rows
from pipeline.models.view import opened
from schemas.contract import GROWING, contract
from schemas.exported import COLUMNS_SHEET
from schemas.finding import OutOfReach

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
LATE = ("--as-of", "2026-09-30")
FORMULA = "=1+1"
HARVESTS = f"""\
picked_on,fresh_weight_g,container,batch,picker,note
2026-02-01,300.125,1,,{FORMULA},http://example.org
2026-02-06,200,2,,'@x,007
2026-02-07,100,,A,,of the whole batch
2026-03-02,100,1,,,
"""


PRICES = "from_on,item,price,per\n2026-01-01,fresh,12,kg\n"
SALES = "sold_on,weight_g,buyer,price_per_kg,batch\n2026-02-03,250,,,A\n2026-02-07,150,shop,14,\n"


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("books") / "farm"
    folder.mkdir()
    for table, text in {"batches": BATCHES, "fillings": FILLINGS, "harvests": HARVESTS}.items():
        write_table(folder, table, text)
    (folder / "prices.csv").write_text(PRICES, encoding="utf-8")
    (folder / "sales.csv").write_text(SALES, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def book(farm: Path) -> Path:
    to = farm.parent / "books.xlsx"
    said = here("export", "--to", to, *LATE, "--farm", farm)
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith(f"{to}: ")
    return to


@pytest.fixture(scope="module")
def tables(farm: Path) -> list[ExportTable]:
    refreshed(farm)
    with opened(farm / "ledger.duckdb", open_farm(farm).settings) as ledger:
        return export_tables.export_tables(ledger, date(2026, 9, 30), None)


def figures(folder: Path, *words: str) -> list[dict[str, object]]:
    said = here(*words, *LATE, "--farm", folder, "--json")
    assert said.code == 0, said.err
    return said.json


def test_what_is_handed_on_and_read_again_gives_the_same_figures(tmp_path: Path) -> None:
    shutil.copytree(DEMO, tmp_path / "farm")
    refreshed(tmp_path / "farm")
    with opened(tmp_path / "farm" / "ledger.duckdb", {"new_flush_after_days": 7}) as ledger:
        tables = [input_table(name, rows) for name, rows in input_rows(ledger).items()]
    write_files(tmp_path, tables, FileKind.csv)
    given = [word for path in sorted((tmp_path / "inputs").glob("*.csv")) for word in ("--from", path)]
    said = here("init", tmp_path / "again", *given, "--yes")
    assert said.code == 0, said.err
    assert "answer otherwise" not in said.out, "nothing about an export is a guess"
    for words in ("yields", "months"):
        before = figures(tmp_path / "farm", words)
        assert len(before) > 8
        assert figures(tmp_path / "again", words) == before


def test_a_book_has_a_sheet_a_table_with_days_and_numbers_and_no_formula(book: Path, farm: Path) -> None:
    sheets = openpyxl.load_workbook(book)
    assert sheets.sheetnames[:7] == [COLUMNS_SHEET, *GROWING, "prices", "sales"]
    assert {"yields", "months", "flushes", "settings"} <= set(sheets.sheetnames)
    header, *rows = sheets["harvests"].iter_rows()
    at = {cell.value: number for number, cell in enumerate(header)}
    assert "Fresh weight (g)" in at
    first = rows[0]
    assert (first[at["Picked on"]].value, first[at["Picked on"]].is_date) == (datetime(2026, 2, 1), True)
    assert first[at["Fresh weight (g)"]].value == 300.125
    assert [first[at[name]].value for name in ("Picker", "Note")] == [FORMULA, "http://example.org"]
    assert rows[1][at["Note"]].value == "007"
    cells = [cell for sheet in sheets for line in sheet.iter_rows() for cell in line]
    assert not [cell.value for cell in cells if cell.data_type == "f" or cell.hyperlink]
    assert first[at["Picker"]].data_type == "s"
    (of_all,) = figures(farm, "yields")
    heading, told = sheets["yields"].iter_rows(values_only=True)
    assert dict(zip(heading, told, strict=True))["BE finished (%)"] == pytest.approx(of_all["be_finished_pct"])


def test_the_sheet_of_columns_tells_each_of_them(book: Path) -> None:
    sheets = openpyxl.load_workbook(book, read_only=True)
    _, *told = sheets[COLUMNS_SHEET].iter_rows(values_only=True)
    for name in sheets.sheetnames[1:]:
        header = next(sheets[name].iter_rows(values_only=True))
        assert [row[3] for row in told if row[0] == name] == list(header)
    assert all(row[6] for row in told)


def test_of_a_book_only_its_entries_are_read_again_and_give_the_same(book: Path, farm: Path, tmp_path: Path) -> None:
    assert here("init", tmp_path / "again", "--from", book, "--yes").code == 0
    settings = tomllib.loads((tmp_path / "again" / "farm.toml").read_text(encoding="utf-8"))
    (used,) = settings["files"].values()
    assert set(used["sheet"]) == {*GROWING, "prices", "sales"}
    for words in ("yields", "months", "flushes", "money"):
        assert figures(tmp_path / "again", words) == figures(farm, words)


@pytest.mark.parametrize("kind", ["csv", "parquet", "json"])
def test_files_hold_the_same_cells_and_their_contracts_fit(
    kind: str, tables: list[ExportTable], tmp_path: Path
) -> None:
    folder = tmp_path
    write_files(folder, tables, FileKind(kind))
    schemas = sorted(folder.rglob("*.schema.json"))
    assert len(schemas) > 20
    for path in schemas:
        schema = json.loads(path.read_text(encoding="utf-8"))
        data = path.with_name(path.name.replace(".schema.json", f".{kind}"))
        names = [each["name"] for each in schema["fields"]]
        assert all(each["title"] and each["description"] for each in schema["fields"])
        if kind == "parquet":
            assert pl.read_parquet(data).columns == names
        elif kind == "json":
            assert all(list(row) == names for row in json.loads(data.read_text(encoding="utf-8")))
        else:
            resource = frictionless.Resource(
                path=data.name, basepath=str(data.parent), schema=frictionless.Schema.from_descriptor(schema)
            )
            assert resource.validate().flatten(["rowNumber", "fieldName", "note"]) == []
    picked = folder / "inputs" / f"harvests.{kind}"
    if kind == "parquet":
        frame = pl.read_parquet(picked)
        assert frame.schema["fresh_weight_g"] == pl.Decimal(18, 3)
        assert frame.schema["picked_on"] == pl.Date
        assert frame["picker"].to_list() == [FORMULA, "@x", None, None]
    elif kind == "json":
        rows = json.loads(picked.read_text(encoding="utf-8"))
        assert (rows[0]["picker"], rows[0]["fresh_weight_g"], rows[0]["picked_on"]) == (FORMULA, 300.125, "2026-02-01")
    else:
        rows = list(csv.DictReader(picked.read_text(encoding="utf-8").splitlines()))
        assert [row["picker"] for row in rows] == [f"'{FORMULA}", "'@x", "", ""]
        assert [row["fresh_weight_g"] for row in rows] == ["300.125", "200", "100", "100"]


def test_a_month_has_its_entries_alone_and_is_told_as_of_its_last_day(farm: Path, tmp_path: Path) -> None:
    to = tmp_path / "books"
    said = here("export", "--to", to, "--format", "json", "--month", "2026-02", "--farm", farm, *LATE)
    assert said.out.endswith("as of 2026-02-28.\n")
    rows = json.loads((to / "inputs" / "harvests.json").read_text(encoding="utf-8"))
    assert [row["picked_on"] for row in rows] == ["2026-02-01", "2026-02-06", "2026-02-07"]
    assert len(json.loads((to / "inputs" / "fillings.json").read_text(encoding="utf-8"))) == 2
    assert (to / "results" / "finished_units.json").is_file()


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--to", "there.xlsx"], 2, "there.xlsx: is there already and was not touched."),
        (["--to", "there", "--format", "csv"], 2, "there: is there already and was not touched."),
        (["--to", "books"], 2, "--to books: a name that ends in .xlsx, or a folder and its --format"),
        (["--to", "books.xlsx", "--format", "csv"], 2, "--format csv wants a folder"),
        (["--to", "books", "--format", "xlsx"], 2, "--format xlsx wants a name that ends in .xlsx."),
        (["--to", "farm/harvests.xlsx"], 2, "would be read as your records."),
        (["--to", "farm/harvests/new/x", "--format", "csv"], 2, "would be read as your records."),
        (["--to", "books.xlsx", "--month", "May"], 2, "--month May: that is not a month."),
        (["--to", "books.xlsx", "--month", "2026-10"], 2, "--month 2026-10: that month has not begun."),
        (["--to", "there.xlsx/books.xlsx"], 2, "there.xlsx/books.xlsx: there.xlsx is no folder. Make it first"),
        (["--to", "no/books.xlsx"], 2, "no/books.xlsx: no is no folder. Make it first"),
    ],
)
def test_a_wrong_request_writes_nothing(
    words: list[str], code: int, said: str, farm: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    shutil.copytree(farm, "farm")
    Path("there.xlsx").write_text("mine", encoding="utf-8")
    Path("there").mkdir()
    answer = here("export", *words, *LATE, "--farm", "farm")
    assert answer.code == code, answer.err
    assert said in answer.err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["farm", "there", "there.xlsx"]
    assert Path("there.xlsx").read_text(encoding="utf-8") == "mine"


def test_a_folder_is_there_whole_or_not_at_all(farm: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files, "write_table", full)
    monkeypatch.setattr(export_tables, "export_tables", lambda *_: [input_table("harvests", [])])
    said = here("export", "--to", tmp_path / "books", "--format", "csv", *LATE, "--farm", farm)
    assert (said.code, f"{tmp_path / 'books'} cannot be written: No space left on device." in said.err) == (3, True)
    assert list(tmp_path.iterdir()) == []


def test_what_no_sheet_holds_is_refused_and_not_cut(tmp_path: Path) -> None:
    column = contract("harvests").field("note")
    table = ExportTable("input", contract("harvests"), (column,), [("fits",), ("x" * (MOST_LETTERS + 1),)])
    with pytest.raises(OutOfReach, match=r"harvests, row 2, note: 32,768 letters"):
        write_workbook(tmp_path / "books.xlsx", [table])
    assert list(tmp_path.iterdir()) == []


def test_a_day_before_the_first_of_sheets_stays_what_it_is(tmp_path: Path) -> None:
    column = contract("harvests").field("picked_on")
    table = ExportTable("input", contract("harvests"), (column,), [(date(1899, 12, 31),), (date(1900, 3, 1),)])
    write_workbook(tmp_path / "books.xlsx", [table])
    rows = list(openpyxl.load_workbook(tmp_path / "books.xlsx")["harvests"].iter_rows(values_only=True))
    assert rows[1:] == [("1899-12-31",), (datetime(1900, 3, 1),)]


def test_settings_of_money_come_back_with_the_books(farm: Path, tmp_path: Path) -> None:
    own = tmp_path / "farm"
    shutil.copytree(farm, own)
    (own / "farm.toml").write_text('currency = "EUR"\nprice_per_kg = 3.5\nshelf_days = 4\nspawn_cost_per_kg = 2\n')
    # Sold before the first price of prices.csv: only farm.toml's counts, also where a later row has another.
    (own / "sales.csv").write_text("sold_on,weight_g,buyer\n2025-12-31,100,shop\n2026-02-03,100,shop\n")
    assert here("export", "--to", tmp_path / "b.xlsx", *LATE, "--farm", own).code == 0
    assert here("export", "--to", tmp_path / "files", "--format", "csv", *LATE, "--farm", own).code == 0
    settings = tmp_path / "files" / "settings" / "settings.csv"
    listed = [*sorted((tmp_path / "files" / "inputs").glob("*.csv")), settings]
    for name, given in {"of-book": [tmp_path / "b.xlsx"], "of-files": listed}.items():
        said = here("init", tmp_path / name, *(word for each in given for word in ("--from", each)), "--yes")
        assert said.code == 0, said.err
        assert ": settings\n" in said.out
        taken = tomllib.loads((tmp_path / name / "farm.toml").read_text(encoding="utf-8"))
        assert {"currency": "EUR", "price_per_kg": 3.5, "shelf_days": 4}.items() <= taken.items()
        assert "pint_g" not in taken
        for words in (("money",), ("money", "--by", "month"), ("money", "--unsold"), ("months",)):
            assert figures(tmp_path / name, *words) == figures(own, *words)
    months = {each["month"]: each["revenue"] for each in figures(own, "money", "--by", "month")}
    assert (months["2025-12"], months["2026-02"]) == (pytest.approx(0.35), pytest.approx(1.2))


def test_a_setting_of_an_export_that_cannot_be_is_named_and_left_out(tmp_path: Path) -> None:
    (tmp_path / "settings.csv").write_text(
        'name,value,description\nprice_per_kg,-4,x\npint_g,.5e3,x\nshelf_days,four,x\nname,"a ""b""",x\nno_such,1,x\n'
    )
    (tmp_path / "harvests.csv").write_text("picked_on,fresh_weight_g,container,batch\n2026-02-01,300,1,A\n")
    given = [word for each in ("settings.csv", "harvests.csv") for word in ("--from", tmp_path / each)]
    said = here("init", tmp_path / "again", *given, "--yes")
    assert said.code == 0, said.err
    assert 'settings.csv: price_per_kg is not taken: "-4" is no value of it.' in said.out
    assert 'settings.csv: shelf_days is not taken: "four" is no value of it.' in said.out
    taken = tomllib.loads((tmp_path / "again" / "farm.toml").read_text(encoding="utf-8"))
    assert (taken["name"], taken["pint_g"]) == ('a "b"', 500)


def test_the_demo_farm_comes_back_with_the_same_money_months_and_promises(tmp_path: Path) -> None:
    own = shutil.copytree(DEMO, tmp_path / "farm")
    write_books(own)
    assert here("export", "--to", tmp_path / "b.xlsx", *LATE, "--farm", own).code == 0
    said = here("init", tmp_path / "again", "--from", tmp_path / "b.xlsx", "--yes")
    assert said.code == 0, said.err
    assert "answer otherwise" not in said.out, "nothing about an export is a guess"
    for words in (("money",), ("money", "--by", "month"), ("months",), ("promise", "check")):
        before = figures(own, *words)
        assert before
        again = figures(tmp_path / "again", *words)
        assert [row | {"file": ""} for row in again] == [row | {"file": ""} for row in before], words
