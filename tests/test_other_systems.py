"""What other operating systems refuse, refused here: entries, the store and the ledger are written all the same."""

from __future__ import annotations

import errno
import fcntl
import os
import stat
from pathlib import Path

import pytest
from ledgers import here
from open_farms import pickings, small_farm

from pipeline.farm.folder import open_farm
from pipeline.logbook.stored import load_summaries, save_summaries
from pipeline.logbook.summaries import current_summaries


@pytest.fixture
def forced(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Files that are forced to disk; one that is open for reading alone cannot be, as on Windows (FlushFileBuffers)."""
    sync, done = os.fsync, []

    def fsync(handle: int) -> None:
        flags = fcntl.fcntl(handle, fcntl.F_GETFL) & os.O_ACCMODE
        if flags == os.O_RDONLY and not stat.S_ISDIR(os.fstat(handle).st_mode):
            raise OSError(errno.EBADF, "Bad file descriptor")
        done.append(handle)
        sync(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    return done


def test_all_is_written_where_a_file_is_forced_to_disk_by_its_writer_alone(tmp_path: Path, forced: list[int]) -> None:
    folder = small_farm(tmp_path)
    assert here("weigh", "3", "301", "--farm", folder).code == 0
    (entry,) = [row["entry"] for row in pickings(folder) if row["container"] == "3"]
    assert here("edit", entry, "--set", "weight=302", "--yes", "--farm", folder).code == 0
    assert here("weigh", "3", "303", "--insist", "--farm", folder).code == 0
    assert here("weigh", "--undo", "--farm", folder).code == 0
    assert here("yields", "--farm", folder).code == 0
    assert [row["fresh_weight_g"] for row in pickings(folder) if row["container"] == "3"] == ["302"]
    assert len(forced) > 5


def test_the_store_is_saved_there_too(tmp_path: Path, forced: list[int]) -> None:
    farm = open_farm(small_farm(tmp_path))
    assert save_summaries(farm, current_summaries(farm, {})[0])
    assert load_summaries(farm).keys() == current_summaries(farm, {})[0].keys()
    assert forced
