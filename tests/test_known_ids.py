"""What is known of a farm's entries between portions is what reading all of it anew would give."""

from __future__ import annotations

import random
import threading
from collections import Counter
from pathlib import Path

import pytest
from conftest import gillbook
from open_farms import COLUMNS, TODAY, pickings, serving, small_farm

from pipeline.farm.folder import open_farm
from pipeline.logbook import journal
from pipeline.logbook.known_ids import KnownIds
from pipeline.logbook.take_in import TABLES
from schemas.finding import OutOfReach

HEAD = "picked_on,fresh_weight_g,container,entry,note\n"


def known(folder: Path, kept: KnownIds | None = None) -> set[str]:
    """The ids that are known; of files that cannot be read, what is said of them."""
    found = kept or KnownIds(TABLES)
    try:
        found.look(open_farm(folder))
    except OutOfReach as problem:
        return {str(problem)}
    ids = (*(each.ids for each in found.files.values()), found.taken_out.ids, found.taken_back.ids)
    return {entry for each in ids for entry in each if entry}


def row(entry: str, note: str = "") -> str:
    return f"{TODAY},300,3,{entry},{note}\n"


@pytest.mark.parametrize("seed", range(8))
def test_what_is_kept_is_what_reading_anew_gives(tmp_path: Path, seed: int) -> None:
    dice = random.Random(seed)
    folder = small_farm(tmp_path)
    (folder / "harvests.csv").unlink()
    files = [folder / "harvests" / f"{name}.csv" for name in ("a", "b")]
    files[0].parent.mkdir()
    kept = KnownIds(TABLES)
    for count in range(60):
        path = dice.choice(files)
        text = path.read_bytes().decode() if path.exists() else ""
        lines = text.splitlines(keepends=True)
        does = dice.choice(
            ("add", "add", "add", "quoted", "crlf", "half", "drop", "sort", "swap", "away", "semicolons")
        )
        if does == "away":
            path.unlink(missing_ok=True)
        elif does == "drop" and len(lines) > 1:
            del lines[dice.randrange(1, len(lines))]
            path.write_text("".join(lines), newline="")
        elif does == "sort" and len(lines) > 1 and lines[-1].endswith("\n"):
            path.write_text(lines[0] + "".join(reversed(lines[1:])), newline="")
        elif does == "swap" and "px" in text:
            # As long as before: size says nothing.
            path.write_text(text.replace("px", "py", 1), newline="")
        elif does == "semicolons" and not text:
            path.write_text((HEAD + row(f"px{count}")).replace(",", ";"), newline="")
        else:
            mark = ";" if ";" in text else ","
            begin = HEAD.replace(",", mark) if not text else "" if text.endswith("\n") else "\n"
            line = row(f"px{count}", {"quoted": '"two, ""and""\nmore"'}.get(does, "")).replace(",", mark)
            line = {"half": line[:-1], "crlf": line[:-1] + "\r\n"}.get(does, line)
            with open(path, "a", newline="") as out:
                out.write(begin + line)
        assert known(folder, kept) == known(folder), does


def test_what_was_taken_back_stays_known_after_the_journal_was_shortened(tmp_path: Path) -> None:
    folder = small_farm(tmp_path)
    kept = KnownIds(TABLES)
    farm = open_farm(folder)
    for at in range(3):
        journal.record_undone(farm, f"pu{at}", "2026-06-01T08:00:00+00:00")
        assert known(folder, kept) >= {f"pu{each}" for each in range(at + 1)}
    lines = (folder / journal.JOURNAL).read_bytes().splitlines(keepends=True)
    (folder / journal.JOURNAL).write_bytes(lines[-1])
    assert known(folder, kept) >= {"pu0", "pu1", "pu2"}
    assert "pu0" not in known(folder)


def test_other_settings_make_all_that_was_known_new(tmp_path: Path) -> None:
    folder = small_farm(tmp_path)
    kept = KnownIds(TABLES)
    (folder / "harvests.csv").write_text(f"picked_on,fresh_weight_g,container,mark\n{TODAY},300,3,pq1\n")
    assert "pq1" not in known(folder, kept)
    (folder / "farm.toml").write_text('[headings.harvests]\nmark = "entry"\n')
    assert "pq1" in known(folder, kept)


def test_a_portion_and_take_in_of_the_same_at_once_write_each_entry_once(tmp_path: Path) -> None:
    farm = tmp_path / "farm"
    farm.mkdir()
    folder = small_farm(farm)
    rows = [f"{TODAY},{300 + at},3,B,1,,,,pr{at},," for at in range(60)]
    sent = tmp_path / "weighed.csv"
    sent.write_text("\n".join((COLUMNS, *rows, "")))
    with serving(folder, "--phone", "--address", "127.0.0.2") as served:
        _, cookie = served.join(served.invitation())
        home: list[str] = []

        def send() -> None:
            for row in rows:
                home.extend(served.send(cookie, row)[1]["home"])

        sending = threading.Thread(target=send)
        sending.start()
        taken = gillbook("take-in", sent, "--insist", "--farm", folder)
        sending.join()
    assert taken.code == 0, taken
    assert home == [f"pr{at}" for at in range(60)]
    ids = Counter(each["entry"] for each in pickings(folder) if each["entry"].startswith("pr"))
    assert ids == {f"pr{at}": 1 for at in range(60)}


def test_a_portion_sees_what_another_program_wrote_since_the_last(tmp_path: Path) -> None:
    folder = small_farm(tmp_path)
    with serving(folder, "--phone", "--address", "127.0.0.2") as served:
        _, cookie = served.join(served.invitation())
        assert served.send(cookie, f"{TODAY},301,3,B,1,,,,ps1,,")[1]["home"] == ["ps1"]
        assert gillbook("weigh", "3", "302", "--farm", folder).code == 0
        (path,) = [each for each in folder.rglob("*.csv") if b"ps1" in each.read_bytes() and "kept" not in each.parts]
        # By hand, with an id that a phone sends then.
        lines = path.read_text().splitlines()
        mine = lines[-1].split(",")[-2]
        path.write_text("\n".join((*lines, lines[-1].replace("302", "303").replace(mine, "ps2"), "")))
        before = pickings(folder)
        assert served.send(cookie, f"{TODAY},303,3,B,1,,,,ps2,,")[1]["home"] == ["ps2"]
        assert pickings(folder) == before
        assert served.send(cookie, f"{TODAY},304,3,B,1,,,,ps3,,")[1]["home"] == ["ps3"]
        found = [(each["fresh_weight_g"], each["entry"]) for each in pickings(folder) if each["container"] == "3"]
        assert found == [("301", "ps1"), ("302", mine), ("303", "ps2"), ("304", "ps3")]
