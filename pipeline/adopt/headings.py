"""Headings of the grower's own: the columns that each may stand for, and the unit it names."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from pipeline.adopt.money_headings import parse_money_heading
from pipeline.adopt.unit_words import FOREIGN, UNITS
from pipeline.farm.conventions import folded
from pipeline.farm.units import units_of
from schemas.contract import BOOKS, GROWING, INPUTS, Field, contract
from schemas.exported import heading_of
from schemas.trade_words import plain_word, trade_headings

BRACKETS = re.compile(r"[(\[{]\s*([^()\[\]{}]*?)\s*[)\]}]")
# So short a unit at the end of a heading is one only after a mark or "in": "B" and "C" may be names.
AT_END = re.compile(r"(?:[_/,:;]\s*|\s+in\s+|\s+)(g ?/ ?l|g_per_l|us gal(?:lons?)?|[^\s_/,:;]+)$")


@dataclass(frozen=True)
class HeadingWords:
    """A heading without what is not its name: `words`, in lower case; `unit`, ours (None: none is named); `foreign`, a
    unit that no column can be written in; `fewer`, the words without those in brackets.
    """

    words: str
    unit: str | None = None
    foreign: str | None = None
    fewer: str = ""


def parse_heading(heading: str) -> HeadingWords:
    """Return what a heading says beside the unit that it names."""
    text = folded(heading)
    for inside in BRACKETS.finditer(text):
        unit = _unit(inside[1])
        if unit:
            return _heading_words(text[: inside.start()] + " " + text[inside.end() :], *unit)
        last = AT_END.search(inside[1])
        unit = _unit(last[1]) if last else None
        if last and unit:
            return _heading_words(f"{text[: inside.start()]} {inside[1][: last.start()]} {text[inside.end() :]}", *unit)
    if text.rstrip().endswith("%"):
        return _heading_words(text.rstrip().rstrip("%"), "%", None)
    at_end = AT_END.search(text)
    unit = _unit(at_end[1]) if at_end else None
    if at_end and unit:
        return _heading_words(text[: at_end.start()], *unit)
    alone = _unit(text)
    return HeadingWords("", *alone) if alone and text not in ("c", "f", "t", "h") else _heading_words(text, None, None)


def _heading_words(text: str, unit: str | None, foreign: str | None) -> HeadingWords:
    return HeadingWords(_words(text), unit, foreign, _words(BRACKETS.sub(" ", text)))


def _words(text: str) -> str:
    text = re.sub(r"[#\u2116]|\bn[\u00b0\u00ba]|\b(?:nr|num|number)\b\.?", " no ", text.replace("_", " "))
    return plain_word(text)


def _unit(text: str) -> tuple[str | None, str | None] | None:
    word = " ".join(text.strip(" .").split())
    if word in UNITS:
        return UNITS[word], None
    return (None, word) if word in FOREIGN else None


@dataclass(frozen=True)
class Candidate:
    """A column that a heading may stand for. `rank`: 0 for its own name or title, else how usual the wording is, the
    most usual first; `unit`: the unit to be written into farm.toml (None: the column's own).
    """

    rank: int
    table: str
    column: str
    unit: str | None = None

    @property
    def field(self) -> Field:
        """The column in its contract."""
        return contract(self.table).field(self.column)


@cache
def candidates(heading: str) -> tuple[Candidate, ...]:
    """Return the columns that this heading may stand for, by its wording and its unit."""
    read = parse_heading(heading)
    if not (read.words or read.unit or parse_money_heading(heading).words):
        return ()
    return tuple(each for each in _named(heading, read) if _unit_fits(each, read))


def _named(heading: str, read: HeadingWords) -> Iterator[Candidate]:
    ranks: dict[tuple[str, str], int] = {}
    # One that names a currency is of money, and of nothing else.
    named = () if parse_money_heading(heading).mark else (read.words or ("weight" if read.unit else ""), read.fewer)
    for words in dict.fromkeys(named):
        for place, table, column, unit in _wordings().get(words, ()):
            # Hours and shares must be named: "soak" alone is no time, "water" no moisture.
            if unit not in ("h", "%") or read.unit == unit:
                ranks.setdefault((table, column), place)
    for table in INPUTS:
        for each in contract(table).fields:
            if each.money:
                yield from _of_money(heading, table, each)
                continue
            own = heading in (each.name, heading_of(each))
            rank: int | None = 0 if own else ranks.get((table, each.name))
            # A heading that is nothing but a unit is a weight that was picked, sold or promised, or nothing.
            if rank is not None and (read.words or each.name in ("fresh_weight_g", "weight_g")):
                yield Candidate(rank, table, each.name, None if own or read.unit == each.unit else read.unit)


def _of_money(heading: str, table: str, column: Field) -> Iterator[Candidate]:
    """The column of money, where the heading may stand for it: of a kilogram, of any unit, or of no unit."""
    read = parse_money_heading(heading)
    words = [parse_money_heading(wording).words for wording in wordings_of(table, column.name)]
    fits = read.per in (None, "kg") if column.money == "kg" else column.money == "unit" or read.per is None
    if heading in (column.name, heading_of(column)):
        yield Candidate(0, table, column.name)
    elif read.words in words and fits:
        yield Candidate(words.index(read.words) + 1, table, column.name)


@cache
def _wordings() -> dict[str, list[tuple[int, str, str, str | None]]]:
    """Return by its words which columns each known wording stands for: its rank (the likeliest first), table, column
    and unit.
    """
    found: dict[str, list[tuple[int, str, str, str | None]]] = {}
    for table in INPUTS:
        for each in contract(table).fields:
            for place, wording in enumerate(wordings_of(table, each.name), start=1):
                read = parse_heading(wording)
                found.setdefault(read.words, []).append((place, table, each.name, read.unit))
    return found


def wordings_of(table: str, column: str) -> tuple[str, ...]:
    """Return how the column may be called, the likeliest first."""
    return (column, *contract(table).field(column).headings, *trade_headings(table, column))


@cache
def known_wordings(books: bool) -> tuple[str, ...]:
    """Return all wordings that are known, in small letters: of what grows, or of the books."""
    tables = BOOKS if books else GROWING
    return tuple(words for words, means in _wordings().items() if any(each[1] in tables for each in means))


def _unit_fits(candidate: Candidate, read: HeadingWords) -> bool:
    if candidate.rank == 0:
        return True
    if read.foreign:
        return False
    return candidate.unit is None or candidate.unit in units_of(candidate.field.unit)
