"""A session at the scale: one line an entry, and what a line means."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from pipeline.logbook.book import Book
from pipeline.logbook.container_names import words_of_name
from pipeline.logbook.parsing import PickingOptions, default_units, is_amount, new_picking, parse_stage
from pipeline.logbook.weigh import NewPicking
from schemas.finding import WrongRequest
from schemas.phrases import counted, did_you_mean

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
class SessionLine:
    """What a line says. `kind`: entry, container (its weight follows), undo, end, help, blank, day."""

    kind: str
    picking: NewPicking | None = None
    container: str = ""
    day: str = ""
    insist: bool = False


@dataclass(frozen=True)
class SessionDefaults:
    """What holds for all entries of a session from here on. `waiting`: the container whose weight is to follow;
    `next_up`: the one that is asked for, which a weight alone is meant for.
    """

    day: date
    tare: str | None = None
    picker: str = ""
    waiting: str = ""
    next_up: str = ""


def read_line(book: Book, text: str, given: SessionDefaults) -> SessionLine:
    """Return what this line says. Raises WrongRequest for what says nothing."""
    words = text.split()
    insist = bool(words) and words[-1] == "!"
    words = words[:-1] if insist else words
    first = words[0].lower() if words else ""
    if not words:
        return SessionLine("blank")
    if len(words) == 1 and first in (*ENDS, "undo", "help", "?"):
        return SessionLine({"?": "help"}.get(first, "end" if first in ENDS else first))
    if first == "on" and len(words) == 2:
        return SessionLine("day", day=words[1])
    container, batch, rest = _split(book, words, given)
    if rest:
        return SessionLine("entry", _picking(book, given, rest, container, batch), insist=insist)
    known = book.scan().names
    if not insist and not _words_of_name(words, known):
        hint = did_you_mean(container, known)
        raise WrongRequest(f"{container}: no container is called so.{hint} Write container and weight, like 7 412.")
    return SessionLine("container", container=container)


def _split(book: Book, words: Sequence[str], given: SessionDefaults) -> tuple[str, str, list[str]]:
    """Return the container or the batch that the words name, and those behind it. A weight alone is meant for the
    container that waits for its weight, or that is asked for.
    """
    containers = book.scan()
    unit = default_units(book, given.day)["fresh_weight_g"]
    if words[0].lower() == "batch" and len(words) > 2:
        count = _words_of_name(words[1:], containers.batch_days) or 1
        return "", " ".join(words[1 : 1 + count]), list(words[1 + count :])
    count = _words_of_name(words, containers.names)
    behind = words[count:]
    if count and behind and _words_of_weight(book, behind, unit):
        return " ".join(words[:count]), "", list(behind)
    if count and not behind and " ".join(words).casefold() == given.waiting.casefold():
        return given.waiting, "", []  # scanned twice
    waiting = given.waiting or (given.next_up if not count else "")
    # Two weights without a stage between them are a container that is not known, and its weight.
    two = _words_of_weight(book, words, unit) == 1 and _words_of_weight(book, words[1:], unit)
    if waiting and _words_of_weight(book, words, unit) and not two:
        return waiting, "", list(words)
    return " ".join(words[: count or 1]), "", list(words[count or 1 :])


def _words_of_name(words: Sequence[str], names: Collection[str]) -> int:
    """Return how many of the words make the longest known name; 0 where none does."""
    return next(iter(words_of_name(words, names)), 0)


def _words_of_weight(book: Book, words: Sequence[str], unit: str) -> int:
    """Return how many of the words make the weight, at most the four of `1 lb 2 oz`; 0 where there is none."""
    cell_format = book.farm.conventions.cell_format
    return next((n for n in range(min(4, len(words)), 0, -1) if is_amount(" ".join(words[:n]), unit, cell_format)), 0)


def _picking(book: Book, given: SessionDefaults, words: Sequence[str], container: str, batch: str) -> NewPicking:
    """Return what is to be logged, by the words from the weight on."""
    count = _words_of_weight(book, words, default_units(book, given.day)["fresh_weight_g"]) or 1
    options = replace(_options(book, words[count:]), tare=given.tare)
    picking = new_picking(book, " ".join(words[:count]), given.day, container, batch, options)
    return replace(picking, picker=picking.picker or given.picker)


def _options(book: Book, words: Sequence[str]) -> PickingOptions:
    """Return what stands behind the weight: the stage, and words with a value."""
    found, left = PickingOptions(), list(words)
    while left:
        word = left.pop(0)
        key = word.lower()
        if key == "note" and left:
            return replace(found, note=" ".join(left))
        if key in ("flush", "culled", "picker") and left:
            found = replace(found, **{key: left.pop(0)})
        elif found.stage is None:
            found = replace(found, stage=word)
            parse_stage(book, "stage", word)
        else:
            raise WrongRequest(
                f"{word}: what is that? Behind the weight stand the stage, flush N, culled N, note TEXT."
            )
    return found


@dataclass(frozen=True)
class SessionEntry:
    """An entry of a session: its id, the container or batch, its weight in g, and the file."""

    entry: str
    assignment: str
    weight_g: Decimal
    file: str


@dataclass(frozen=True)
class Tally:
    """What a session logged, and the numbers of the lines that it did not."""

    entries: tuple[SessionEntry, ...] = ()
    refused: tuple[int, ...] = ()
    decimal_mark: str = "."

    def refusing(self, line: int) -> Tally:
        """Return the tally with this line among those that were not logged."""
        return replace(self, refused=(*self.refused, line))

    @property
    def so_far(self) -> str:
        """How many entries, and how many kg, up to now."""
        kg = f"{sum((each.weight_g for each in self.entries), Decimal(0)) / 1000:.3f}".replace(".", self.decimal_mark)
        return f"{counted(len(self.entries), 'entry', 'entries')}, {kg} kg"

    @property
    def summary(self) -> str:
        """What the session came to."""
        places = len({each.assignment for each in self.entries})
        files = ", ".join(dict.fromkeys(each.file for each in self.entries))
        if not self.entries:
            return "Nothing was logged."
        return f"{self.so_far}, from {counted(places, 'place')}; in {files}."
