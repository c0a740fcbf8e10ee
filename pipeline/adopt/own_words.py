"""Words of the grower's own: which of ours each stands for, and which of them are two spellings of one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.adopt.cells import filled
from pipeline.adopt.dialogue import Dialogue
from pipeline.adopt.matching import SheetMatch
from pipeline.farm.conventions import FREE_WORDS, folded, folded_word
from schemas.contract import Field, contract
from schemas.finding import nearest
from schemas.phrases import listed
from schemas.spellings import spellings
from schemas.trade_words import plain_word


@dataclass(frozen=True)
class Word:
    """A word of a coded column that gillbook does not know. `ours`: what it may mean (None: nothing is near)."""

    column: str
    word: str
    ours: str | None
    where: str


def unknown_words(matches: Sequence[SheetMatch], talk: Dialogue) -> list[Word]:
    """Return the words of coded columns that are not known, and what they mean where the grower agrees. Spellings that
    differ in accents alone are one word.
    """
    found: dict[tuple[str, str], Word] = {}
    for each in matches:
        for one in each.matched:
            column = contract(one.table).field(one.column)
            if not column.words:
                continue
            for row, cell in each.sheet.column(one.at):
                word = folded_word(cell)
                if word in column.words or word in column.synonyms or not filled([cell]):
                    continue
                if (one.column, word) not in found:
                    where = f"{each.sheet.called}, row {row}"
                    ours = _meant(column, cell, where, talk)
                    found[one.column, word] = Word(one.column, folded(cell), ours, where)
    return list(found.values())


def one_spelling(matches: Sequence[SheetMatch], talk: Dialogue) -> list[Word]:
    """Return the spellings of the grower's own words that are one with another, where the grower agrees."""
    places: dict[str, dict[str, list[str]]] = {}
    for each in matches:
        for one in each.matched:
            if one.column in FREE_WORDS:
                for row, cell in each.sheet.column(one.at):
                    places.setdefault(one.column, {}).setdefault(cell, []).append(f"{each.sheet.called}, row {row}")
    found: dict[tuple[str, str], Word] = {}
    for column, cells in places.items():
        for each_word in spellings({cell: len(where) for cell, where in cells.items()}):
            where = cells[each_word.others[0]][0]
            written = listed([f'"{text}"' for text in (*each_word.others, each_word.usual)])
            text = f"{written} ({where}): are they one {column.replace('_', ' ')}?"
            if talk.agrees(f"spelling {each_word.usual}", text):
                for other in each_word.others:
                    found.setdefault((column, folded_word(other)), Word(column, folded(other), each_word.usual, where))
    return list(found.values())


def _meant(column: Field, cell: str, where: str, talk: Dialogue) -> str | None:
    """The word of ours that this one means, if it may mean one and the grower agrees."""
    plain = plain_word(cell).replace(" ", "_")
    ours = column.guesses.get(plain) or nearest(plain, (*column.words, *column.guesses))
    ours = column.guesses.get(ours, ours) if ours else None
    text = f'"{cell}" ({where}): is that the {column.title.lower()} {ours}?'
    return ours if ours and talk.agrees(f"word {plain}", text) else None
