"""Odd input gets a plain message, soon: bytes that are no text, deep or endless files, a million errors that are alike,
letters that nobody sees.
"""

from __future__ import annotations

import csv
import errno
import os
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from conftest import Said, gillbook
from ledgers import here

from schemas.finding import Finding

Farm = Callable[..., Path]
TABLES = {
    "batches": "batch,inoculated_on,substrate_wet_kg\nA,2026-01-01,10",
    "fillings": "batch,container,fill_kg\nA,1,5",
    "harvests": "picked_on,fresh_weight_g,container\n2026-02-01,400,1",
}
# So long each may take here, where the machine is busy; before, each took minutes or never ended.
SOON_S = 5.0


def soon(*words: object) -> Said:
    began = time.perf_counter()
    said = here(*words)
    assert time.perf_counter() - began < SOON_S
    assert "Traceback" not in said.err
    assert "mistake" not in said.err
    return said


@pytest.fixture(autouse=True)
def no_crash(tmp_path: Path) -> Iterator[None]:
    yield
    assert not (tmp_path / "out" / "crash.txt").exists()


@pytest.mark.parametrize("words", [("weigh", "1\udcff", "412"), ("yields", "--by", "\udc80"), ("demo", "x\udcfe")])
def test_bytes_that_are_no_text_are_refused(farm: Farm, words: tuple[str, ...]) -> None:
    said = soon(*words, "--farm", farm(**TABLES))
    assert (said.code, said.out) == (2, "")
    assert "\\x" in said.err
    assert said.err.endswith(": this holds bytes that are no text (UTF-8). Type it anew, letter by letter.\n")


def test_a_line_of_bytes_that_are_no_text_is_not_logged_and_the_others_are(farm: Farm) -> None:
    folder = farm(**TABLES)
    import subprocess

    given = [sys.executable, "-c", "from pipeline.cli import run; run()", "weigh", "--on", "2026-02-03", "--farm"]
    lines = b"1 412\n1 \xff\xfe\n1 390\n"
    done = subprocess.run([*given, str(folder)], input=lines, capture_output=True, timeout=60, check=False)
    assert done.returncode == 2
    assert b"line 2: not logged: 1 \\xff\\xfe: this holds bytes that are no text (UTF-8)." in done.stderr
    assert done.stdout.count(b" g, flush") == 2


DEEP = 100_000
OF_FARM_TOML = {
    "deep lists": ("name = " + "[" * DEEP, "has lists or parts within each other, too deep to read"),
    "a key of dots": (".".join("a" * DEEP) + " = 1", "line 1: no key has more than 100 parts"),
    "a part of dots": (f"name = 'x'\n[{'.'.join('a' * DEEP)}]", "line 2: no key has more than 100 parts"),
    "digits": ("lapse_days = " + "9" * 6000, "holds a number of more digits than any has"),
}


@pytest.mark.parametrize("name", OF_FARM_TOML)
def test_a_farm_toml_without_end_is_refused_soon(farm: Farm, name: str) -> None:
    text, message = OF_FARM_TOML[name]
    said = soon("yields", "--farm", farm(text, **TABLES))
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith("farm.toml")
    assert message in said.err


def test_points_in_texts_and_comments_are_no_parts_of_a_key(farm: Farm) -> None:
    folder = farm(f'# {"." * 200}\nname = "{"." * 200}"  # {"." * 200}\n', **TABLES)
    assert here("yields", "--farm", folder).code == 0


OWN = ["ledger.manifest.json", "kept/written.json", "kept/history.jsonl", "ledger.lock", "logbook.undo.jsonl"]


def test_notes_of_gillbooks_own_that_are_nested_without_end_are_made_anew(farm: Farm) -> None:
    folder = farm(**TABLES)
    assert here("refresh", "--farm", folder).code == 0
    for text in ("[" * DEEP, '{"levels": ' + "9" * 6000 + "}"):
        for name in OWN:
            (folder / name).write_text(text, encoding="utf-8")
        assert soon("refresh", "--farm", folder).code == 0
        assert soon("weigh", "1", "300", "--on", "2026-02-03", "--insist", "--farm", folder).code == 0


