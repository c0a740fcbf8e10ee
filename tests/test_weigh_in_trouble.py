"""An entry where the file is open or locked elsewhere, or the disk is full: a clear message, and nothing is lost."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Said, gillbook
from ledgers import here, meanwhile

Farm = Callable[..., Path]
BATCHES = "batch,inoculated_on\nA,2026-01-01"
FILLINGS = "batch,container\nA,7\nA,8"
FULL = b"picked_on,fresh_weight_g,container,batch,flush,entry\n"


def weigh(folder: Path, *words: object) -> Said:
    return here("weigh", *words, "--on", "2026-02-03", "--farm", folder)


def test_a_file_that_is_open_in_a_spreadsheet_is_asked_about(farm: Farm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    (folder / "harvests.csv").write_bytes(FULL)
    (folder / ".~lock.harvests.csv#").write_text("someone", encoding="utf-8")
    said = weigh(folder, "7", "412")
    assert said.code == 2
    assert "harvests.csv is open in a spreadsheet: when it is saved there, what is added now is lost" in said.err
    assert (folder / "harvests.csv").read_bytes() == FULL
    assert weigh(folder, "7", "412", "--insist").code == 0
    said = here("weigh", "--undo", "--farm", folder)
    assert (said.code, "is open in a spreadsheet. Nothing was removed." in said.err) == (3, True)


def test_entries_that_another_program_saved_over_are_told_once(farm: Farm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    file = folder / "harvests.csv"
    file.write_bytes(FULL)
    weigh(folder, "7", "410")
    opened_then = file.read_bytes()
    weigh(folder, "8", "411")
    file.write_bytes(opened_then)  # as a spreadsheet that had it open saves it
    said = weigh(folder, "7", "412")
    assert (said.code, said.err) == (
        0,
        "1 entry that gillbook wrote is in no file any more: 8, 2026-02-03: 411 g (harvests.csv). Did another program "
        "save over it? Put back: gillbook lost --put-back. Meant to be gone: gillbook lost --meant\n",
    )
    assert weigh(folder, "8", "413").err == ""


@pytest.mark.parametrize("lock", ["flock", "lockf"])
def test_a_file_that_another_program_locked_is_left_alone(farm: Farm, lock: str) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    file = folder / "harvests.csv"
    file.write_bytes(FULL)
    holds = f"import fcntl\nwith open(sys.argv[1], 'r+b') as held:\n    fcntl.{lock}(held, fcntl.LOCK_EX)"
    with meanwhile(holds, file):
        said = weigh(folder, "7", "412")
    message = "harvests.csv is locked by another program. Nothing was written. Close it there and try again.\n"
    assert (said.code, said.out, said.err) == (3, "", message)
    assert file.read_bytes() == FULL
    assert weigh(folder, "7", "412").code == 0


def test_who_writes_at_the_same_time_is_waited_for_and_then_named(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    holds = """from pathlib import Path
from pipeline.ledger.lock import locked
with locked(Path(sys.argv[1]) / "logbook.lock", "2026-06-01T07:00:00+00:00"):"""
    monkeypatch.setattr("pipeline.logbook.append.PATIENCE_S", 0.1)
    with meanwhile(holds, folder) as pid:
        said = weigh(folder, "7", "412")
    assert (said.code, said.out) == (3, "")
    assert said.err.startswith(f"The logbook is locked by process {pid} on ")
    assert said.err.endswith(" since 2026-06-01T07:00:00+00:00. Try again when it is done.\n")


@pytest.mark.parametrize("room", [0, 10])
def test_a_full_disk_is_told_and_the_file_is_as_it_was(farm: Farm, room: int) -> None:
    """RLIMIT_FSIZE stands in for the disk; a row that fits only in part is taken out again."""
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    before = FULL + b"2026-02-01,300,7,A,1,x\n" * 40
    (folder / "harvests.csv").write_bytes(before)
    limit = len(before) + room
    code = (
        "import resource, sys; from pipeline.cli import run; "
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit})); run()"
    )
    words = ["weigh", "7", "412", "--on", "2026-02-03", "--farm", str(folder)]
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr.startswith("harvests.csv could not be written (")
    assert "Nothing was written, and the file is as it was. Make room" in done.stderr
    assert (folder / "harvests.csv").read_bytes() == before
    assert weigh(folder, "7", "412").code == 0


def test_a_new_file_on_a_full_disk_is_not_there_at_all(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = shutil.which("mount")
    given = [str(mount), "-t", "tmpfs", "-o", "size=64k", "gillbook-test", str(disk)]
    if mount is None or subprocess.run(given, capture_output=True, check=False).returncode:
        pytest.skip("only root may mount a small disk")
    try:
        for name, text in (("batches", BATCHES), ("fillings", FILLINGS)):
            lines = text.replace(
                "inoculated_on\nA,2026-01-01", "inoculated_on,strain,substrate\nA,2026-01-01,grey,straw"
            )
            (disk / f"{name}.csv").write_text(lines + "\n", encoding="utf-8")
        (disk / "harvests").mkdir()
        with (disk / "filler").open("wb") as out:
            free = os.statvfs(disk)
            os.posix_fallocate(out.fileno(), 0, free.f_bavail * free.f_frsize)
        said = gillbook("weigh", "7", "412", "--on", "2026-02-03", "--farm", disk)
        assert (said.code, said.out) == (3, "")
        assert said.err.startswith("harvests/2026-02.csv could not be written (No space left on device).")
        assert list((disk / "harvests").iterdir()) == []
        (disk / "filler").unlink()
        assert gillbook("weigh", "7", "412", "--on", "2026-02-03", "--farm", disk).code == 0
        assert len((disk / "harvests/2026-02.csv").read_text(encoding="utf-8").splitlines()) == 2
    finally:
        subprocess.run(["umount", str(disk)], check=True)
