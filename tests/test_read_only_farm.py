"""A farm that cannot be written, as on a disc or a share: it answers from its ledger and says of when that is; without
one it answers all the same, and nothing of it stays.
"""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from conftest import write_table
from ledgers import THREE_TABLES, change_ledger, here, refreshed

from pipeline.cli.report_files import write_files
from pipeline.farm.folder import open_farm

Farm = Callable[..., Path]
MORE = THREE_TABLES["harvests"] + "\n2026-03-01,100,2"
YIELDS = ("yields", "--as-of", "2026-06-01", "--json", "--farm")


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """Nobody can write into this folder meanwhile: by its rights, or, where these hold for all but this user, by a
    mount.
    """
    before = sorted(folder.rglob("*"))
    folder.chmod(0o555)
    mounted = os.access(folder, os.W_OK)
    try:
        if mounted:
            try:
                subprocess.run(["mount", "--bind", folder, folder], check=True, capture_output=True)
                subprocess.run(["mount", "-o", "remount,ro,bind", folder], check=True, capture_output=True)
            except (OSError, subprocess.CalledProcessError):
                pytest.skip("nothing is read-only for this user")
        yield
        assert sorted(folder.rglob("*")) == before
    finally:
        if mounted:
            subprocess.run(["umount", folder], check=False, capture_output=True)
        folder.chmod(0o755)


def fresh_kg(out: list[dict[str, float]]) -> float:
    return sum(each["fresh_g"] for each in out) / 1000


def test_it_answers_from_the_ledger_that_is_there_and_says_of_when(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder, "2026-05-31T08:15:00+00:00")
    with read_only(folder):
        said = here(*YIELDS, folder)
        assert (said.code, said.err, fresh_kg(said.json)) == (0, "", 0.5)
    (folder / "harvests.csv").touch()
    os.utime(folder / "harvests.csv", (1, 1))
    of_when = "The farm folder cannot be written: these figures are from its ledger of 2026-05-31 08:15."
    with read_only(folder):
        said = here(*YIELDS, folder)
        assert (said.code, said.err, fresh_kg(said.json)) == (0, f"{of_when}\n", 0.5)
    write_table(folder, "harvests", MORE)
    (folder / "farm.toml").write_text("lapse_days = 30\n")
    (folder / "fillings.csv").rename(folder / "fillings.tsv")
    with read_only(folder):
        changed = (
            "farm.toml, fillings.tsv, harvests.csv and 1 more file changed since, and what changed is in no figure."
        )
        for words in (YIELDS, ("query", "select count(*) from harvests", "--farm"), ("history", "--farm")):
            said = here(*words, folder)
            assert (said.code, said.err.splitlines()[0]) == (0, f"{of_when} {changed}"), words
        assert fresh_kg(here(*YIELDS, folder).json) == 0.5


def test_without_a_ledger_it_answers_all_the_same_and_leaves_nothing(
    farm: Farm, monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory
) -> None:
    scratch = tmp_path_factory.mktemp("scratch")
    monkeypatch.setattr("tempfile.tempdir", str(scratch))
    folder = farm(**THREE_TABLES)
    with read_only(folder):
        said = here(*YIELDS, folder)
        anew = "The farm folder cannot be written, and it holds no ledger: the files were read for this answer alone."
        assert (said.code, said.err, fresh_kg(said.json)) == (0, f"{anew}\n", 0.5)
        assert list(scratch.iterdir()) == []
        said = here("check", "--farm", folder, "--as-of", "2026-06-01")
        assert (said.code, said.err.splitlines()[0]) == (0, anew)
        assert "The whole list is in no file: the farm folder cannot be written." in said.err


def test_a_report_goes_into_the_folder_that_one_is_in(
    farm: Farm, monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory
) -> None:
    here_now = tmp_path_factory.mktemp("here")
    monkeypatch.chdir(here_now)
    folder = farm(**THREE_TABLES)
    with read_only(folder):
        assert write_files(open_farm(folder), "report", {"html": b"a page"}) == {"html": here_now / "report.html"}
    assert (here_now / "report.html").read_text() == "a page"


def test_rows_of_a_file_that_is_gone_count_without_a_ledger_too(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    change_ledger(folder, "update meta set value = 'x' where key = 'contracts'")
    (folder / "harvests.csv").unlink()
    with read_only(folder):
        said = here(*YIELDS, folder)
        assert fresh_kg(said.json) == 0.5
        assert "its ledger cannot be used by this gillbook: the files were read for this answer alone." in said.err
        assert "harvests.csv: is gone" in said.err
        assert "its 2 last good rows still count" in said.err


def test_what_would_write_says_that_it_cannot(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    with read_only(folder):
        for words in (
            ("refresh",),
            ("weigh", 1, 300, "--on", "2026-02-09"),
            ("note", 1, "emptied", "--on", "2026-02-09"),
        ):
            said = here(*words, "--farm", folder)
            assert (said.code, said.out) == (3, "")
            assert "Is the farm folder read-only?" in said.err
