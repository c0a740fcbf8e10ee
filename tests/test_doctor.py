"""doctor says in ten lines how the farm stands, changes nothing, and gives nothing private away."""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Said
from ledgers import here, meanwhile

Farm = Callable[..., Path]
ABOUT = ["version", "clock", "encoding", "settings", "files", "copies", "entries", "ledger", "lock", "disk"]
TABLES = {
    "batches": "batch,inoculated_on,substrate_wet_kg,moisture_pct,strain\nSecretbatch,2026-01-01,10,70,Secretstrain",
    "fillings": "batch,container,fill_kg\nSecretbatch,Secretbucket,5",
    "harvests": "picked_on,fresh_weight_g,container,flush,picker,note,entry\n"
    "2026-02-01,31415,Secretbucket,1,Secretperson,Secretnote,\nfaulty,27182,Secretbucket,1,,,",
}
HOLD = """
from pathlib import Path
from pipeline.ledger.lock import locked
with locked(Path(sys.argv[1]), "2026-06-01T08:00:00+00:00"):"""


def lines(folder: Path) -> dict[str, str]:
    said = here("doctor", "--farm", folder)
    assert said.code == 0, said.err
    return dict(re.split(r"\s+", line, maxsplit=1) for line in said.out.splitlines())


def everything(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


@pytest.fixture
def folder(farm: Farm) -> Path:
    return farm('name = "Secretfarm"\ndate_order = "day_month_year"\n', **TABLES)


def test_ten_lines_follow_the_farm_and_change_nothing(folder: Path) -> None:
    before = everything(folder)
    new = lines(folder)
    assert list(new) == ABOUT
    assert everything(folder) == before
    assert new["files"] == "batches 1, fillings 1, harvests 1 (3 .csv); never read"
    assert new["copies"] == "0 of 3 files with a last good copy"
    assert new["ledger"] == "none yet: whatever reads it makes it"
    assert new["settings"] == "farm.toml reads well; not as usual: date_order and name"
    here("refresh", "--farm", folder)
    read = lines(folder)
    assert re.fullmatch(r".*; last read \d{4}-\d\d-\d\d \d\d:\d\d, none changed since", read["files"])
    assert read["copies"] == "3 of 3 files with a last good copy"
    assert re.fullmatch(
        r"[\d.]+ MB; agrees with the files; rows: 4 rows in, 3 loaded, 1 set aside, 0 waiting, 0 blank", read["ledger"]
    )
    assert read["lock"] == "nobody holds the ledger or the logbook"
    assert read["encoding"].endswith("; of 3 text files none not UTF-8")
    assert read["disk"].endswith("GB free; the farm folder can be written")


def test_what_is_odd_is_in_the_lines(folder: Path) -> None:
    here("refresh", "--farm", folder)
    here("weigh", "Secretbucket", "300", "--insist", "--farm", folder)
    logged = lines(folder)
    assert "1 changed since" in logged["files"]
    assert "behind the files or settings" in logged["ledger"]
    assert logged["entries"] == "1 entry can be taken back; none lost"
    assert "newest entry written" in logged["clock"]
    for path in (folder / "harvests").glob("*.csv"):
        path.write_text(path.read_text(encoding="utf-8").split("\n")[0] + "\n", encoding="utf-8")
    (folder / "fillings.csv").write_bytes(b"batch,container\n\xff,1\n")
    (folder / "batches.csv").rename(folder / "gone")
    here("refresh", "--farm", folder)
    odd = lines(folder)
    assert odd["entries"] == "1 entry can be taken back; 1 lost: gillbook lost"
    assert odd["copies"] == "3 of 3 files with a last good copy; 1 gone; 1 cannot be read"
    assert odd["encoding"].endswith("of 3 text files 1 not UTF-8")
    (folder / "ledger.duckdb").write_bytes(b"x")
    assert "not as the last refresh left it" in lines(folder)["ledger"]


def test_who_holds_a_lock_is_said(folder: Path) -> None:
    for what in ("ledger", "logbook"):
        with meanwhile(HOLD, folder / f"{what}.lock") as process:
            said = lines(folder)["lock"]
        assert said == f"the {what} is held by process {process} on this computer since 2026-06-01 08:00"
        assert lines(folder)["lock"] == "nobody holds the ledger or the logbook"
    with meanwhile(HOLD, folder / "ledger.lock"):
        noted = json.loads((folder / "ledger.lock").read_text(encoding="utf-8"))
        (folder / "ledger.lock").write_text(json.dumps({**noted, "machine": "Secretmachine"}), encoding="utf-8")
        assert "on another computer since" in lines(folder)["lock"]


def damaged(folder: Path, how: str) -> Said:
    (folder / "out").mkdir(exist_ok=True)
    (folder / "out" / "crash.txt").write_text("Secretfolder", encoding="utf-8")
    if how == "settings":
        (folder / "farm.toml").write_text('name = "Secretfarm\n', encoding="utf-8")
    elif how == "value":
        (folder / "farm.toml").write_text('date_order = "Secretorder"\n', encoding="utf-8")
    elif how == "link":
        (folder / "kept").symlink_to(folder.parent)
    elif how == "manifest":
        (folder / "ledger.manifest.json").write_text("[" * 900, encoding="utf-8")
    elif how == "journal":
        (folder / "logbook.undo.jsonl").write_text('{"at": "Secret"}\nnone\n', encoding="utf-8")
    return here("doctor", "--farm", folder)


@pytest.mark.parametrize("how", ["", "settings", "value", "link", "manifest", "journal"])
def test_nothing_private_is_given_away_of_a_farm_in_any_state(folder: Path, how: str) -> None:
    named = folder.rename(folder.with_name(f"Secretfolder{how}"))
    said = damaged(named, how)
    assert said.code == 0
    assert 8 <= len(said.out.splitlines()) <= 10 or how in ("settings", "value", "link")
    assert "Secret" not in said.out + said.err
    assert "31415" not in said.out + said.err
    assert str(Path.home()) not in said.out
    assert os.uname().nodename not in said.out + said.err
    assert "Send out/crash.txt too" in said.err
    assert shutil.rmtree(named) is None


def test_without_a_farm_the_lines_are_of_the_program(tmp_path: Path) -> None:
    said = here("doctor", "--farm", tmp_path)
    assert (said.code, "no farm here" in said.err) == (2, True)
    assert [line.split()[0] for line in said.out.splitlines()] == ["version", "clock", "encoding"]
    assert json.loads(here("doctor", "--json", "--farm", tmp_path).out)[0]["about"] == "version"
