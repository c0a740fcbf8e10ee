"""Charts on pages that run no script: drawn before, as SVG that stands in the page and takes its colours from it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from xml.etree import ElementTree

from reports.colours import Key
from reports.drawing import Chart
from reports.month import Month
from reports.sections.differences import pairs_chart
from reports.vega_lite import Spec
from reports.words import visible
from schemas.result_rows import Rows, text_of

# In px: for a telephone held upright, and for all that is wider. Our choice, no source.
NARROW_PX, WIDE_PX = 280, 640
SVG = "http://www.w3.org/2000/svg"
# What a drawing may hold: shapes, texts and how they look. Nothing that runs, loads or leads anywhere.
SHAPES = {"svg", "g", "path", "line", "rect", "circle", "text", "tspan", "defs", "clipPath"}
LOOKS = {
    *("width", "height", "viewBox", "transform", "d", "x", "y", "x1", "x2", "y1", "y2", "r", "cx", "cy", "dx", "dy"),
    *("fill", "fill-opacity", "stroke", "stroke-width", "stroke-opacity", "stroke-dasharray", "stroke-miterlimit"),
    *("opacity", "display", "font-family", "font-size", "font-weight", "text-anchor"),
}
PAINTED = re.compile(r"[\w#.,%()\s-]*")


@dataclass(frozen=True)
class Picture:
    """A chart as it stands in a page: its title, the key of its colours, what it shows in words, of how many it shows
    some, and its drawings as SVG for narrow and for wide screens.
    """

    title: str
    keys: tuple[Key, ...]
    alternative: str
    part: str
    narrow: str
    wide: str


def chart_of_pairs(rows: Rows, measure: str, about: str) -> list[Chart]:
    """Return the report's chart of differences of these rows of `compared_pairs`; none where none has an interval.
    `about`: what is measured, in words.
    """
    unit = text_of(rows[0], "unit")
    month = Month(None, date.min, date.min, "", {"compared_pairs": rows}, [], [])
    return pairs_chart(month, measure, f"Differences in {about}, {unit}")


def picture(chart: Chart, draw: Callable[[Spec], str]) -> Picture:
    """Return the chart drawn for both widths. `draw`: gives a specification with a width as SVG."""
    narrow, wide = (inline(draw({**chart.spec, "width": width})) for width in (NARROW_PX, WIDE_PX))
    return Picture(chart.title, chart.keys, visible(chart.alternative), chart.part, narrow, wide)


def inline(svg: str) -> str:
    """Return a drawing as it may stand in a page: its shapes, texts and looks alone, for the page has its alternative.

    Raises ValueError for what is no SVG.
    """
    try:
        root = ElementTree.fromstring(svg)
    except ElementTree.ParseError as problem:
        raise ValueError("the drawing is no SVG") from problem
    made = _plain(root)
    if made is None or made.tag != "svg":
        raise ValueError("the drawing is no SVG")
    made.set("aria-hidden", "true")
    return ElementTree.tostring(made, encoding="unicode")


def _plain(each: ElementTree.Element) -> ElementTree.Element | None:
    shape = each.tag.removeprefix(f"{{{SVG}}}")
    if shape not in SHAPES:
        return None
    looks = {
        name: value
        for name, value in each.attrib.items()
        if name in LOOKS and (name == "d" or PAINTED.fullmatch(value))
    }
    made = ElementTree.Element(shape, looks)
    made.text, made.tail = each.text, each.tail
    made.extend([inner for child in each if (inner := _plain(child)) is not None])
    return made