NINES = "9" * 6000


@pytest.mark.parametrize(
    "words",
    [
        ("weigh", "1", NINES),
        ("weigh", "1", "412", "--flush", NINES),
        ("weigh", "1", "412", "--on", NINES),
        ("note", f"1-{NINES}", "pins"),
        ("note", "--batch", "A", "pins", "--count", NINES),
        ("fill", "--batch", "A", f"1-{NINES}"),
        ("batch", "--like", "A", "--wet", NINES),
        ("batch", "--like", "A", "--batches", NINES),
        ("mix", "dry", "--sample-wet", NINES, "--sample-dry", "1"),
        ("settings", "lapse_days", NINES),
        ("edit", "--file", "harvests.csv", "--row", NINES),
        ("outlook", "--weeks", NINES),
        ("yields", "--as-of", NINES),
    ],
    ids=lambda words: " ".join(words)[:40],
)
def test_numbers_of_6000_digits_are_refused(farm: Farm, words: tuple[str, ...]) -> None:
    said = soon(*words, "--farm", farm(**TABLES))
    assert (said.code, said.out) == (2, ""), said.err
    assert len(said.err) > 20


def test_cells_of_6000_digits_are_findings(farm: Farm) -> None:
    folder = farm(
        "decimal_mark = ','",
        batches=f"batch,inoculated_on,substrate_wet_kg,drain_h\nA,2026-01-01,10,{NINES}",
        fillings="batch,container,fill_kg\nA,1,5",
        harvests=f"picked_on,fresh_weight_g,container,flush\n2026-02-01,{NINES},1,{NINES}",
    )
    assert soon("check", "--farm", folder).code == 1
    assert soon("weigh", "1", "300", "--on", "2026-02-03", "--farm", folder).code == 0


def test_a_header_of_100000_columns_is_refused_soon(farm: Farm) -> None:
    folder = farm(**TABLES)
    wide = ",".join(f"c{at}" for at in range(DEEP))
    (folder / "harvests.csv").write_text(f"picked_on,fresh_weight_g,container,{wide}\n2026-02-01,400,1\n")
    said = soon("check", "--farm", folder)
    assert said.code == 3
    assert (
        "harvests.csv, row 1: has 100,003 columns, 100,003 of them with a heading. At most 1,000 headings" in said.err
    )
    # What spreadsheets leave behind is no heading.
    (folder / "harvests.csv").write_text(f"picked_on,fresh_weight_g,container{',' * 1200}\n2026-02-01,400,1\n")
    assert soon("check", "--farm", folder).code == 0


def test_errors_that_are_alike_are_listed_by_the_first_ten(farm: Farm) -> None:
    many = 3000
    folder = farm(**TABLES)
    faulty = ["2026-02-01,x4o0,1", "2026-02-01,400,99", "2026-02-01,401,1"]
    lines = "".join(f"{each},{at}\n" for each in faulty for at in range(many))
    (folder / "harvests.csv").write_text(f"picked_on,fresh_weight_g,container,note\n{lines}", encoding="utf-8")
    said = soon("check", "--farm", folder)
    assert said.code == 1
    assert f"Set aside: these rows stay in their files and are in no figure. ({2 * many})" in said.out
    assert f"... and {many - 3} more of this kind; see out/findings.csv" in said.out
    for name in ("findings.csv", "set_aside.csv"):
        path = folder / "out" / name
        assert path.stat().st_size < 1_000_000
        with path.open(encoding="utf-8", newline="") as text:
            listed = [each for each in csv.DictReader(text) if each["level"] == "set_aside"]
        assert [each["like_it"] for each in listed if each["like_it"] != "0"] == [str(many - 10)] * 2
        assert len(listed) == 20
    counts: Counter[tuple[str, str]] = Counter()
    for each in here("check", "--json", "--farm", folder).json:
        counts[each["level"], each["rule"]] += 1 + each["like_it"]
    assert counts["set_aside", "number"] == counts["set_aside", "unknown_place"] == many
    assert counts["warning", "same_weight_twice"] == many


