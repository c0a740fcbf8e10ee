"""What the page says, one statement after the other: each sentence with the figures in it, and where it stands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from reports import front
from reports.figures import Figure, Sentence, field_of, plain
from reports.month import Month
from reports.next_steps import next_steps
from reports.page import sections


@dataclass(frozen=True)
class Statement:
    """A sentence of the page, or a tile of its first page: `section` is "first" there, else the section's id."""

    section: str
    part: str
    sentence: Sentence

    @property
    def text(self) -> str:
        """The statement in words."""
        return plain(self.sentence)

    @property
    def figures(self) -> tuple[Figure, ...]:
        """The figures in it, in order."""
        return tuple(part for part in self.sentence if isinstance(part, Figure))


def statements(month: Month, brief: bool = False) -> list[Statement]:
    """Return everything that the page of a month says in words, in order. `brief`: its first page alone."""
    return [*_first_page(month), *(() if brief else _sections(month))]


def _first_page(month: Month) -> Iterator[Statement]:
    yield from _each("first", "headline", front.headline(month))
    for tile in front.tiles(month):
        value: Sentence = (f"{tile.what}: ", tile.figure) if tile.figure else (f"{tile.what}:",)
        yield Statement("first", "tile", (*value, *((" ", *tile.rests_on) if tile.rests_on else ())))
        yield from (Statement("first", "before", (f"{tile.what}, ", *each)) for each in tile.before)
    yield from _each("first", "shown", [each for each in [front.shown(month)] if each])
    yield from _each("first", "next", next_steps(month))
    yield from _each("first", "warning", [each for each in [front.warning(month)] if each])


def _sections(month: Month) -> Iterator[Statement]:
    for section in sections(month):
        yield Statement(section.id, "finding", section.sentence)
        yield from _each(section.id, "note", section.notes)


def _each(section: str, part: str, found: Sequence[Sentence]) -> Iterator[Statement]:
    return (Statement(section, part, sentence) for sentence in found)


def unit_of(figure: Figure) -> str | None:
    """Return the unit of a figure's value, which may be shown in another: g of what stands there in kg."""
    table, _, column = figure.place
    if figure.formula == "change_pct":
        return "%"
    if figure.formula.startswith("count") or table == "month":
        return None
    return field_of(table, column).unit
