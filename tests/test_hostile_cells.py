"""No text of a cell runs in a spreadsheet, names a file, or stops the program by its size.

Formulas: OWASP, "CSV Injection" (what may begin a cell, and that a cell may begin at a separator within a text too).
"""

from __future__ import annotations

import csv
import io
import re
import shutil
from datetime import date
from pathlib import Path

from conftest import gillbook, write_table
from ledgers import here, refreshed, rows

from pipeline.demo.write import LAST_DAY, write_demo
from pipeline.files.write_csv import guarded, unguarded

FORMULAS = (
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(1)",
    "=cmd|' /C calc'!A0",
    '=HYPERLINK("http://example.org","x")',
    "\uff1d1+1",
    "'=1+1",
    "''@x",
    "x;=1+1;y",
    "x,+1+1,y",
    'x";"=1+1',
    "x; =1+1",
    "x,'@y",
)
HARMLESS = ("wet, -3 C", "B1-B4", "50 + 50", "a = b", "x; - y")
BATCHES = "batch,inoculated_on,substrate_wet_kg,moisture_pct\nA,2026-01-01,10,70"
FILLINGS = "batch,container,fill_kg\nA,C1,5"
MANY, LONG = 900, 1_000_000


def runs(text: str) -> list[str]:
    """Which parts of a CSV text would run as a formula, at whichever of the usual separators it is cut?"""
    parts = re.split(r"[,;\t\r\n]", text)
    number = re.compile(r"[+-]?[0-9.]+\Z")
    bare = [part.strip('"') for part in parts if not number.match(part)]
    return [part for part in bare if re.match(r" *[=@\uff1d\uff20]|[+\-\uff0b\uff0d]", part)]


def own_rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def _each(*options: str, text: str) -> list[str]:
    return [word for option in options for word in (f"--{option}", text)]


def test_a_guarded_text_runs_nowhere_and_reads_back() -> None:
    texts = [*FORMULAS, *HARMLESS, "\t=1", "\r=1", "\n=1", "x\t=1", "x\n@1", "'", "", "=", "x;;=1", "x;'';=1"]
    for text in texts:
        out = io.StringIO()
        csv.writer(out).writerow(["x", guarded(text), "y"])
        assert runs(out.getvalue()) == [], text
        assert unguarded(guarded(text)) == text
    assert [guarded(text) for text in HARMLESS] == list(HARMLESS)


def container_named(at: int, text: str) -> str:
    """A container's name that ends with the text, where it may: one with a comma is taken for several."""
    return f"C{at}" if set(text) & set(",;") else f"C{at}{text}"


def test_what_weigh_note_batch_and_fill_write_runs_in_no_spreadsheet_and_is_loaded_as_typed(farm) -> None:  # type: ignore[no-untyped-def]
    words = '[words.cap_stage]\n"=young" = "curled"\n[headings.harvests]\n"=1+1" = "note"\n'
    folder = farm(words, batches=BATCHES, fillings=FILLINGS)
    for at, text in enumerate(FORMULAS):
        name = container_named(at, text)
        for words in (
            ("batch", f"N{at}{text}", "--on", "2026-01-02", *_each("strain", "substrate", "soak", "note", text=text)),
            ("fill", name, "--batch", f"N{at}{text}", *_each("kind", "room", "note", text=text)),
            ("weigh", name, "300", "--stage", "=young", "--picker", text, "--note", text),
            ("note", name, "contaminated", "--cause", text, "--note", text),
        ):
            said = here(*words, "--insist", "--farm", folder)
            assert said.code == 0, (words, said.err)
    refreshed(folder)
    for table, columns in {
        "batches": "strain,substrate,soak,note",
        "fillings": "container,kind,room,note",
        "harvests": "container,picker,note",
        # A cause is folded like a coded word.
        "observations": "container,note",
    }.items():
        files = [*folder.glob(f"{table}.csv"), *folder.glob(f"{table}/*.csv")]
        assert [runs(file.read_text(encoding="utf-8")) for file in files] == [[]] * len(files)
        loaded = rows(folder, f"select {columns} from {table} where note is not null order by row")[-len(FORMULAS) :]
        named = columns.startswith("container")
        assert loaded == [
            ((container_named(at, text),) if named else ()) + (text,) * (len(columns.split(",")) - named)
            for at, text in enumerate(FORMULAS)
        ]
    assert rows(folder, "select distinct cap_stage from harvests") == [("curled",)]


