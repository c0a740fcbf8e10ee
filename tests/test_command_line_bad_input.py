"""Bad input: one clear message each, its exit code, and nothing lost."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Said, gillbook, write_table
from ledgers import BATCHES, HARVESTS, THREE_TABLES, here, refreshed

Farm = Callable[..., Path]
# the first file of a farm and what is written into it; the exit code of yields; what it says on stderr
UNREADABLE = {
    "a column that is required is missing": (
        "batches.csv",
        "btach,inoculated_on,strain,substrate\nA,2026-01-01,grey,straw\n",
        r"batches.csv, row 1, batch: the column is missing\. .*btach.*",
    ),
    "container and batch are both missing": (
        "harvests.csv",
        "picked_on,fresh_weight_g,bucket\n2026-02-01,300,1\n",
        r"harvests.csv, row 1, container or batch: the column is missing\. .*which it is: bucket\.",
    ),
    "a column stands twice": (
        "harvests.csv",
        "picked_on,fresh_weight_g,container,container\n2026-02-01,300,1,2\n",
        r"harvests.csv, row 1, container: .*stands twice in the header\. .+",
    ),
    "an empty file": (
        "harvests.csv",
        "",
        r"harvests.csv: .*is empty\. Put a header line in it: picked_on,fresh_weight_g,container,.*",
    ),
    "only blank lines": ("harvests.csv", "\n\n,,\n", r"harvests.csv: .*has no header line\. Put one in: picked_on,.*"),
    "not UTF-8": (
        "harvests.csv",
        HARVESTS.encode() + b"\n2026-02-08,5,K\xfcbel\n",
        r"harvests.csv, row 4: .*is not UTF-8 text \(byte 84, value 0xfc\)\. .*CSV UTF-8\.",
    ),
    "UTF-16": ("harvests.csv", HARVESTS.encode("utf-16"), r"harvests.csv, row 1: .*is not UTF-8 text .*CSV UTF-8\."),
    "bars": (
        "harvests.csv",
        HARVESTS.replace(",", "|"),
        r"harvests.csv, row 1: .*is separated by bars\. Save it with commas, semicolons or tabs between the columns\.",
    ),
    "a quotation mark that is never closed": (
        "harvests.csv",
        HARVESTS + '\n"2026-02-08,5,1\n',
        r"harvests.csv, row 4: .*quotation mark that opens a cell and never closes.*",
    ),
}


def bytes_of(folder: Path) -> dict[str, bytes]:
    """The grower's files and the ledger."""
    files = (path for path in sorted(folder.iterdir()) if path.suffix in (".csv", ".toml", ".duckdb"))
    return {path.name: path.read_bytes() for path in files}


