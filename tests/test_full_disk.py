"""A disk that fills up at any point of a refresh, or may only be read: said, nothing half written, mended by room."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from conftest import write_table
from ledgers import THREE_TABLES, child, here, refreshed, tables

from pipeline.farm.folder import open_farm
from pipeline.ledger.history import read_history

Farm = Callable[..., Path]
# A harvest file of about 1 MB, so that its copy may be what fills the disk.
HEADER = "picked_on,fresh_weight_g,container,note"
LONG = "\n".join([HEADER, *(f"2026-02-01,{300 + at / 1000},1,{'x' * 960}" for at in range(1000))])
PAGE = 4096


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A folder on a disk of its own of 40 MB, where root may mount one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = shutil.which("mount")
    given = [str(mount), "-t", "tmpfs", "-o", "size=40m", "gillbook-test", str(disk)]
    if mount is None or subprocess.run(given, capture_output=True, check=False).returncode:
        pytest.skip("only root may mount a small disk; elsewhere RLIMIT_FSIZE stands in for it: see below")
    try:
        yield disk
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def fill(disk: Path, but: int) -> Path:
    """Fills the disk but for so many bytes."""
    filler = disk / "filler"
    free = os.statvfs(disk)
    with filler.open("wb") as out:
        os.posix_fallocate(out.fileno(), 0, free.f_bavail * free.f_frsize - but)
    return filler


def copies(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in (folder / "kept/files").rglob("*.csv")}


def nothing_half_written(folder: Path, before: dict[str, bytes]) -> None:
    for name, content in copies(folder).items():
        assert content in (before.get(name), (folder / name).read_bytes())
    assert read_history(open_farm(folder)).torn == []
    assert not [*folder.glob("ledger.next*"), *folder.glob("kept/drafts/*"), *folder.glob("*.new")]


def test_wherever_the_disk_fills_up_the_ledger_stays_and_room_mends_it(small_disk: Path) -> None:
    folder = small_disk / "farm"
    folder.mkdir()
    (folder / "farm.toml").touch()
    for table, text in THREE_TABLES.items():
        write_table(folder, table, text)
    refreshed(folder)
    ledger = folder / "ledger.duckdb"
    before, kept = ledger.read_bytes(), copies(folder)
    write_table(folder, "harvests", LONG)
    size = ledger.stat().st_size
    # Full at the copy, at the ledger's copy, and, once the file has its copy, while the draft grows and where it is
    # noted, until there is room for all.
    told, full = set(), 0
    for room in (0, 2 * PAGE, 1_200_000, *range(size // 2, 20_000_000, size // 12)):
        filler = fill(small_disk, room)
        said = here("yields", "--farm", folder)
        filler.unlink()
        if said.code == 0:
            break
        full += 1
        assert (said.code, said.out) == (3, ""), room
        assert said.err.endswith("It is as it was.\n")
        told.add(said.err.split("(")[0].split(":")[0].strip())
        assert ledger.read_bytes() == before
        nothing_half_written(folder, kept)
    assert told <= {"The ledger could not be written"}
    assert said.code == 0
    assert full >= 5
    found = tables(folder)
    ledger.unlink()
    refreshed(folder)
    assert tables(folder) == found


@pytest.mark.parametrize("kept", [0, 500_000])
def test_a_file_that_cannot_grow_is_told_and_the_ledger_stays(farm: Farm, kept: int) -> None:
    pytest.importorskip("resource", reason="only POSIX can set a limit that stands in for a full disk")
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    before, old = (folder / "ledger.duckdb").read_bytes(), copies(folder)
    write_table(folder, "harvests", LONG)
    full = f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({kept}, {kept}))"
    done = child(f"{full}; from pipeline.cli import run; run()", "refresh", "--farm", folder)
    out, err = done.communicate()
    assert (done.returncode, out) == (3, "")
    assert err.startswith("The ledger could not be written (")
    assert err.endswith("It is as it was.\n")
    assert (folder / "ledger.duckdb").read_bytes() == before
    nothing_half_written(folder, old)


@pytest.mark.parametrize("hindrance", ["kept/history.jsonl", "ledger.manifest.json.new"])
def test_what_cannot_be_noted_is_told_and_made_good_next_time(farm: Farm, hindrance: str) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    write_table(folder, "harvests", "picked_on,fresh_weight_g,container\n2026-02-01,300,1")
    if (folder / hindrance).exists():
        (folder / hindrance).rename(folder / "aside")
    (folder / hindrance).mkdir()
    said = here("refresh", "--farm", folder)
    assert (said.code, said.out) == (3, "")
    assert said.err.startswith("The ledger agrees with the files, but that could not be noted (")
    (folder / hindrance).rmdir()
    if (folder / "aside").exists():
        (folder / "aside").rename(folder / hindrance)
    assert refreshed(folder).changed == []
    assert [each["event"] for each in read_history(open_farm(folder)).records] == ["new", "new", "new", "edited"]
    assert refreshed(folder).messages == []


def test_a_disk_that_may_only_be_read_still_tells_figures_until_there_is_something_to_write(small_disk: Path) -> None:
    folder = small_disk / "farm"
    folder.mkdir()
    (folder / "farm.toml").touch()
    for table, text in THREE_TABLES.items():
        write_table(folder, table, text)
    refreshed(folder)
    before = (folder / "ledger.duckdb").read_bytes()

    def only_read(yes: bool) -> None:
        subprocess.run(["mount", "-o", f"remount,{'ro' if yes else 'rw'}", str(small_disk)], check=True)

    only_read(True)
    assert here("yields", "--farm", folder).code == 0
    only_read(False)
    write_table(folder, "harvests", LONG)
    only_read(True)
    said = here("refresh", "--farm", folder)
    assert (said.code, said.out) == (3, "")
    assert said.err.endswith("). Is the farm folder read-only?\n")
    assert "these figures are from its ledger of" in here("yields", "--farm", folder).err
    only_read(False)
    assert (folder / "ledger.duckdb").read_bytes() == before