def test_the_lists_that_check_writes_run_in_no_spreadsheet(farm) -> None:  # type: ignore[no-untyped-def]
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    # A file's name, a column's name, a weight, a date and a batch: whatever a finding quotes.
    (folder / "harvests").mkdir()
    with (folder / "harvests" / "=1+1;=2.csv").open("w", encoding="utf-8", newline="") as out:
        columns = ["picked_on", "fresh_weight_g", "container", "batch", "=mine", "x;@mine"]
        faulty = [[text, text, text, text, text, text] for text in FORMULAS]
        csv.writer(out).writerows([columns, *faulty])
    assert here("check", "--farm", folder).code == 1
    aside, all_of_them = (folder / "out" / f"{name}.csv" for name in ("set_aside", "findings"))
    for file in (aside, all_of_them):
        assert runs(file.read_text(encoding="utf-8")) == []
    values = {unguarded(each["value"]) for each in own_rows(aside)}
    # A cell's own apostrophe before a formula is what a guard looks like, and is read as one.
    assert {text for text in FORMULAS if unguarded(text) == text} <= values
    assert {unguarded(each["file"]) for each in own_rows(aside)} == {"harvests/=1+1;=2.csv"}


def test_the_line_that_check_says_to_add_runs_in_no_spreadsheet(farm) -> None:  # type: ignore[no-untyped-def]
    folder = farm(batches=BATCHES.replace("A,", "=1+1,"), fillings="batch,container\n=1+1,@C1")
    said = here("check", "--as-of", "2026-12-31", "--farm", folder)
    assert "with the day it ended: 2026-04-01,emptied,'@C1 " in " ".join(said.out.split())


def test_the_rows_of_a_trial_run_in_no_spreadsheet(tmp_path: Path) -> None:
    write_demo(tmp_path / "farm")
    words = ("--factor", "substrate", "--difference", "60", "--levels", "=1+1,x;@SUM(1)", "--as-of", LAST_DAY)
    assert here("trial", *words, "--out", tmp_path / "t", "--farm", tmp_path / "farm").code == 0
    for name in ("batches", "fillings"):
        assert runs((tmp_path / f"t-{name}.csv").read_text(encoding="utf-8")) == []
    assert {unguarded(each["substrate"]) for each in own_rows(tmp_path / "t-batches.csv")} == {"=1+1", "x;@SUM(1)"}


def test_the_tables_that_init_begins_run_in_no_spreadsheet(tmp_path: Path) -> None:
    (tmp_path / "mine.csv").write_text(
        'picked on,"weight, g",bucket,=1+1,@x\n2026-05-01,400,"=1+1;@x",a,b\n', encoding="utf-8"
    )
    said = gillbook("init", "--from", tmp_path / "mine.csv", tmp_path / "new", "--yes")
    assert said.code == 0, said.err
    begun = [path for path in (tmp_path / "new").rglob("*.csv") if path.parent.name != "originals"]
    assert sorted(path.name for path in begun) == ["batches.csv", "mine.csv", "observations.csv"]
    assert [runs(path.read_text(encoding="utf-8")) for path in begun] == [[], [], []]
    # The grower's own file is copied byte for byte: it is the record.
    assert (tmp_path / "new/originals/mine.csv").read_bytes() == (tmp_path / "mine.csv").read_bytes()


PATHS = (
    "../../x",
    "..\\..\\x",
    "C:\\x",
    "/etc/x",
    "//host/share",
    "con",
    "nul",
    "a/b",
    "~/x",
    ".",
    "..",
    "$HOME",
    "x.csv",
)


