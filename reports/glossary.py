"""What the words on the page mean: every measure shown, from its contract, with its unit and source."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from reports.columns import View
from reports.figures import field_of
from schemas.contract import contract

# The units of contracts, in words.
UNIT_NAMES = {"g": "g, shown in kg", "%": "%", "d": "days"}


@dataclass(frozen=True)
class Entry:
    """One measure: title, unit, description and source as its contract has them."""

    title: str
    name: str
    unit: str
    description: str
    source: str

    @property
    def says_more_than_title(self) -> bool:
        """Whether the description says more than the title."""
        return self.description.rstrip(".") != self.title or bool(self.source)


@dataclass(frozen=True)
class Chapter:
    """The measures of one result table, and what the table tells."""

    title: str
    description: str
    entries: tuple[Entry, ...]


def definitions(tables: Collection[str], views: Sequence[View]) -> list[Chapter]:
    """Return how the measures of these result tables are defined, in the order of the views that show them."""
    return [_chapter(name, views) for name in dict.fromkeys(view.source for view in views) if name in tables]


def _chapter(name: str, views: Sequence[View]) -> Chapter:
    table = contract(name)
    columns = dict.fromkeys(column for view in views if view.source == name for column in view.measures)
    entries = tuple(each for each in (_entry(name, column) for column in columns) if each.says_more_than_title)
    return Chapter(table.title, f"{table.description} {_sentence(table.grain)}", entries)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def _entry(name: str, column: str) -> Entry:
    each = field_of(name, column)
    unit = UNIT_NAMES.get(each.unit or "", each.unit or "")
    source = _source(name, each.source or "")
    return Entry(each.title, column, unit, each.description, source)


def _source(name: str, text: str) -> str:
    """A source may say "as COLUMN"; then it is that column's."""
    other = text.removeprefix("as ")
    return field_of(name, other).source or "" if other != text and other in contract(name).names else text


def sources(chapters: Sequence[Chapter]) -> list[tuple[str, str]]:
    """Return the sources behind the measures, and behind which. One (source, measures) each, in order."""
    found: dict[str, list[str]] = {}
    for entry in (entry for chapter in chapters for entry in chapter.entries if entry.source):
        titles = found.setdefault(entry.source, [])
        if entry.title not in titles:
            titles.append(entry.title)
    return [(source, ", ".join(titles)) for source, titles in found.items()]


def what_counts() -> str:
    """Return what is counted as a container, as the contract of the yields has it."""
    description = contract("yields").description
    return description[description.index("Containers are counted") :]
