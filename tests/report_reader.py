"""A reader of the report's page, in plain Python: its figures, its texts, its scripts, its charts' data."""

from __future__ import annotations

import gzip
import json
from base64 import b64decode
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from reports.month import Month

VOID = {"meta", "br", "img", "link", "input", "hr"}
# Where a number may stand that is no figure of a result table: dates, names, coded heads and what others wrote.
NO_FIGURES = {
    "bdi",
    "time",
    "th",
    "summary",
    "figcaption",
    "script",
    "style",
    "title",
    "h1",
    "nav",
    "noscript",
    "option",
}


@dataclass
class Page(HTMLParser):
    """What stands on a page. `figures`: (attributes, text) each; `loose`: text that is neither a figure nor exempt."""

    figures: list[tuple[dict[str, str], str]] = field(default_factory=list)
    loose: list[str] = field(default_factory=list)
    scripts: list[str] = field(default_factory=list)
    tags: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    text: str = ""
    _open: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    _columns: list[str] = field(default_factory=list)
    _place: int = 0

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = {name: value or "" for name, value in attrs}
        self.tags.append((tag, named))
        if tag not in VOID:
            self._open.append((tag, named))
        if tag == "table":
            self._columns = []
        self._place = 0 if tag == "tr" else self._place + (tag in ("td", "th"))
        if tag == "th":
            self._columns.append(named.get("data-column", ""))
        if "figure" in named.get("class", "").split():
            self._trace(tag, named)
            self.figures.append((named, ""))

    def _trace(self, tag: str, named: dict[str, str]) -> None:
        """Names the cell that a figure of a table shows whole: what is left out stands at its table, row and head."""
        if tag == "td" and "data-cell" not in named:
            named["data-cell"] = self._columns[self._place - 1]
        if "data-cell" in named and "/" not in named["data-cell"]:
            of = {name: kept[name] for _, kept in self._open for name in ("data-table", "data-row") if name in kept}
            named["data-cell"] = f"{of['data-table']}/{of['data-row']}/{named['data-cell']}"

    def handle_endtag(self, tag: str) -> None:
        assert self._open[-1][0] == tag, f"</{tag}> within {[name for name, _ in self._open]}"
        self._open.pop()

    def handle_data(self, data: str) -> None:
        names = {name for name, _ in self._open}
        if "script" in names:
            self.scripts.append(data)
            return
        if "style" in names:
            return
        self.text += data
        if self._open and "figure" in self._open[-1][1].get("class", "").split():
            attributes, text = self.figures[-1]
            self.figures[-1] = (attributes, text + data)
        elif not names & NO_FIGURES and not self._within("definitions", "cautions"):
            self.loose.append(data)

    def _within(self, *ids: str) -> bool:
        return any(named.get("id") in ids for _, named in self._open)

    @property
    def charts(self) -> dict[str, Any]:
        """The specification of each chart, by its id."""
        found: dict[str, Any] = self.drawn["charts"]
        return found

    @property
    def drawn(self) -> dict[str, Any]:
        """What the page's scripts read, unpacked."""
        found: dict[str, Any] = json.loads(gzip.decompress(b64decode(self.scripts[0])))
        return found


def read_page(text: str) -> Page:
    """Reads a page to its end. Fails where its elements do not close as they opened."""
    page = Page()
    page.feed(text)
    page.close()
    assert not page._open
    return page


def told_by(month: Month, attributes: Mapping[str, str]) -> float | int | None:
    """Which value should the figure with these attributes show, by the tables alone?"""
    tables = {**month.tables, "month": [month.counts]}
    if "data-formula" not in attributes:
        table, row, column = attributes["data-cell"].split("/")
        value: float | int | None = tables[table][int(row)][column]
        return value
    inputs = [place.split("/") for place in attributes["data-inputs"].split()]
    if attributes["data-formula"] in ("difference", "change_pct"):
        left, right = (tables[table][int(row)][column] for table, row, column in inputs)
        return left - right if attributes["data-formula"] == "difference" else 100 * (left - right) / right
    table, _, column = inputs[0]
    if attributes["data-formula"] == "count":
        return len(tables[table])
    values = [row[column] for row in tables[table]]
    return sum(values) if attributes["data-formula"] == "sum" else sum(1 for value in values if value)


def data_rows(spec: Any) -> Iterator[dict[str, Any]]:
    """Which rows does a chart draw?"""
    for rows in spec.get("datasets", {}).values():
        yield from rows
    for part in (spec, *spec.get("layer", ())):
        yield from part.get("data", {}).get("values", ())