def test_an_id_like_a_path_names_no_file(tmp_path: Path) -> None:
    folder = tmp_path / "above" / "deep" / "farm"
    folder.mkdir(parents=True)
    (folder / "farm.toml").write_text("name = '../../x'", encoding="utf-8")
    write_table(folder, "batches", "\n".join(["batch,inoculated_on", *(f"{name},2026-01-01" for name in PATHS)]))
    write_table(folder, "fillings", "\n".join(["batch,container,room", *(f"{n},{n},{n}" for n in PATHS)]))
    each = [
        words
        for name in PATHS
        for words in (
            ("batch", f"{name}2", "--like", name, "--soak", name, "--insist"),
            ("fill", f"{name}2", "--batch", f"{name}2", "--insist"),
            ("weigh", name, "300", "--batch", name, "--picker", name, "--insist"),
            ("note", name, "pins", "--batch", name, "--insist"),
            ("trace", "--batch", name),
        )
    ]
    pages = [word for option in ("page", "print", "labels") for word in (f"--{option}", folder / f"{option}.html")]
    for words in (*each, ("sheet", *pages), ("check",), ("yields", "--by", "batch,container"), ("report",)):
        said = here(*words, "--farm", folder)
        assert said.code == 0, (words, said.out, said.err)
    loaded = here("query", "select container from harvests order by row", "--json", "--farm", folder).json
    assert [each["container"] for each in loaded] == list(PATHS)
    assert {path.name for path in folder.iterdir()} == {
        *("farm.toml", "batches.csv", "batches", "fillings.csv", "observations.csv", "harvests"),
        *("page.html", "print.html", "labels.html", "kept", "out", "ledger.duckdb", "ledger.manifest.json"),
        *("ledger.lock", "logbook.lock", "logbook.undo.jsonl"),
    }
    month = f"{date.today():%Y-%m}"
    written = [path.name for part in ("batches", "harvests", "out") for path in sorted((folder / part).iterdir())]
    report = [f"report-{month}.{kind}" for kind in ("html", "json")]
    assert written == ["logbook.csv", f"{month}.csv", "findings.csv", *report, "set_aside.csv"]
    assert [path for path in tmp_path.rglob("*") if not path.is_relative_to(folder)] == [
        tmp_path / "above",
        tmp_path / "above" / "deep",
    ]


def test_a_cell_of_a_million_letters_is_kept_and_no_message_drowns_in_it(farm) -> None:  # type: ignore[no-untyped-def]
    long = "x" * LONG
    folder = farm(batches=BATCHES, fillings=f"{FILLINGS}\nA,{long},5")
    write_table(
        folder,
        "harvests",
        f"picked_on,fresh_weight_g,container,cap_stage,note\n2026-05-01,400,C1,{long},{long}\n2026-05-01,401,{long},,\n"
        f"2026-05-02,{long},C1,,\n2026-05-03,{'4' * LONG},C1,,\n{'2' * LONG},402,C1,,\n2026-05-04,403,{long}?,,",
    )
    said = here("check", "--as-of", "2026-05-10", "--farm", folder)
    assert said.code == 1
    assert len(said.out) < 20_000
    assert f'fresh_weight_g: "{"x" * 200}... (999,800 more letters)" is not a number.' in said.out
    csv.field_size_limit(2 * LONG)
    ends = {each["value"][1000:] for each in own_rows(folder / "out/set_aside.csv")}
    assert ends == {"", "... (999,000 more letters)"}
    assert rows(folder, "select length(note), length(container) from harvests order by row") == [
        (LONG, 2),
        (None, LONG),
    ]
    for words in (("yields", "--by", "container"), ("today",)):
        said = here(*words, "--as-of", "2026-05-10", "--farm", folder)
        assert (said.code, max(map(len, said.out.splitlines()), default=0) <= 80, len(said.err) < 5000) == (
            0,
            True,
            True,
        )
    # The logbook reads the same file without the ledger.
    assert here("weigh", "C1", "300", "--note", long, "--insist", "--farm", folder).code == 0
    assert here("weigh", "C1", long, "--farm", folder).code == 2
    assert here("weigh", "C1", "4" * LONG, "--farm", folder).code == 2


def test_nine_hundred_columns_hide_nothing(farm) -> None:  # type: ignore[no-untyped-def]
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    names, cells = (",".join(f"{each}{at}" for at in range(MANY)) for each in ("mine", "x"))
    # One of each: what is not known, and what is beyond the header.
    (folder / "harvests").mkdir()
    (folder / "harvests/wide.csv").write_text(
        f"{names},picked_on,fresh_weight_g,container\n{cells},2026-05-01,400,C1\n", encoding="utf-8"
    )
    (folder / "harvests/ragged.csv").write_text(
        f"picked_on,fresh_weight_g,container\n2026-05-02,401,C1,{cells}\n2026-05-03,402,C1\n", encoding="utf-8"
    )
    said = here("check", "--as-of", "2026-05-10", "--farm", folder)
    assert said.code == 1
    assert f"... and {MANY - 3} more of this kind" in said.out
    assert len(said.out.splitlines()) < 30
    assert rows(folder, "select file, fresh_weight_g::integer from harvests order by 1") == [
        ("harvests/ragged.csv", 402),
        ("harvests/wide.csv", 400),
    ]
    shutil.rmtree(folder / "harvests")
    (folder / "harvests.csv").write_text(f"{names},picked_on,container\n{cells},2026-05-01,C1\n", encoding="utf-8")
    refused = here("check", "--farm", folder)
    assert refused.code == 3
    assert "fresh_weight_g: the column is missing." in refused.err
