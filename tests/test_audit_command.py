"""`gillbook check --deep`: what it says, what it keeps, and that nothing else is said, loaded, written or sent."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from audits import AS_OF, DAY, audited, change_unseen, sound_farm
from conftest import Said
from ledgers import BATCHES, FILLINGS, HARVESTS, here, refreshed

from pipeline.audit.saved import last
from schemas.contract import contract

MakeFarm = Callable[..., Path]


@pytest.fixture
def sound(tmp_path: Path) -> Path:
    folder = sound_farm(tmp_path)
    refreshed(folder)
    return folder


def test_rows_set_aside_still_make_the_check_end_with_1(farm: MakeFarm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS, harvests=f"{HARVESTS}\n2026-02-07,-5,1")
    said = here("check", "--deep", *DAY, "--farm", folder)
    assert said.code == 1
    assert "0 errors" in said.out


def test_what_the_screen_has_told_is_not_told_twice(farm: MakeFarm) -> None:
    folder = farm(batches=BATCHES.replace(",70", ",30"), fillings=FILLINGS)
    plain, deep = here("check", *DAY, "--farm", folder), here("check", "--deep", *DAY, "--farm", folder)
    assert plain.code == deep.code == 0
    assert plain.out.count('"30" is below 40') == deep.out.count('"30" is below 40') == 1
    assert "Of the warnings, 1 row had been found in reading: the two agree." in deep.out
    kept = last(folder / "out")
    assert kept is not None
    found = [each for each in kept.outcomes if each.table == "batches" and each.failed]
    assert [(each.column, each.rule, each.faulty, each.already_reported) for each in found] == [
        ("moisture_pct", "minimum", 1, 1)
    ]
    # What the screen has warned of as it was read is no excuse for what stands in the ledger now.
    change_unseen(folder, "update batches set moisture_pct = -5")
    said = here("check", "--deep", *DAY, "--farm", folder)
    assert said.code == 1
    assert 'batches.csv, row 2, moisture_pct: "-5" is below 0.' in said.out


def test_json_is_the_findings_of_the_check_and_then_those_of_the_audit(sound: Path) -> None:
    change_unseen(sound, "update stage_fillings set volume_l = -5 where container = '2'")
    plain, deep = (here("check", *words, *DAY, "--json", "--farm", sound).json for words in ([], ["--deep"]))
    assert plain == deep[: len(plain)] != []
    errors = [each for each in deep if each["level"] == "error"]
    assert [(each["file"], each["row"], each["column"], each["rule"], each["value"]) for each in errors] == [
        ("fillings.csv", 3, "volume_l", "exclusiveMinimum", "-5")
    ]
    assert all(each.keys() == plain[0].keys() for each in deep)
    assert {each["level"] for each in deep[len(plain) :]} == {"error", "notice"}


def test_the_kept_result_is_the_whole_audit_and_of_its_contract(sound: Path) -> None:
    assert here("check", "--deep", *DAY, "--farm", sound).code == 0
    kept = json.loads((sound / "out" / "audit.json").read_text(encoding="utf-8"))
    assert list(kept) == ["ledger_id", "run_on", "as_of", "expectations"]
    assert kept["ledger_id"] == json.loads((sound / "ledger.manifest.json").read_text(encoding="utf-8"))["ledger_id"]
    assert (kept["run_on"], kept["as_of"]) == (date.today().isoformat(), AS_OF.isoformat())
    table = contract("expectations")
    types = {"string": str, "integer": int, "number": (int, float), "boolean": bool, "array": list}
    for record in kept["expectations"]:
        assert tuple(record) == table.names
        assert all(
            record[each.name] is None or isinstance(record[each.name], types[each.type]) for each in table.fields
        )
        assert record["severity"] in table.field("severity").words
    assert not (sound / "out" / "audit.json.new").exists()
    read = last(sound / "out")
    assert read is not None
    assert replace(read, run_on=AS_OF) == replace(audited(sound), run_on=AS_OF), "it is read as it was found"


@pytest.mark.parametrize("text", ["", "{", "[]", '{"ledger_id": "x"}', '{"run_on": "1", "expectations": []}'])
def test_a_kept_result_that_cannot_be_read_is_none(tmp_path: Path, text: str) -> None:
    assert last(tmp_path) is None
    (tmp_path / "audit.json").write_text(text, encoding="utf-8")
    assert last(tmp_path) is None


def test_a_result_that_cannot_be_kept_is_shown_all_the_same(sound: Path) -> None:
    whole = here("check", "--deep", *DAY, "--farm", sound)
    (sound / "out").rename(sound / "elsewhere")
    (sound / "out").write_text("in the way", encoding="utf-8")
    said = here("check", "--deep", *DAY, "--farm", sound)
    assert said.code == 3
    assert "The audit is not in out/audit.json. out is a file, and a folder of that name is wanted." in said.err
    where = "  Each of them, with its source, is in out/audit.json.\n"
    assert where in whole.out
    assert said.out == whole.out.replace(where, "")


# Every way to reach another machine is noted and refused; at the end the libraries that were loaded are noted too.
# (A bind is let be: one library tries by it whether the machine speaks IPv6, and nothing leaves by it.)
GUARD = """
import atexit, socket, sys
def note(text):
    with open({log!r}, "a") as log:
        print(text, file=log)
