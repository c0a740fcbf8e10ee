"""A session at the scale: one line an entry, and what a line means."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from pipeline.logbook.amounts import amount
from pipeline.logbook.asking import (
    amount_or_none,
    bare_units,
    checked,
    flush_of_text,
    is_amount,
    named,
    net,
    stage_of,
)
from pipeline.logbook.book import Book
from pipeline.logbook.weigh import Asked
from schemas.finding import WrongRequest, nearest

ENDS = ("end", "quit", "exit")
HELP = """\
7 412          container and weight, in {unit}; or 7 412g, 7 0{mark}41 kg, 7 14{mark}5oz, 7 1lb 2oz
7 412 t        with the stage: c curled, t turned_down, f flat, u turned_up
7 412 t flush 2 culled 30 note TEXT     with more
7              the container alone, as a scanner types it; the weight comes in the next line
412            the weight alone: for the container that is asked for; Enter goes on to the next
batch B12 3400 weighed together for the whole batch
7 4120 !       log it although it is doubtful
undo           take back the last entry         on 2026-05-30     another day from here on
end            end the session"""


@dataclass(frozen=True)
class Line:
    """What a line says. `kind`: entry, container (its weight follows), undo, end, help, blank, day."""

    kind: str
    asked: Asked | None = None
    container: str = ""
    day: str = ""
    insist: bool = False


@dataclass(frozen=True)
class Given:
    """What holds for all entries of a session from here on. `waiting`: the container whose weight is to follow;
    `next_up`: the one that is asked for, which a weight alone is meant for.
    """

    day: date
    tare: str | None = None
    picker: str = ""
    waiting: str = ""
    next_up: str = ""


def read_line(book: Book, text: str, given: Given) -> Line:
    """What does this line say? Raises WrongRequest for what says nothing."""
    words = text.split()
    insist = bool(words) and words[-1] == "!"
    words = words[:-1] if insist else words
    first = words[0].lower() if words else ""
    if not words:
        return Line("blank")
    if len(words) == 1 and first in (*ENDS, "undo", "help", "?"):
        return Line({"?": "help"}.get(first, "end" if first in ENDS else first))
    if first == "on" and len(words) == 2:
        return Line("day", day=words[1])
    container, batch, rest = _parted(book, words, given)
    if rest:
        return Line("entry", _asked(book, given, rest, container, batch), insist=insist)
    known = book.look().containers
    if not insist and not _known(words, known):
        meant = nearest(container, known)
        hint = f" Did you mean {meant}?" if meant else ""
        raise WrongRequest(f"{container}: no container is called so.{hint} Write container and weight, like 7 412.")
    return Line("container", container=container)


def _parted(book: Book, words: Sequence[str], given: Given) -> tuple[str, str, list[str]]:
    """Which container or batch do the words name, and which stand behind it? A weight alone is meant for the container
    that waits for its weight, or that is asked for.
    """
    places = book.look()
    unit = bare_units(book, given.day)["fresh_weight_g"]
    if words[0].lower() == "batch" and len(words) > 2:
        count = _known(words[1:], tuple(places.batch_days)) or 1
        return "", " ".join(words[1 : 1 + count]), list(words[1 + count :])
    count = _known(words, places.containers)
    behind = words[count:]
    if count and behind and _weight_words(book, behind, unit):
        return " ".join(words[:count]), "", list(behind)
    if count and not behind and " ".join(words).casefold() == given.waiting.casefold():
        return given.waiting, "", []  # scanned twice
    meant = given.waiting or (given.next_up if not count else "")
    # Two weights without a stage between them are a container that is not known, and its weight.
    two = _weight_words(book, words, unit) == 1 and _weight_words(book, words[1:], unit)
    if meant and _weight_words(book, words, unit) and not two:
        return meant, "", list(words)
    return " ".join(words[: count or 1]), "", list(words[count or 1 :])


def _known(words: Sequence[str], names: Sequence[str]) -> int:
    """How many of the words make a known name, the longest? 0 where none does."""
    folded = {name.casefold() for name in names}
    return next((n for n in range(len(words), 0, -1) if " ".join(words[:n]).casefold() in folded), 0)


def _weight_words(book: Book, words: Sequence[str], unit: str) -> int:
    """How many of the words make the weight, at most the four of `1 lb 2 oz`? 0 where there is none."""
    cell_format = book.farm.conventions.cell_format
    return next((n for n in range(min(4, len(words)), 0, -1) if is_amount(" ".join(words[:n]), unit, cell_format)), 0)


def _asked(book: Book, given: Given, words: Sequence[str], container: str, batch: str) -> Asked:
    """What is to be logged, by the words from the weight on?"""
    units, cell_format = bare_units(book, given.day), book.farm.conventions.cell_format
    unit = units["fresh_weight_g"]
    count = _weight_words(book, words, unit)
    gross = amount("weight", " ".join(words[: count or 1]), "g", unit, cell_format)
    told = _more(book, words[count:])
    return checked(
        cell_format,
        Asked(
            net(gross, given.tare, unit, cell_format),
            given.day,
            container,
            batch,
            flush_of_text("flush", told.flush),
            stage_of(book, "stage", told.stage),
            amount_or_none("culled", told.culled, units["culled_g"], cell_format),
            named("picker", told.picker) or given.picker,
            told.note,
        ),
    )


@dataclass(frozen=True)
class _More:
    stage: str | None = None
    flush: str | None = None
    culled: str | None = None
    picker: str | None = None
    note: str = ""


def _more(book: Book, words: Sequence[str]) -> _More:
    """What stands behind the weight: the stage, and words with a value?"""
    found, left = _More(), list(words)
    while left:
        word = left.pop(0)
        key = word.lower()
        if key == "note" and left:
            return replace(found, note=" ".join(left))
        if key in ("flush", "culled", "picker") and left:
            found = replace(found, **{key: left.pop(0)})
        elif found.stage is None:
            found = replace(found, stage=word)
            stage_of(book, "stage", word)
        else:
            raise WrongRequest(
                f"{word}: what is that? Behind the weight stand the stage, flush N, culled N, note TEXT."
            )
    return found


@dataclass(frozen=True)
class Tally:
    """What a session logged and did not: entries as (id, container or batch, grams, file), and the lines not logged."""

    entries: tuple[tuple[str, str, Decimal, str], ...] = ()
    refused: tuple[int, ...] = ()
    decimal_mark: str = "."

    def refusing(self, line: int) -> Tally:
        """With this line among those that were not logged."""
        return replace(self, refused=(*self.refused, line))

    @property
    def so_far(self) -> str:
        """How many entries, and how many kg, up to now?"""
        count = len(self.entries)
        kg = f"{sum((each[2] for each in self.entries), Decimal(0)) / 1000:.3f}".replace(".", self.decimal_mark)
        return f"{count} {'entry' if count == 1 else 'entries'}, {kg} kg"

    @property
    def summary(self) -> str:
        """What did the session come to?"""
        places = len({each[1] for each in self.entries})
        files = ", ".join(dict.fromkeys(each[3] for each in self.entries))
        if not self.entries:
            return "Nothing was logged."
        return f"{self.so_far}, from {places} {'place' if places == 1 else 'places'}; in {files}."
