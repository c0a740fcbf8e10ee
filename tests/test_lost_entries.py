"""Entries that gillbook wrote and another program saved over are named by every command until that is answered: put
back, or meant to be gone.

Forty minutes of a grower who logs while a spreadsheet opens files and saves its old copies over them, in a virtual time
and by dice: after each step, what is named is what the files lack. GILLBOOK_KILLS says for how many such sessions (a
twentieth of it), as `make crash` does.
"""

from __future__ import annotations

import csv
import os
import random
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path

import pytest
from ledgers import here, refreshed

from pipeline.cli.report_command import gather
from pipeline.farm.folder import open_farm
from pipeline.logbook import journal, lost, put_back
from pipeline.logbook.batch import plan_batches, write_batches
from pipeline.logbook.book import Book, enter
from pipeline.logbook.fill import plan_filling, write_filling
from pipeline.logbook.note import NewObservation, plan_note, write_note
from pipeline.logbook.parsing import PickingOptions, parse_picking
from pipeline.logbook.undo import take_back
from pipeline.logbook.weigh import enter as weigh_in
from pipeline.models import view
from reports.sections import rejected

Farm = Callable[..., Path]
SESSIONS = max(1, int(os.environ.get("GILLBOOK_KILLS", "20")) // 20)
DAY = date(2026, 2, 3)
BATCHES = "batch,inoculated_on\nA,2026-01-01"
FILLINGS = "batch,container\n" + "\n".join(f"A,{at}" for at in range(1, 9))
ON = ("--on", str(DAY))


def weigh(folder: Path, container: int, grams: int) -> str:
    """Logs a picking, and returns its id."""
    said = here("weigh", container, grams, *ON, "--insist", "--farm", folder)
    assert said.code == 0, said.err
    return said.out.split("(entry ")[1].split(")")[0]


@pytest.fixture
def saved_over(farm: Farm) -> tuple[Path, list[str]]:
    """A farm whose last two of three pickings a spreadsheet saved over; and the ids of the three."""
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    ids = [weigh(folder, 1, 400)]
    opened_then = (folder / "harvests/2026-02.csv").read_bytes()
    ids += [weigh(folder, 2, 401), weigh(folder, 3, 402)]
    (folder / "harvests/2026-02.csv").write_bytes(opened_then)
    return folder, ids


NAMED = (
    "2 entries that gillbook wrote are in no file any more: 2, 2026-02-03: 401 g (harvests/2026-02.csv); "
    "3, 2026-02-03: 402 g (harvests/2026-02.csv). Did another program save over them? "
    "Put back: gillbook lost --put-back. Meant to be gone: gillbook lost --meant\n"
)


def test_every_command_names_them_before_any_refresh_saw_them(saved_over: tuple[Path, list[str]]) -> None:
    folder, ids = saved_over
    for words in (["today"], ["refresh"], ["refresh"], ["yields"]):
        assert NAMED in here(*words, "--farm", folder).err, words
    said = here("check", "--farm", folder)
    assert said.code == 1
    assert "Lost: gillbook wrote these entries, and they are in no file any more. (2)" in said.out
    assert (
        f"gillbook lost --put-back {ids[1]}; or, if it is meant to be gone: gillbook lost --meant {ids[1]}" in said.out
    )
    told = [each for each in here("check", "--json", "--farm", folder).json if each["level"] == "lost"]
    assert [each["value"] for each in told] == ids[1:]
    assert [each["entry"] for each in here("lost", "--json", "--farm", folder).json] == ids[1:]


def test_the_report_names_them(saved_over: tuple[Path, list[str]]) -> None:
    folder, ids = saved_over
    refreshed(folder)
    opened = open_farm(folder)
    with view.opened(opened.ledger, opened.settings) as ledger:
        month = gather(ledger, opened, date(2026, 2, 1), date(2026, 2, 28))
    assert [each.value for each in month.findings if each.level == "lost"] == ids[1:]
    section = rejected.section(month)
    (said,) = (note for note in section.notes if "gillbook wrote" in str(note[-1]))
    assert (said[0].text, said[1:]) == (
        "2",
        (" entries", " that gillbook wrote are in no file any more, and in no figure."),
    )
    assert (section.tables[0].id, len(section.tables[0].rows)) == ("table-lost", 2)


def test_weigh_says_it_once(saved_over: tuple[Path, list[str]]) -> None:
    folder, _ = saved_over
    assert here("weigh", "4", "403", *ON, "--farm", folder).err == NAMED
    assert here("weigh", "4", "404", *ON, "--farm", folder).err == ""
    assert NAMED in here("refresh", "--farm", folder).err


def test_they_are_put_back_as_they_were_and_taken_back_as_before(saved_over: tuple[Path, list[str]]) -> None:
    folder, ids = saved_over
    said = here("lost", "--put-back", "--farm", folder)
    assert (said.code, said.err) == (0, "")
    assert said.out == (
        "Put back: 2, 2026-02-03: 401 g. Written to harvests/2026-02.csv, row 3.\n"
        "Put back: 3, 2026-02-03: 402 g. Written to harvests/2026-02.csv, row 4.\n"
    )
    with (folder / "harvests/2026-02.csv").open(encoding="utf-8", newline="") as text:
        found = [(row["container"], row["fresh_weight_g"], row["flush"], row["entry"]) for row in csv.DictReader(text)]
    assert found == [("1", "400", "1", ids[0]), ("2", "401", "1", ids[1]), ("3", "402", "1", ids[2])]
    assert here("lost", "--farm", folder).err == "No entry is lost: all that gillbook wrote lately is in the files.\n"
    assert "402 g" in here("weigh", "--undo", "--farm", folder).out
    assert "lost" not in here("check", "--farm", folder).out
    assert here("lost", "--put-back", "--farm", folder).err == "No entry is lost.\n"


def test_one_may_be_put_back_and_the_other_meant_to_be_gone(saved_over: tuple[Path, list[str]]) -> None:
    folder, ids = saved_over
    assert here("lost", ids[2], "--put-back", "--farm", folder).code == 0
    assert here("lost", "--meant", "--farm", folder).out == "Meant to be gone: 2, 2026-02-03: 401 g.\n"
    assert "gillbook wrote" not in here("refresh", "--farm", folder).err
    said = here("lost", ids[1], "--meant", "--farm", folder)
    assert (said.code, said.err) == (2, f"{ids[1]} is no entry that was lost. gillbook lost lists them.\n")
    assert here("lost", "--meant", "--put-back", "--farm", folder).code == 2
    assert here("lost", "--meant", "--farm", folder).err == "No entry is lost.\n"


def test_what_may_be_twice_or_lost_again_is_asked_first(saved_over: tuple[Path, list[str]]) -> None:
    folder, ids = saved_over
    weigh(folder, 2, 401)  # entered anew, as it seemed lost
    (folder / "harvests/.~lock.2026-02.csv#").write_text("someone", encoding="utf-8")
    said = here("lost", "--put-back", "--farm", folder)
    assert said.code == 2
    assert "2, 2026-02-03: 401 g stands in a file, entered anew" in said.err
    assert "is open in a spreadsheet" in said.err
    assert [each["entry"] for each in here("lost", "--json", "--farm", folder).json] == ids[1:]
    assert here("lost", "--put-back", "--insist", "--farm", folder).code == 0


def test_rows_of_batches_and_fillings_are_known_by_their_names(farm: Farm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    opened_then = {name: (folder / name).read_bytes() for name in ("batches.csv", "fillings.csv")}
    given = ("--substrate", "straw", "--strain", "grey", "--farm", folder)
    assert here("batch", "B", "--on", "2026-01-20", *given).code == 0
    assert here("fill", "11-12", "--batch", "B", "--farm", folder).code == 0
    for name, data in opened_then.items():
        (folder / name).write_bytes(data)
    named = [each["what"] for each in here("lost", "--json", "--farm", folder).json]
    assert named == ["batch B", "11 filled from batch B", "12 filled from batch B"]
    assert here("lost", "--put-back", "--farm", folder).code == 0
    assert (folder / "fillings.csv").read_bytes().count(b"B,1") == 2
    assert here("lost", "--json", "--farm", folder).json == []


@pytest.mark.parametrize("how", ["moved", "renamed", "without ids", "another order", "changed", "workbook"])
def test_nothing_is_named_that_stands_somewhere(farm: Farm, how: str) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    for at in (1, 2):
        weigh(folder, at, 400 + at)
    file = folder / "harvests/2026-02.csv"
    header, *rows = list(csv.reader(file.read_text(encoding="utf-8").splitlines()))
    if how == "moved":
        (folder / "harvests/other.csv").write_text("\n".join([",".join(header), ",".join(rows[1])]) + "\n")
        rows = rows[:1]
    if how == "without ids":
        rows = [[cell for cell, name in zip(row, header, strict=True) if name != "entry"] for row in rows]
        header.remove("entry")
    if how == "changed":
        rows = [[cell.replace("402", "502") for cell in row] for row in rows]
    if how == "another order":
        rows, header = [row[::-1] for row in rows], header[::-1]
    file.write_text("\r\n".join(",".join(row) for row in [header, *rows]), encoding="utf-8", newline="")
    if how == "renamed":
        file.rename(folder / "harvests/picked.csv")
    if how == "workbook":
        import openpyxl

        book = openpyxl.Workbook()
        for row in [header, *rows]:
            book.active.append(row)
        book.save(folder / "harvests/2026-02.xlsx")
        file.unlink()
    assert lost.lost_entries(open_farm(folder)) == []


def test_a_file_that_is_gone_is_named_as_before_and_its_copy_counts(farm: Farm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    weigh(folder, 1, 401)
    refreshed(folder)
    weigh(folder, 2, 402)
    (folder / "harvests/2026-02.csv").unlink()
    said = here("today", "--farm", folder)
    assert "1 entry that gillbook wrote is in no file any more: 2, 2026-02-03: 402 g" in said.err
    here("lost", "--meant", "--farm", folder)
    here("forget", "harvests/2026-02.csv", "--farm", folder)
    assert lost.lost_entries(open_farm(folder)) == []


def test_what_is_taken_back_or_never_written_is_not_named(farm: Farm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    weigh(folder, 1, 401)
    weigh(folder, 1, 402)
    here("weigh", "--undo", "--farm", folder)
    opened = open_farm(folder)
    made = journal.read_journal(opened).acknowledged[-1]
    # Killed between the line of the journal and the row.
    never = journal.JournalEntry(**{**vars(made), "entry": "w0000000000000", "call": "w0000000000000", "line": "x\n"})
    journal.record(opened, [never])
    assert lost.lost_entries(opened) == []
    said = here("refresh", "--farm", folder)
    assert (
        "The last entry of gillbook weigh was cut short, and nothing of it stands in harvests/2026-02.csv: " in said.err
    )
    assert "Enter it again." in said.err
    assert "cut short" not in here("refresh", "--farm", folder).err


def test_the_journal_forgets_what_is_old_and_nothing_else(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    opened = open_farm(farm(batches=BATCHES, fillings=FILLINGS))
    monkeypatch.setattr(journal, "BYTES_LEFT", 300)
    monkeypatch.setattr(journal, "BYTES_BETWEEN", 2_000)
    for at in range(100):
        moment = (datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=at)).isoformat(timespec="seconds")
        entry = journal.JournalEntry(f"w{at}", f"w{at}", "weigh", "harvests.csv", moment, {"entry": f"w{at}"})
        journal.record(opened, [entry])
        journal.record_written(opened, f"w{at}")
    left = [int(each.entry[1:]) for each in journal.read_journal(opened).acknowledged]
    assert left == list(range(left[0], 100))
    # What is younger than 35 days stays always; what is older until the journal grew by so much again.
    assert 35 <= len(left) <= 60


# --- forty minutes ---


def names_in(folder: Path) -> set[str]:
    """What stands in the files, told apart by plain reading."""
    found = set()
    for path in [*folder.glob("*.csv"), *folder.glob("*/*.csv")]:
        if "kept" in path.parts:
            continue
        with path.open(encoding="utf-8", newline="") as text:
            for row in csv.DictReader(text):
                found.add(row.get("entry") or f"{row['batch']}/{row.get('container', '')}")
    return found


class Session:
    """A grower, a spreadsheet, and what was said to be on disk: by id or name."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder, self.dice = folder, random.Random(seed)
        self.now = datetime(2026, 2, 3, 8, 0, tzinfo=UTC)
        self.book = Book(open_farm(folder))
        self.there: dict[str, str] = {}
        self.sheets: dict[str, bytes] = {}
        self.undone: list[str] = []
        self.losses = self.saves = 0

    def clock(self) -> datetime:
        return self.now

    def _enter(self, plan: Callable[[datetime], object], write: Callable[..., object]) -> None:
        enter(self.book, plan, write, True, lambda _: None, self.clock)  # type: ignore[type-var, arg-type]
        new = [each for each in journal.undoable(self.book.farm) if each.entry not in self.there]
        for each in new:
            by_name = f"{each.values['batch']}/{each.values.get('container', '')}"
            self.there[each.entry] = each.entry if "entry" in each.cells else by_name

    def weigh(self) -> None:
        words = [str(self.dice.randint(1, 8)), str(self.dice.randint(100, 900))]
        done = weigh_in(
            self.book, parse_picking(self.book, words, DAY, PickingOptions()), True, lambda _: None, self.clock
        )
        self.there[done.entry] = done.entry

    def note(self) -> None:
        several = tuple(map(str, self.dice.sample(range(1, 9), self.dice.randint(1, 3))))
        seen = NewObservation(several, self.dice.choice(("pins", "suspect")), DAY)
        self._enter(partial(plan_note, self.book, seen), partial(write_note, self.book))

    def batch(self) -> None:
        given = {"substrate": "straw", "strain": "grey"}
        name = [f"N{len(self.there)}"]
        plan = lambda now: plan_batches(self.book, name, DAY, given, 1, now)  # noqa: E731
        self._enter(plan, partial(write_batches, self.book))

    def fill(self) -> None:
        name = [f"{100 + len(self.there)}", f"{5000 + len(self.there)}"]
        plan = lambda _: plan_filling(self.book, "A", name, {}, {})  # noqa: E731
        self._enter(plan, partial(write_filling, self.book))

    def undo(self) -> None:
        last = journal.undoable(self.book.farm)
        weighed = [each.entry for each in last if each.command == "weigh" and each.entry in names_in(self.folder)]
        if weighed:
            take_back(self.book.farm, "weigh", self.now.isoformat(), weighed[-1])
            del self.there[weighed[-1]]

    def opens(self) -> None:
        """A spreadsheet opens a file; maybe the grower types into it."""
        path = self.dice.choice(sorted([*self.folder.glob("*.csv"), *self.folder.glob("harvests/*.csv")]))
        self.sheets[path.relative_to(self.folder).as_posix()] = path.read_bytes()

    def saves_old(self) -> None:
        """It saves what it read then, and goes on showing that."""
        if self.sheets:
            name = self.dice.choice(sorted(self.sheets))
            (self.folder / name).write_bytes(self.sheets[name])
            self.saves += 1

    def refreshes(self) -> None:
        refreshed(self.folder)

    def answers(self) -> None:
        """Puts some back, and says of another that it is meant to be gone."""
        ids = [each.entry for each in lost.lost_entries(self.book.farm)]
        some = self.dice.sample(ids, min(len(ids), 3))
        if some[1:]:
            list(put_back.put_back(self.book, some[1:], True, lambda _: None, self.clock))
        if some:
            put_back.let_go(self.book.farm, some[:1], self.now)
            del self.there[some[0]]

    def step(self) -> None:
        acts = [self.weigh] * 12 + [self.note] * 4 + [self.batch, self.fill, self.undo, self.answers]
        acts += [self.opens] * 3 + [self.saves_old] * 2
        self.dice.choice(acts)()
        self.now += timedelta(seconds=self.dice.randint(3, 25))


@pytest.mark.parametrize("seed", range(SESSIONS))
def test_forty_minutes_beside_a_spreadsheet_that_saves_old_copies(farm: Farm, seed: int) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS)
    session = Session(folder, seed)
    session.weigh()
    until = session.now + timedelta(minutes=40)
    steps = lacking = 0
    while session.now < until:
        if steps % 60 == 30:
            session.refreshes()
        session.step()
        steps += 1
        stand = names_in(folder)
        wanted = {entry for entry, name in session.there.items() if name not in stand}
        found = {each.entry for each in lost.lost_entries(session.book.farm)}
        assert found == wanted, steps
        lacking += len(wanted) > 0
    saves, many = session.saves, len(session.there)
    print(f"{steps} steps, {many} entries, {saves} old copies saved; entries were lost after {lacking} steps")
    # Not every session loses much, but none passes without old copies and lost entries.
    assert (saves > 2, lacking > 5, many > 80) == (True, True, True)
