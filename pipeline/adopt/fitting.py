"""Which columns a heading may stand for by its cells as well: numbers, days, words of the contract."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.adopt.cells import filled, looks_date, looks_number
from pipeline.adopt.headings import Candidate, candidates, wordings_of
from pipeline.farm.conventions import folded_word
from schemas.contract import BOOKS, INPUTS, Field, contract
from schemas.currency import without_mark
from schemas.trade_words import plain_word

# Names and notes, which may be numbers; a word of a recipe that is all numbers is something else.
NAMES = frozenset(
    each.name
    for name in INPUTS
    for each in contract(name).fields
    if each.type == "string" and not each.recipe and not each.words
)
# Headings that any dated table may have.
ANY_DAY = ("date", "day", "when", "fecha", "dia", "datum", "tag", "jour", "data")


def fitting(heading: str, cells: Sequence[str]) -> list[Candidate]:
    """Return the columns that this heading may stand for, by its wording, its unit and the cells below it."""
    said = filled(cells)
    return [each for each in candidates(heading) if cells_fit(each, said)]


def cells_fit(candidate: Candidate, cells: Sequence[str]) -> bool:
    """Whether most cells are of the kind that the column holds."""
    if not cells:
        return True
    if candidate.field.money:
        cells = [without_mark(cell) for cell in cells]
    numbers, dates = sum(map(looks_number, cells)), sum(map(looks_date, cells))
    if candidate.field.type == "date":
        return 2 * dates >= len(cells)
    if candidate.field.type in ("number", "integer"):
        return 2 * numbers >= len(cells)
    if candidate.table in BOOKS and candidate.field.words:
        return 2 * sum(is_word_of(candidate.field, cell) for cell in cells) >= len(cells)
    return candidate.column in NAMES or max(numbers, dates) < len(cells)


def is_word_of(column: Field, cell: str) -> bool:
    """Whether this cell is a word of the column, or may stand for one."""
    plain = plain_word(cell).replace(" ", "_")
    return any(word in (*column.words, *column.synonyms, *column.guesses) for word in (folded_word(cell), plain))


def is_any_day(candidate: Candidate) -> bool:
    """Whether it is a table's day only because the heading says no more than that."""
    if candidate.field.type != "date" or candidate.rank == 0:
        return False
    return candidate.rank > 1 and wordings_of(candidate.table, candidate.column)[candidate.rank - 1] in ANY_DAY
