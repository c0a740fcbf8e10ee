"""Files that vanish or break keep their last good rows: said by every command, until they are mended or restored."""

from __future__ import annotations

import os
import re
import shutil
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import write_table
from ledgers import BATCHES, FILLINGS, HARVESTS, THREE_TABLES, child, here, meanwhile, refreshed, rows

from pipeline.farm.folder import open_farm
from pipeline.ledger.backups import copy_path
from schemas.finding import UnreadableFile

Farm = Callable[..., Path]
HEADER, FIRST, SECOND = HARVESTS.split("\n")
GONE = (
    "harvests.csv: is gone, and none of its 2 rows stands in another file; its 2 last good rows still count. "
    "Put it back, or give it up: gillbook forget harvests.csv"
)
# What a file may hold that cannot be read, and the reason that is told.
UNREADABLE = {
    "emptied": (b"", r"harvests\.csv: is empty\. Put a header line in it: .+"),
    "not UTF-8": (HARVESTS.encode() + b"\n\xfc", r"harvests\.csv, row 4: is not UTF-8 text .+"),
    "a quotation mark never closed": (
        f'{HARVESTS}\n2026-02-08,"5,1\n'.encode(),
        r"harvests\.csv, row 4: has a quotation mark that opens a cell and never closes\. .+",
    ),
    "another table's header": (
        BATCHES.encode(),
        r"harvests\.csv, row 1, picked_on: the column is missing\. .+ harvests\.csv, row 1, fresh_weight_g: .+",
    ),
    "cut off within a row": (
        f"{HEADER}\n{FIRST}\n2026-02-06,2".encode(),
        r"harvests\.csv, row 3: ends within this row, where it went on when last read\. Write it whole again; .+",
    ),
    "cut off within a row of an edited file": (
        f"{HEADER}\n2026-02-01,30,1\n2026-02-06,2".encode(),
        r"harvests\.csv, row 3: ends within this row, where it went on when last read\. Write it whole again; .+",
    ),
    "cut off within its first row": (
        f"{HEADER}\n2026-02".encode(),
        r"harvests\.csv, row 2: ends within this row, .+",
    ),
}


def fresh(folder: Path) -> int:
    """How many grams do all pickings weigh?"""
    ((grams,),) = rows(folder, "select sum(fresh_weight_g)::integer from harvests")
    assert isinstance(grams, int)
    return grams


def statuses(folder: Path) -> dict[object, object]:
    return dict(rows(folder, "select file, status from files"))


def kept(folder: Path, file: str = "harvests.csv") -> bytes:
    return copy_path(open_farm(folder), ("harvests", file)).read_bytes()


