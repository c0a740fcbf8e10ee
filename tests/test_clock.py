"""A clock that is set back or forward: ids stay apart, what is undone is the last, and nothing flips silently."""

from __future__ import annotations

import ast
import csv
import os
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta, tzinfo
from pathlib import Path

import pytest
from conftest import Said
from ledgers import here

from pipeline.farm.folder import open_farm
from pipeline.logbook.clock_back import ENTRIES, clock_back
from pipeline.logbook.entry_ids import entry_time_ms, new_entry_ids
from pipeline.logbook.journal import JournalEntry, record

HOUSE = Path(__file__).parent.parent
Farm = Callable[..., Path]
Clock = Callable[[str], None]
TABLES = {
    "batches": "batch,inoculated_on,substrate_wet_kg,moisture_pct\nA,2026-01-01,10,70",
    "fillings": "batch,container,fill_kg\nA,1,5\nA,2,5",
    "harvests": "picked_on,fresh_weight_g,container,flush,entry\n2026-02-01,300,1,1,",
}
NOON = "2026-02-03T12:00:00+00:00"


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Iterator[Clock]:
    """Sets the clock that the commands read."""

    def set_to(moment: str) -> None:
        at = datetime.fromisoformat(moment).timestamp()

        class Set(datetime):
            @classmethod
            def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
                return datetime.fromtimestamp(at, tz)

        monkeypatch.setattr("pipeline.cli.clock.datetime", Set)

    yield set_to
    monkeypatch.undo()
    os.environ["TZ"] = "UTC"
    time.tzset()


def stand_in(zone: str) -> None:
    os.environ["TZ"] = zone
    time.tzset()


def weigh(folder: Path, *words: object) -> Said:
    return here("weigh", *words, "--farm", folder)


def entries(folder: Path) -> list[str]:
    return [each["entry"] for each in logged(folder)]


def logged(folder: Path) -> list[dict[str, str]]:
    """The rows that weigh wrote, file by file."""
    files = [path.read_text(encoding="utf-8").splitlines() for path in sorted((folder / "harvests").glob("*.csv"))]
    return [each for lines in files for each in csv.DictReader(lines)]


