"""A section of the page: a heading, one plain computed sentence, notes, charts, and the tables behind them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reports.drawing import Chart
from reports.figures import Sentence
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


def made(
    name: str,
    title: str,
    sentence: Sentence,
    notes: Sequence[Sentence],
    charts: Sequence[Chart],
    tables: Sequence[PageTable | None],
) -> Section:
    """Return the section of these parts, without the tables that have no row."""
    return Section(name, title, sentence, tuple(notes), tuple(charts), tuple(each for each in tables if each))