def refuse(*args, **kwargs):
    note("reached " + repr(args))
    raise OSError("no network here")
for name in ("connect", "connect_ex", "sendto", "sendmsg"):
    setattr(socket.socket, name, refuse)
socket.getaddrinfo = socket.create_connection = socket.gethostbyname = refuse
heavy = ("great_expectations", "pandas", "tqdm")
atexit.register(lambda: [note("loaded " + name) for name in heavy if name in sys.modules])
"""


def guarded(folder: Path, code: str, *words: object) -> tuple[Said, list[str]]:
    """What a program says with no way to any network, as a user with an empty home; and what the guard noted."""
    home, log = folder.parent / "home", folder.parent / "noted.txt"
    home.mkdir(exist_ok=True)
    log.unlink(missing_ok=True)
    own = {"PYTHONWARNINGS": "error", "HOME": str(home), "TMPDIR": str(home), "GX_ANALYTICS_ENABLED": "True"}
    done = subprocess.run(
        [sys.executable, "-c", GUARD.format(log=str(log)) + code, *map(str, words)],
        env={**os.environ, **own},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert list(home.iterdir()) == []
    noted = log.read_text(encoding="utf-8").splitlines() if log.exists() else []
    return Said(done.stdout, done.stderr, done.returncode), noted


PROGRAM = "from pipeline.cli import run; run()"


def test_nothing_is_sent_or_written_elsewhere_or_said_beside_the_result(tmp_path: Path) -> None:
    (tmp_path / "farm").mkdir()
    folder = sound_farm(tmp_path / "farm")
    plain, of_plain = guarded(folder, PROGRAM, "check", *DAY, "--farm", folder)
    deep, of_deep = guarded(folder, PROGRAM, "check", "--deep", *DAY, "--farm", folder)
    assert (plain.code, plain.err, of_plain) == (0, "", []), "without --deep the engine is not even loaded"
    assert (deep.code, deep.err) == (0, ""), "no progress, warning or log line"
    assert "loaded great_expectations" in of_deep
    assert [note for note in of_deep if note.startswith("reached")] == []
    lines = deep.out.splitlines()
    assert lines[-3] == "The audit (Great Expectations, over the loaded ledger, as of 2026-06-30):"
    assert all(len(line) <= 80 for line in lines[-3:])
    written = {path.name for path in folder.iterdir()} | {path.name for path in (folder / "out").iterdir()}
    tables = {"farm.toml", "batches.csv", "fillings.csv", "harvests.csv", "observations.csv"}
    ledger = {name for name in written if name.startswith("ledger.")} | {"kept"}
    assert written - tables - ledger == {"out", "audit.json", "findings.csv", "set_aside.csv"}


def test_the_guard_would_notice_a_way_out(tmp_path: Path) -> None:
    (tmp_path / "farm").mkdir()
    tried = "import urllib.request; urllib.request.urlopen('http://localhost:9/')"
    said, noted = guarded(tmp_path / "farm", tried)
    assert "no network here" in said.err
    assert noted[0].startswith("reached")


def test_help_does_not_wait_for_the_engine(tmp_path: Path) -> None:
    said, noted = guarded(tmp_path / "farm", PROGRAM, "check", "--help")
    assert "--deep" in said.out
    assert noted == []