def test_a_vanished_file_keeps_its_rows_and_every_command_says_so_until_it_is_back(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    content = (folder / "harvests.csv").read_bytes()
    (folder / "harvests.csv").unlink()
    for command in ("refresh", "yields", "yields", "history", "query"):  # from the second on nothing has changed
        said = here(command, *(["select 1"] if command == "query" else []), "--farm", folder)
        assert (said.code, said.err.count(GONE)) == (0, 1)
    assert (fresh(folder), statuses(folder)["harvests.csv"]) == (500, "vanished")
    listed = [each for each in here("check", "--json", "--farm", folder).json if each["rule"] == "vanished"]
    assert [(each["file"], each["level"], each["row"]) for each in listed] == [("harvests.csv", "warning", None)]
    said = here("check", "--as-of", "2026-02-10", "--farm", folder)
    assert (said.code, f"  {GONE}\n" in said.out) == (0, True)
    (folder / "harvests.csv").write_bytes(content)
    assert refreshed(folder).messages == ["harvests.csv is back."]
    assert refreshed(folder).messages == []
    assert set(statuses(folder).values()) == {"present"}


def test_a_file_that_is_gone_is_told_without_opening_duckdb(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    (folder / "harvests").mkdir()
    for path in [*folder.glob("*.csv")]:
        os.utime(path, (1_700_000_000, 1_700_000_000))
    refreshed(folder)
    (folder / "harvests.csv").unlink()
    here("refresh", "--farm", folder)
    told = "import atexit, sys; atexit.register(lambda: print(sorted({'duckdb', 'polars'} & set(sys.modules))))"
    done = child(f"{told}; from pipeline.cli import run; run()", "refresh", "--farm", folder)
    out, err = done.communicate()
    assert (out.splitlines()[-1], err.splitlines()[0]) == ("[]", GONE)


@pytest.mark.parametrize("name", UNREADABLE)
def test_a_file_that_breaks_keeps_its_rows_and_every_command_says_why(farm: Farm, name: str) -> None:
    content, reason = UNREADABLE[name]
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    good = (folder / "harvests.csv").read_bytes()
    (folder / "harvests.csv").write_bytes(content)
    message = (
        rf"harvests\.csv: cannot be read, and its 2 last good rows still count\. {reason} "
        r"Or give it up: gillbook forget harvests\.csv"
    )
    for command in ("refresh", "yields", "yields"):
        said = here(command, "--farm", folder)
        assert said.code == 0
        assert re.fullmatch(message, said.err.splitlines()[0])
    assert (fresh(folder), statuses(folder)["harvests.csv"], kept(folder)) == (500, "unreadable", good)
    said = here("check", "--as-of", "2026-02-10", "--farm", folder)
    assert (said.code, len(re.findall(message, said.out))) == (0, 1)
    (folder / "harvests.csv").write_bytes(good + b"2026-02-07,50,2,\n")
    assert refreshed(folder).messages == ["harvests.csv can be read again: 1 row came since it was last read."]
    assert refreshed(folder).messages == []
    assert (fresh(folder), kept(folder)) == (550, good + b"2026-02-07,50,2,\n")


def test_several_broken_files_are_all_told_and_the_rest_is_refreshed(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    for file in ("batches.csv", "fillings.csv"):
        (folder / file).write_bytes(b"")
    write_table(folder, "harvests", f"{HARVESTS}\n2026-02-07,50,2")
    said = here("yields", "--by", "all", "--json", "--farm", folder)
    assert (said.code, said.json[0]["fresh_g"]) == (0, 550)
    assert [line.split(" still")[0] for line in said.err.splitlines()[:2]] == [
        "batches.csv: cannot be read, and its last good row",
        "fillings.csv: cannot be read, and its 2 last good rows",
    ]
    (folder / "harvests").mkdir()
    (folder / "harvests/new.csv").write_bytes(b"")  # never read well: nothing is refreshed, all are told
    said = here("yields", "--farm", folder)
    assert said.code == 3
    assert said.err.splitlines()[0].startswith("harvests/new.csv: is empty.")
    assert fresh(folder) == 550


def test_many_files_that_are_gone_do_not_fill_the_screen(farm: Farm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    for month in range(1, 7):
        write_table(folder, "harvests", f"{HEADER}\n2026-0{month + 1}-01,300,1", f"harvests/{month}.csv")
    refreshed(folder)
    shutil.rmtree(folder / "harvests")
    said = refreshed(folder).messages
    assert [line.split(":")[0] for line in said[:3]] == [f"harvests/{month}.csv" for month in (1, 2, 3)]
    assert said[3:] == ["3 more files are gone, and their last good rows still count: gillbook check lists them."]
    assert len([each for each in here("check", "--json", "--farm", folder).json if each["rule"] == "vanished"]) == 6
    assert fresh(folder) == 1800


def test_a_file_that_lost_rows_is_an_edit_that_is_told(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    for content, told, grams in (
        (f"{HEADER}\n{FIRST}", "harvests.csv: 1 row went since it was last read.", 300),
        (HEADER, "harvests.csv: 1 row went since it was last read.", None),
    ):
        (folder / "harvests.csv").write_text(content, encoding="utf-8")  # ends with a row, if without a line end
        assert refreshed(folder).messages == [told]
        assert rows(folder, "select sum(fresh_weight_g)::integer from harvests") == [(grams,)]
        assert kept(folder) == content.encode()


def test_half_a_rename_keeps_the_old_file_until_all_its_rows_stand_elsewhere(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    (folder / "harvests.csv").unlink()
    write_table(folder, "harvests", f"{HEADER}\n{FIRST}", "harvests/a.csv")
    assert (
        refreshed(folder)
        .messages[0]
        .startswith(
            "harvests.csv: is gone, and 1 of its 2 rows stands in no other file; its 2 last good rows still count."
        )
    )
    assert fresh(folder) == 500  # the row that stands in both counts once
    write_table(folder, "harvests", f"{HEADER}\n{SECOND}", "harvests/b.csv")
    taken = "harvests.csv is gone, and all its rows stand in other files: taken as renamed or split."
    assert refreshed(folder).messages == [taken]
    assert (fresh(folder), (folder / "kept/files/harvests/harvests.csv").exists()) == (500, False)


def test_rows_that_move_to_another_file_are_told_as_moved(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    write_table(folder, "harvests", f"{HEADER}\n{FIRST}")
    write_table(folder, "harvests", f"{HEADER}\n{SECOND}", "harvests/b.csv")
    assert refreshed(folder).messages == ["harvests.csv: 1 row went to other files."]
    assert fresh(folder) == 500


# Linux writes this file while it is read: never is it as long as it was said to be.
RESTLESS = Path("/proc/self/status")


@pytest.mark.skipif(not RESTLESS.exists(), reason="the operating system has no file that changes while it is read")
def test_a_file_that_changes_while_it_is_read_is_read_again_or_left_for_later(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    file = folder / "harvests.csv"

    def replaced() -> None:
        write_table(folder, "harvests", f"{HARVESTS}\n2026-02-07,50,2", "new.tmp")
        os.replace(folder / "new.tmp", file)

    file.unlink()
    file.symlink_to(RESTLESS)
    said = refreshed(folder).messages
    assert len(said) == 1
    assert "changes while it is read. Wait until the program that writes it is done, and try again." in said[0]
    assert fresh(folder) == 500
    replaced()
    assert refreshed(folder).messages == ["harvests.csv can be read again: 1 row came since it was last read."]
    file.unlink()
    file.symlink_to(RESTLESS)
    done = threading.Timer(0.1, replaced)  # a sync tool that is about to be done
    done.start()
    assert refreshed(folder).messages == []
    assert fresh(folder) == 550
    done.join()


def test_a_file_without_rights_is_tried_again_each_time(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    (folder / "harvests.csv").chmod(0)
    if os.access(folder / "harvests.csv", os.R_OK):
        pytest.skip("nothing is kept from this user")
    assert "harvests.csv: cannot be opened" in refreshed(folder).messages[0]
    (folder / "harvests.csv").chmod(0o644)  # which changes neither its size nor its time
    assert refreshed(folder).messages == ["harvests.csv can be read again."]


HOLDS_LOCK = """
from pathlib import Path
from pipeline.ledger.lock import locked
with locked(Path(sys.argv[1]) / "ledger.lock", "2026-06-01T07:00:00+00:00"):"""


def test_a_reader_beside_a_refresh_says_what_is_gone_too(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    (folder / "harvests.csv").unlink()
    refreshed(folder)
    write_table(folder, "batches", f"{BATCHES}\nB,2026-01-01,9,70")
    with meanwhile(HOLDS_LOCK, folder):
        said = here("yields", "--farm", folder)
    assert (said.code, said.err.count(GONE)) == (0, 1)


def test_copies_that_were_lost_are_made_anew_and_without_one_a_lost_file_is_told(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    shutil.rmtree(folder / "kept/files")
    assert (refreshed(folder).changed, kept(folder)) == ([], (folder / "harvests.csv").read_bytes())
    (folder / "kept/files/harvests/harvests.csv").unlink()
    (folder / "harvests.csv").unlink()
    assert refreshed(folder).messages == ["harvests.csv is gone, and so is its copy in kept/: 2 rows went."]
    assert rows(folder, "select count(*) from harvests") == [(0,)]


def test_what_others_leave_in_kept_is_no_file(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    for name in (".index", "desktop.ini", "Thumbs.db"):
        (folder / "kept/files/harvests" / name).write_bytes(b"\0")
    assert (refreshed(folder).messages, set(statuses(folder).values())) == ([], {"present"})


def test_a_copy_that_cannot_be_read_stops_the_refresh_and_says_what_to_do(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    (folder / "harvests.csv").unlink()
    (folder / "kept/files/harvests/harvests.csv").write_bytes(b"\xff")
    with pytest.raises(UnreadableFile, match=r"harvests.csv: is gone, and its copy in kept/ cannot be read\. Put it"):
        refreshed(folder)
    (folder / "harvests.csv").write_bytes(b"")
    with pytest.raises(UnreadableFile, match=r"(?s)its copy in kept/ cannot be read either\. Mend it, or .*is empty"):
        refreshed(folder)
    assert fresh(folder) == 500
    assert here("forget", "harvests.csv", "--farm", folder).code == 0
    assert rows(folder, "select count(*) from harvests") == [(0,)]