def test_how_many_are_like_it_stands_in_the_sentence() -> None:
    found = Finding(
        "harvests", "h.csv", 2, "flush", "integer", "dropped", "x", "is wrong", "", "Mend it.", like_it=999_990
    )
    assert found.sentence() == 'h.csv, row 2, flush: "x" is wrong. Mend it. And 999,990 like it.'


def test_letters_that_nobody_sees_are_shown_and_offered_to_be_taken_off(farm: Farm) -> None:
    folder = farm(
        **{**TABLES, "harvests": "picked_on,fresh_weight_g,container\n2026-02-01,400\u200b,1\n2026-02-02,400,1\u200b"}
    )
    said = here("check", "--farm", folder)
    assert said.code == 1
    assert '"400<U+200B>" is not a number' in said.out
    assert 'It holds a sign that nobody sees: take it off, and it is "400".' in said.out
    said = here("weigh", "1\u200b", "300", "--on", "2026-02-03", "--farm", folder)
    assert said.code == 2
    assert "container 1<U+200B> is not in fillings.csv" in said.err
    assert "Did you mean 1, without the sign that nobody sees?" in said.err
    (folder / "fillings.csv").write_text("batch,container,fill_kg\nA,1\u200b,5\n", encoding="utf-8")
    said = here("check", "--farm", folder)
    assert 'fillings.csv, row 2, container: "1<U+200B>" is not the name that it looks like.' in said.out
    assert 'take it off, and it is "1".' in said.out
    said = here("weigh", "1", "300", "--on", "2026-02-03", "--farm", folder)
    assert "Did you mean 1<U+200B>, which stands there with a sign that nobody sees?" in said.err


def test_a_folder_whose_name_is_no_text_is_refused(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = farm(**TABLES) / "farm\udcff"
    folder.mkdir()
    (folder / "farm.toml").touch()
    monkeypatch.chdir(folder)
    said = soon("yields")
    assert (said.code, said.out) == (2, "")
    assert said.err.endswith("farm\\xff: this holds bytes that are no text (UTF-8). Give that folder another name.\n")


def test_a_sheet_of_100000_columns_is_no_farm_to_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    wide = ",".join(f"c{at}" for at in range(DEEP))
    Path("log.csv").write_text(f"Date,Weight g,Bucket,{wide}\n2026-02-01,400,1\n", encoding="utf-8")
    said = soon("init", "--from", "log.csv", "new", "--yes")
    assert said.code == 3
    assert "log.csv, row 1: has 100,003 columns" in said.err


def test_a_folder_that_cannot_be_looked_into_is_named(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = farm(**TABLES)
    (folder / "harvests").mkdir()
    looked = os.scandir

    def refused(path: str) -> object:
        if Path(path).name == "harvests":
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return looked(path)

    monkeypatch.setattr(os, "scandir", refused)
    for words in (("check",), ("weigh", "1", "300"), ("today",), ("settings",)):
        said = soon(*words, "--farm", folder)
        assert (said.code, said.out) == (3, "") or words == ("settings",), said.err
        assert words == ("settings",) or said.err == (
            "harvests cannot be looked into (Permission denied). Mend the rights of that folder.\n"
        )


def test_a_demo_that_finds_no_room_says_that_its_folder_is_not_whole(tmp_path: Path) -> None:
    resource = pytest.importorskip("resource", reason="only POSIX can set a limit that stands in for a full disk")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (5000, hard))
    try:
        said = here("demo", tmp_path / "demo")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert said.code == 3
    assert said.err.startswith("The demo farm could not be written (File too large). What is in ")
    assert "is not whole: delete it" in said.err


@pytest.mark.parametrize("zone", ["Nowhere/At-All", "XXX9999999999", "A" * 5000])
def test_an_odd_time_zone_is_no_mistake(farm: Farm, zone: str) -> None:
    said = gillbook("weigh", "1", "300", "--on", "2026-02-03", "--farm", farm(**TABLES), env={"TZ": zone})
    assert said.code in (0, 3)
    assert "mistake" not in said.err
    assert "Traceback" not in said.err