@pytest.fixture(scope="module")
def settled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A farm with its ledger, to be copied."""
    folder = tmp_path_factory.mktemp("settled")
    (folder / "farm.toml").write_text("", encoding="utf-8")
    for table, text in THREE_TABLES.items():
        write_table(folder, table, text)
    refreshed(folder)
    return folder


def refused(said: Said, code: int, message: str, tail: str = "") -> None:
    assert (said.code, said.out) == (code, "")
    assert re.fullmatch(f"{message}\n{tail}", said.err), said.err
    assert "Traceback" not in said.err


@pytest.mark.parametrize("name", UNREADABLE)
def test_a_file_that_is_not_its_table_is_refused_and_the_ledger_stays(settled: Path, tmp_path: Path, name: str) -> None:
    file, content, message = UNREADABLE[name]
    folder = shutil.copytree(settled, tmp_path / "farm")
    shutil.rmtree(folder / "kept")  # as of a file that was never read well; with its copy: tests/test_kept_files.py
    (folder / file).write_bytes(content if isinstance(content, bytes) else content.encode())
    before = bytes_of(folder)
    refused(here("yields", "--farm", folder), 3, message, r"Nothing was refreshed\.\n")
    assert bytes_of(folder) == before


def test_all_unreadable_files_are_told_at_once(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    for file in ("batches.csv", "harvests.csv"):
        (folder / file).write_text("", encoding="utf-8")
    said = gillbook("refresh", "--farm", folder)
    assert said.code == 3
    assert [line.split(".csv")[0] for line in said.err.splitlines()] == [
        "batches",
        "harvests",
        "Nothing was refreshed.",
    ]
    assert not (folder / "ledger.duckdb").exists()


ROWS = {
    "wrong type": (
        "harvests",
        "picked_on,fresh_weight_g,container\n2026-02-01,3oo,1",
        r'harvests.csv, row 2, fresh_weight_g: "3oo" is not a number\. Write digits with a decimal point\.',
    ),
    "a date written another way": (
        "harvests",
        "picked_on,fresh_weight_g,container\n01/02/2026,300,1",
        r'harvests.csv, row 2, picked_on: "01/02/2026" can be read as two dates\. Write year-month-day, .*',
    ),
    "unknown container": (
        "harvests",
        "picked_on,fresh_weight_g,container\n2026-02-01,300,9",
        r"harvests.csv, row 2: .* container 9 was not filled before 2026-02-01\. .*fillings.csv\.",
    ),
    "duplicate key": (
        "batches",
        BATCHES + "\nA,2026-01-02,10,70",
        r'batches.csv, row 2, batch: "A" stands in more than one row with different cells .*Keep the right row.*',
    ),
    "picked before it was inoculated": (
        "harvests",
        "picked_on,fresh_weight_g,container,batch\n2025-12-31,300,1,A",
        r'harvests.csv, row 2, picked_on: "2025-12-31" is before the batch\'s inoculation on 2026-01-01\. Check .*',
    ),
}


@pytest.mark.parametrize("name", ROWS)
def test_a_row_that_cannot_be_counted_is_set_aside_and_told(farm: Farm, name: str) -> None:
    table, text, message = ROWS[name]
    folder = farm(**{**THREE_TABLES, table: text})
    before = (folder / f"{table}.csv").read_bytes()
    said = here("check", "--farm", folder)
    assert said.code == 1
    assert [line for line in said.out.splitlines() if re.fullmatch(f"  {message}", line)], said.out
    assert said.err == "The whole list is in out/set_aside.csv.\n"
    said = here("yields", "--farm", folder)
    assert said.code == 0
    assert re.search(r"set aside.*in no figure\. gillbook check tells which\.", said.err)
    assert (folder / f"{table}.csv").read_bytes() == before


def test_an_unknown_column_is_a_notice_with_the_nearest_name(farm: Farm) -> None:
    folder = farm(**{**THREE_TABLES, "batches": BATCHES.replace("moisture_pct", "moisture")})
    said = here("check", "--farm", folder)
    assert said.code == 0
    assert "is no column that gillbook knows and is not read. Did you mean moisture_pct?" in said.out
    assert here("yields", "--by", "all", "--json", "--farm", folder).json[0]["fresh_g"] == 500


def test_files_with_a_header_only_are_no_fault(farm: Farm) -> None:
    folder = farm(**{**THREE_TABLES, "harvests": "picked_on,fresh_weight_g,container"})
    said = here("check", "--as-of", "2026-01-02", "--farm", folder)
    assert (said.code, said.err, "harvests.csv" in said.out) == (0, "", False)
    said = here("yields", "--by", "all", "--json", "--as-of", "2026-01-02", "--farm", folder)
    assert (said.code, said.json[0]["fresh_g"], said.json[0]["units_not_yet"]) == (0, 0, 2)


SETTINGS = {
    "lapse_days = \nname = 'x'": r"farm.toml is not valid TOML: .*line 1.*",
    b"name = 'K\xfc'": r"farm.toml is not UTF-8 at byte \d+\. Save it as UTF-8\.",
    'lapse_days = "45"': r"farm.toml, lapse_days: '45' is not a whole number from 1 to 3650\. .+",
    "lapse_days = true": r"farm.toml, lapse_days: True is not a whole number from 1 to 3650\. .+",
    "lapse_days = 4.5": r"farm.toml, lapse_days: 4.5 is not a whole number from 1 to 3650\. .+",
    "new_flush_after_days = 0": r"farm.toml, new_flush_after_days: 0 is not a whole number from 1 to 365\. .+",
    'price_per_kg = "9"': r"farm.toml, price_per_kg: '9' is not a number from 0 to 1000000\. Mend it\.",
    "spawn_dry_pct_grain = 0.55": r"farm.toml, spawn_dry_pct_grain: 0.55 is not a number from 5 to 100\. Mend it\.",
    "price_per_kg = nan": r"farm.toml, price_per_kg: nan is not a number from 0 to 1000000\. Mend it\.",
    "name = 7": r"farm.toml, name: 7 is not a text\. Put it in quotes\.",
    "late_from = 'flatt'": r"farm.toml, late_from: 'flatt' is none of curled, .*\. Did you mean flat\?",
}


@pytest.mark.parametrize("text", SETTINGS)
def test_a_farm_toml_that_cannot_be_used_stops_everything(farm: Farm, text: str | bytes) -> None:
    folder = farm(**THREE_TABLES)
    (folder / "farm.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
    before = bytes_of(folder)
    refused(here("refresh", "--farm", folder), 2, SETTINGS[text])
    assert bytes_of(folder) == before


def test_an_unknown_key_in_farm_toml_is_a_finding_with_the_nearest_name(farm: Farm) -> None:
    folder = farm("lapse_day = 3", **THREE_TABLES)
    told = 'farm.toml: "lapse_day" is no setting that gillbook knows. Did you mean lapse_days?'
    said = here("yields", "--farm", folder)
    assert said.code == 0
    assert told in said.err.splitlines()
    said = here("check", "--as-of", "2026-02-07", "--farm", folder)
    assert said.code == 0
    assert f"  {told}" in said.out.splitlines()


WORDS: list[tuple[list[str], str]] = [
    (["--as-of", "2026-13-01"], r"--as-of 2026-13-01: that is not a date\. Write year-month-day, like 2026-05-31\."),
    (["--as-of", "20260501"], r"--as-of 20260501: that is not a date\. .+"),
    (["--as-of", "2026-W05-1"], r"--as-of 2026-W05-1: that is not a date\. .+"),
    (["--by", "substrat"], r"--by substrat: there is no such column\. Did you mean substrate\? Known: all, batch, .+"),
    (["--by", ","], r"--by: name at least one column, like --by substrate, or all\."),
    (["--through-flush", "0"], r"--through-flush 0: flushes are counted from 1\."),
    (["--through-flush", "two"], r"(?s)Usage: gillbook yields .*Invalid value for '--through-flush'.*"),
    (["--nothing"], r"(?s)Usage: gillbook yields .*No such option: --nothing.*"),
]


@pytest.mark.parametrize(("words", "message"), WORDS)
def test_wrong_words_are_answered_with_the_right_ones(farm: Farm, words: list[str], message: str) -> None:
    folder = farm(**THREE_TABLES)
    refused(here("yields", *words, "--farm", folder), 2, message)
    assert not (folder / "ledger.duckdb").exists()


def test_where_there_is_no_farm_the_way_to_one_is_told(tmp_path: Path) -> None:
    here = re.escape(str(tmp_path))
    refused(
        gillbook("yields", cwd=tmp_path), 2, rf"{here}: no farm here or in a folder above\. Go to .*gillbook init DIR"
    )
    refused(gillbook("check", "--farm", tmp_path), 2, rf"{here}: no farm here \(no farm.toml.*gillbook init {here}")
    refused(
        gillbook("check", "--farm", tmp_path / "x"), 2, rf"{here}/x: there is no such folder\. .*gillbook init {here}/x"
    )
    refused(gillbook("yeilds"), 2, r"(?s)Usage: gillbook .*No such command 'yeilds'\. Did you mean 'yields'\?")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["init", "demo"])
def test_a_folder_that_holds_anything_is_not_written_over(tmp_path: Path, command: str) -> None:
    (tmp_path / "batches.csv").write_text("mine", encoding="utf-8")
    for folder, wrong in ((tmp_path, "is not empty"), (tmp_path / "batches.csv", "is no folder")):
        refused(here(command, folder), 2, rf".* {wrong}, and nothing was written\. Name a new folder\.")
    assert bytes_of(tmp_path) == {"batches.csv": b"mine"}


ONE_SELECT = r"query: one SELECT is allowed, and nothing else\."
ONLY_THE_LEDGER = r"query: only the ledger can be read, no other file or setting\."
QUERIES = {
    "delete from stage_harvests": ONE_SELECT,
    "create temp table a as select 1": ONE_SELECT,
    "copy batches to '{}/out.csv'": ONE_SELECT,
    "export database '{}/out'": ONE_SELECT,
    "attach '{}/out.duckdb'": ONE_SELECT,
    "install json": ONE_SELECT,
    "pragma database_list": ONE_SELECT,
    "set threads = 1": ONE_SELECT,
    "select 1; select 2": ONE_SELECT,
    "": ONE_SELECT,
    "from read_csv('{}/secret.csv')": ONLY_THE_LEDGER,
    "from read_text('{}/secret.csv')": ONLY_THE_LEDGER,
    "from read_blob('{}/*')": ONLY_THE_LEDGER,
    "from '{}/secret.csv'": ONLY_THE_LEDGER,
    "from glob('{}/*')": ONLY_THE_LEDGER,
    "from con": r"(?s)query: Catalog Error: Table with name con does not exist!.*",
    "select weight from harvests": r'(?s)query: Binder Error: Referenced column "weight" not found.*',
}


def test_query_reads_the_ledger_and_nothing_else_and_writes_nothing(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    (folder / "secret.csv").write_text("secret\n1\n", encoding="utf-8")
    said = here("query", "select sum(fresh_weight_g) as g from harvests; -- of all", "--json", "--farm", folder)
    assert (said.code, said.json) == (0, [{"g": 500}])
    before = bytes_of(folder)
    for query, message in QUERIES.items():
        refused(here("query", query.format(folder), "--farm", folder), 2, message)
    assert bytes_of(folder) == before
