"""Putting back entries that no file holds any more, or saying that they are meant to be gone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby

from pipeline.farm.folder import Farm
from pipeline.logbook import journal
from pipeline.logbook.append import ChangedMeanwhile, logbook_locked
from pipeline.logbook.book import TRIES, Book, Clock, Confirm, Doubt, open_doubts, write_rows
from pipeline.logbook.destination import Destination, destination_for
from pipeline.logbook.journal import JournalEntry
from pipeline.logbook.lost import equal_rows, lost_entries, typed_values
from schemas.contract import HARVESTS, OBSERVATIONS, PROMISES, SALES
from schemas.finding import OutOfReach, WrongRequest
from schemas.phrases import did_you_mean

# The day by which an entry's file is chosen.
DAYS = {HARVESTS: "picked_on", OBSERVATIONS: "seen_on", SALES: "sold_on", PROMISES: "due_on"}


@dataclass(frozen=True)
class PutBack:
    """Entries of one call that were put back: their file, and the rows in which they stand now, in words."""

    entries: tuple[JournalEntry, ...]
    file: str
    rows: str


def chosen(farm: Farm, ids: Sequence[str]) -> list[JournalEntry]:
    """Return the lost entries that are meant, all where no id is given. Raises WrongRequest for another id."""
    lost = {each.entry: each for each in lost_entries(farm)}
    for each in ids:
        if each not in lost:
            raise WrongRequest(f"{each} is no entry that was lost.{did_you_mean(each, lost)} gillbook lost lists them.")
    return [lost[each] for each in ids] if ids else list(lost.values())


def let_go(farm: Farm, ids: Sequence[str], now: datetime) -> list[JournalEntry]:
    """Note that these entries, or all that are lost, are meant to be gone, and return them."""
    moment = now.isoformat(timespec="seconds")
    with logbook_locked(farm, moment):
        found = chosen(farm, ids)
        for each in found:
            journal.record_undone(farm, each.entry, moment)
    return found


def put_back(book: Book, ids: Sequence[str], insist: bool, confirm: Confirm, clock: Clock) -> Iterator[PutBack]:
    """Write these entries, or all that are lost, once more, under their ids; yield what was written, call by call.

    Raises WrongRequest for an id that is none of theirs, and what `confirm` raises; OutOfReach.
    """
    found = chosen(book.farm, ids)
    doubts = [Doubt("there", each) for each in equal_rows(book.farm, found)]
    calls = [list(group) for _, group in groupby(found, key=lambda each: (each.call, each.file))]
    # While the spreadsheet is open its next save would lose them once more.
    doubts += [doubt for each in calls for doubt in open_doubts(_destination(book, each))]
    if doubts and not insist:
        confirm(list(dict.fromkeys(doubts)))
    for entries in calls:
        yield _written_again(book, entries, clock())


def _written_again(book: Book, entries: list[JournalEntry], now: datetime) -> PutBack:
    for _ in range(TRIES):
        with logbook_locked(book.farm, now.isoformat(timespec="seconds")), suppress(ChangedMeanwhile):
            destination = _destination(book, entries)
            rows = [typed_values(each) for each in entries]
            ids = [each.entry for each in entries]
            write_rows(book.farm, destination, entries[0].command, rows, now, ids)
            return PutBack(tuple(entries), destination.name, destination.rows_text(len(entries)))
    raise OutOfReach(f"{entries[0].file} is being changed by another program again and again. Nothing was put back.")


def _destination(book: Book, entries: Sequence[JournalEntry]) -> Destination:
    """Return the file that these entries of one call go into, as it is now."""
    book.scan()
    rows, table = [typed_values(each) for each in entries], entries[0].table
    columns = tuple(dict.fromkeys(name for row in rows for name in row))
    day = rows[0].get(DAYS.get(table, ""), date.min)
    assert isinstance(day, date), "a contract calls these columns days"
    return destination_for(book.farm, book.summaries, table, day, columns)[0]
