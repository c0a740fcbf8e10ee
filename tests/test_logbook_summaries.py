"""The note of what the files hold may be old, broken or missing: what is told is always that of the files."""

from __future__ import annotations

import os
import random
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from ledgers import here

from pipeline.farm.folder import open_farm
from pipeline.logbook import summaries
from pipeline.logbook.containers import Containers
from pipeline.logbook.entry_ids import new_entry_ids
from pipeline.logbook.facts import FileFacts, LineKind
from pipeline.logbook.stored import BEFORE, STORE, load_summaries, save_summaries
from pipeline.logbook.summaries import current_summaries

Farm = Callable[..., Path]
HEADER = "picked_on,fresh_weight_g,container,batch,flush,entry,note"
TABLES = {"batches": "batch,inoculated_on\nA,2026-01-01", "fillings": "batch,container\nA,7\nA,8"}


def content(found: summaries.Summaries) -> dict[str, object]:
    """The summaries without when they were read, and what their parts say together."""
    return {
        key: (each.table, each.trouble, replace(each.shape, header=list(each.shape.header)), said(each))
        for key, each in found.items()
    }


def said(summary: summaries.Summary) -> tuple[object, ...]:
    facts = FileFacts()
    for part in summary.facts:
        facts = facts.joined(part.whole())
    named = {key: set(text.split()) for key, text in facts.texts.get(LineKind.NAMED, {}).items()}
    alike = {key: set(text.split("\n")) for key, text in facts.texts.get(LineKind.ALIKE, {}).items()}
    return dict(facts.texts.get(LineKind.ROWS, {})), named, alike, facts.alone, facts.together


def test_whatever_happens_to_the_files_it_tells_what_a_first_look_tells(farm: Farm) -> None:
    folder, dice = farm(**TABLES), random.Random(5)
    file, opened = folder / "harvests.csv", open_farm(folder)
    known: summaries.Summaries = {}
    grown = 0
    for step in range(150):
        data = file.read_bytes() if file.exists() else f"{HEADER}\n".encode()
        (entry,) = new_entry_ids(1_700_000_000_000 + step)
        row = f"2026-02-{dice.randint(1, 28):02},{dice.randint(1, 900)},{dice.choice('78')},A,1,{entry},"
        changes = {
            "add": data + f"{row}\n".encode() * dice.randint(1, 3),
            "add and end without a line end": data + f"{row}".encode(),
            "add what needs care": data + f'{row}"wet, ""old""\nleaf"\n'.encode(),
            "add what is no row": data
            + dice.choice(["\n", ",,,\n", "x\n", "Total,5\n", "2026-02-01,3,7,A,1,,\x0bx\n"]).encode(),
            "add from Windows": data + f"{row}\r\n".encode(),
            "edit": data.replace(b",A,1,", b",A,2,", 1),
            "cut": b"".join(data.splitlines(keepends=True)[:-1]) or data,
            "break": data + b"\xff",
            "mend": f"{HEADER}\n{row}\n".encode(),
        }
        kind = dice.choice([*changes, "add", "add"]) if data[-1:] == b"\n" else "mend"
        file.write_bytes(changes[kind])
        known, again = current_summaries(opened, known)
        grown += 0 < again < len(changes[kind])
        assert content(known) == content(current_summaries(opened, {})[0]), (step, kind)
    assert grown > 40  # so that what was added alone was read often enough to be tried


def test_a_file_changed_close_to_its_reading_is_looked_at_again(farm: Farm) -> None:
    folder = farm(**TABLES)
    file, opened = folder / "harvests.csv", open_farm(folder)
    file.write_text(f"{HEADER}\n2026-02-01,300,7,A,1,,\n", encoding="utf-8")
    known, _ = current_summaries(opened, {})
    was = file.stat()
    file.write_text(f"{HEADER}\n2026-02-01,301,7,A,1,,\n", encoding="utf-8")
    os.utime(file, ns=(was.st_atime_ns, was.st_mtime_ns))  # the same size and time
    assert current_summaries(opened, known)[0]["harvests:harvests.csv"].facts[0].weights(
        together=False
    ).mg.tolist() == [301_000]
    # One that is old enough is not read again.
    for path in folder.glob("*.csv"):
        os.utime(path, (1_700_000_000, 1_700_000_000))
    known, again = current_summaries(opened, {})
    assert again > 0
    assert current_summaries(opened, known) == (known, 0)


def test_a_batch_that_is_added_a_second_time_has_one_day(farm: Farm) -> None:
    folder = farm(batches="batch,inoculated_on\nA,2026-01-01\nB,")
    opened = open_farm(folder)
    known, _ = current_summaries(opened, {})
    with (folder / "batches.csv").open("a", encoding="utf-8") as out:
        out.write("A,2026-01-01\nB,2026-01-03\nC,2026-01-04\n")
    known, read = current_summaries(opened, known)
    assert 0 < read < (folder / "batches.csv").stat().st_size
    days = Containers(opened, known).batch_days
    assert dict(days) == {"A": date(2026, 1, 1), "B": date(2026, 1, 3), "C": date(2026, 1, 4)}


@pytest.mark.parametrize("spoiled", [b"", b"{", b"SQLite format 3\0", b"SQLite format 3\0" + bytes(4096)])
def test_a_note_that_cannot_be_used_is_made_anew(farm: Farm, spoiled: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = farm(**TABLES)
    opened = open_farm(folder)
    (folder / STORE).write_bytes(spoiled)
    (folder / BEFORE).write_text("{}", encoding="utf-8")
    assert load_summaries(opened) == {}
    monkeypatch.setattr("pipeline.logbook.book.WORTH_SAVING", 0)
    assert here("weigh", "7", "412", "--on", "2026-02-03", "--farm", folder).code == 0
    assert set(load_summaries(opened)) >= {"batches:batches.csv", "fillings:fillings.csv"}
    assert not (folder / BEFORE).exists()
    # Settings say how cells are read, so another farm.toml asks for another look.
    (folder / "farm.toml").write_text('decimal_mark = ","', encoding="utf-8")
    assert load_summaries(open_farm(folder)) == {}


def test_with_or_without_a_note_the_answer_is_the_same(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = farm(**TABLES)
    rows = "".join(f"2026-01-{20 + at},{400 + at},7,A,,,\n" for at in range(8))
    (folder / "harvests.csv").write_text(f"{HEADER}\n{rows}", encoding="utf-8")
    opened = open_farm(folder)
    assert save_summaries(opened, current_summaries(opened, {})[0])
    words = ("weigh", "7", "412", "--on", "2026-02-04", "--farm", folder)
    said = here(*words)
    assert here("weigh", "--undo", "--farm", folder).code == 0
    (folder / STORE).unlink()
    again = here(*words)
    assert said.out.splitlines()[::2] == again.out.splitlines()[::2]
    assert "flush 2 (proposed: picked 8 days before)" in said.out
