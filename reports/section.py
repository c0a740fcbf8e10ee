"""A section of the page: a heading, one plain computed sentence, notes, charts, and the tables behind them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reports.drawing import Chart, some_of
from reports.figures import Sentence, brief
from reports.tables import PageTable


@dataclass(frozen=True)
class Section:
    """One section of the page; `id` is its place to link to."""

    id: str
    title: str
    sentence: Sentence
    notes: tuple[Sentence, ...]
    charts: tuple[Chart, ...]
    tables: tuple[PageTable, ...]


def some_noted(shown: int, whole: int, things: str, by: str = "") -> list[Sentence]:
    """Return the note that a list or a row of charts shows some of many; none where it shows all."""
    part = some_of(shown, whole, things, by=by)
    return [(part,)] if part else []


def made(
    name: str,
    title: str,
    sentence: Sentence,
    notes: Sequence[Sentence],
    charts: Sequence[Chart],
    tables: Sequence[PageTable | None],
) -> Section:
    """Return the section of these parts, without the tables that have no row; sentences with few digits."""
    notes = [brief(each) for each in notes]
    return Section(name, title, brief(sentence), tuple(notes), tuple(charts), tuple(each for each in tables if each))