def test_one_module_reads_the_clock() -> None:
    found = set()
    for path in (each for package in ("pipeline", "reports", "schemas") for each in (HOUSE / package).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            match node:
                case ast.Attribute(value=ast.Name(id="date" | "datetime"), attr="now" | "today" | "utcnow"):
                    found.add(path.relative_to(HOUSE).as_posix())
    assert found == {"pipeline/cli/clock.py"}


def test_ids_of_any_clock_are_apart_and_sort_by_it() -> None:
    now_ms = 1_770_000_000_000
    made = [each for back in (0, 1, 0, 86_400_000, 0) for each in new_entry_ids(now_ms - back, 200)]
    assert len(set(made)) == 1000
    assert [entry_time_ms(each) for each in sorted(made)] == sorted(
        now_ms - back for back in (0, 1, 0, 86_400_000, 0) for _ in range(200)
    )


@pytest.mark.parametrize("back", [timedelta(hours=2), timedelta(days=1), timedelta(days=365), timedelta(days=20_000)])
def test_an_entry_by_a_clock_set_back_is_asked_about(farm: Farm, clock: Clock, back: timedelta) -> None:
    folder = farm(**TABLES)
    clock(NOON)
    assert weigh(folder, "1", "200").code == 0
    (first,) = entries(folder)
    earlier = datetime.fromisoformat(NOON) - back
    clock(earlier.isoformat())
    said = weigh(folder, "2", "210")
    assert said.code == 2
    assert f"this computer's clock stands at {earlier:%Y-%m-%d %H:%M}" in said.err
    assert "before the newest entry, which was written at 2026-02-03 12:00: is the clock right?" in said.err
    assert entries(folder) == [first]
    assert weigh(folder, "2", "210", "--insist").code == 0
    (second,) = set(entries(folder)) - {first}
    # By its id the second is the older; what is taken back is what was written last all the same.
    assert second < first
    assert weigh(folder, "--undo").code == 0
    assert entries(folder) == [first]
    # Set right, or with the later entry taken back, nothing is asked.
    assert weigh(folder, "--undo").code == 0
    assert weigh(folder, "2", "210", "--on", "2026-02-01").code == (0 if back.days < 365 else 2)


def test_notes_batches_and_fillings_are_asked_about_too(farm: Farm, clock: Clock) -> None:
    folder = farm(**TABLES, observations="seen_on,event,container,batch,entry\n")
    clock(NOON)
    weigh(folder, "1", "200")
    clock("2026-02-02T12:00:00+00:00")
    recipe = ("--substrate", "straw", "--strain", "grey")
    for words in (("note", "2", "pins"), ("batch", "B", *recipe), ("fill", "9", "--batch", "A")):
        before = {path: path.read_bytes() for path in folder.glob("*.csv")}
        said = here(*words, "--farm", folder)
        assert (said.code, "is the clock right?" in said.err) == (2, True), words
        assert {path: path.read_bytes() for path in folder.glob("*.csv")} == before
        assert here(*words, "--insist", "--farm", folder).code == 0, words


def test_summer_time_and_another_zone_are_no_clock_set_back(farm: Farm, clock: Clock) -> None:
    folder = farm(**TABLES)
    stand_in("Europe/Berlin")
    clock("2026-10-25T02:50:00+02:00")
    assert "2026-10-25" in weigh(folder, "1", "200").out
    clock("2026-10-25T02:10:00+01:00")
    assert weigh(folder, "1", "205").code == 0
    stand_in("Asia/Tokyo")
    clock("2026-11-28T01:00:00+09:00")
    assert weigh(folder, "1", "210").code == 0
    stand_in("Europe/Berlin")
    clock("2026-11-27T18:00:00+01:00")
    said = weigh(folder, "1", "215")
    assert (said.code, said.err) == (0, "")
    days = [each["picked_on"] for each in logged(folder)]
    assert days == ["2026-10-25", "2026-10-25", "2026-11-28", "2026-11-27"]
    assert len(set(entries(folder))) == 4
    # The picking of Tokyo's day is of a later day here: check names it.
    shown = here("check", "--farm", folder)
    assert "lies in the future, after 2026-11-27" in shown.out
    assert "set it" not in shown.err


def test_a_clock_that_many_entries_were_written_by_counts_as_right(farm: Farm) -> None:
    opened = open_farm(farm(**TABLES))
    wrong, right = datetime.fromisoformat("2027-02-03T12:00:00+00:00"), datetime.fromisoformat(NOON)
    assert clock_back(opened, right) == ""
    for number, at in enumerate([wrong, *[right] * (ENTRIES - 1)]):
        record(opened, [JournalEntry(f"e{number}", f"e{number}", "weigh", "harvests.csv", at.isoformat(), {})])
        assert "2027-02-03 12:00: is the clock right?" in clock_back(opened, right)
    record(opened, [JournalEntry("last", "last", "weigh", "harvests.csv", NOON, {})])
    assert clock_back(opened, right) == ""


def test_the_same_weight_again_after_the_clock_was_set_back(farm: Farm, clock: Clock) -> None:
    folder = farm(**TABLES)
    # Of the true hour: only young entries are held against new ones.
    now = datetime.now().astimezone()
    (folder / "harvests.csv").write_text("picked_on,fresh_weight_g,container,flush,entry\n", encoding="utf-8")
    for at, said in ((now, "Logged"), (now - timedelta(seconds=2), "the same, 1 (batch A) 200 g, was logged already")):
        clock(at.isoformat())
        assert said in "".join(vars(weigh(folder, "1", "200"))[name] for name in ("out", "err"))


def test_figures_by_a_clock_before_or_long_after_the_rows_say_so(farm: Farm, clock: Clock) -> None:
    slips = "2062-02-01,300,1,1,\n2063-02-01,300,1,1,"
    more = f"{TABLES['harvests']}\n2026-01-31,250,2,1,\n2026-01-30,240,2,1,\n{slips}"
    folder = farm(**{**TABLES, "harvests": more})
    clock("2025-02-03T12:00:00+00:00")
    said = here("yields", "--farm", folder)
    assert (
        "Today is 2025-02-03 by this computer's clock, and 5 pickings and notes are of later days, like 2026-02-01"
        in said.err
    )
    assert "clock" not in here("yields", "--as-of", "2026-02-03", "--farm", folder).err
    clock(NOON)
    assert "clock" not in here("yields", "--farm", folder).err
    clock("2027-02-03T12:00:00+00:00")
    said = here("yields", "--farm", folder)
    assert "nothing is noted after 2026-02-01: 2 containers that ran then count as ended since." in said.err
    assert "--as-of 2026-02-01" in said.err
    # What is said holds: they run as of that day.
    ran, ended = (
        here("yields", "--json", "--by", "all", "--farm", folder, *more).json[0]
        for more in (("--as-of", "2026-02-01"), ())
    )
    assert (ran["units_lapsed"], ended["units_lapsed"]) == (0, 2)
    # In the report of a month that was over before they lapsed they have not.
    assert "clock" not in here("report", "--farm", folder).err
    assert "2 containers that ran then count" in here("report", "--month", "2027-02", "--farm", folder).err


def test_a_clock_set_back_is_said_by_what_reads(farm: Farm, clock: Clock) -> None:
    folder = farm(**TABLES)
    clock(NOON)
    weigh(folder, "1", "200")
    clock("2026-02-02T12:00:00+00:00")
    said = here("check", "--farm", folder)
    assert "This computer's clock stands at 2026-02-02 12:00, before the newest entry" in said.err
    said = weigh(folder, "1", "2", "--on", "2026-02-03")
    assert "that day lies in the future; today is 2026-02-02 by this computer's clock." in said.err


def test_what_tells_a_state_says_as_of_which_day(farm: Farm, clock: Clock) -> None:
    folder = farm(**TABLES)
    clock(NOON)
    silent = []
    for words in (("today",), ("sheet",), ("trace", "--batch", "A")):
        said = here(*words, "--farm", folder)
        if "2026-02-03" not in said.out + said.err:
            silent.append((words, said))
    assert silent == []
