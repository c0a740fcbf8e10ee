"""What the page's scripts read: the charts as they are drawn, whose each mark is, and where it stands in the files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict

from reports.drawing import CONFIG, Chart, row_drawn
from reports.filters import Filters, Marks
from reports.month import Month
from reports.point_places import PointPlaces
from reports.sums import sums
from reports.vega_lite import Point, Spec

DIGITS = 6  # of a number as it is drawn: a pixel needs four. The tables have all.
Data = Mapping[str, object]


def page_data(charts: Sequence[Chart], month: Month, filters: Filters, marks: Marks) -> Data:
    """Return the specifications of these charts by their ids, once what is the same in all, and what their marks carry:
    `in`, the number of what they are of (left out where that is all), and `at`, the number of their place; and of what
    parts those figures are that are added up anew where the page is filtered.
    """
    places = PointPlaces(month)
    own = {each.id: _marked(each, marks, places) for each in charts}
    parts = sums(month, filters, marks)
    whose: dict[str, object] = {"sums": parts, "summed": _summed(charts, parts)}
    whose |= {"combinations": filters.combinations, "sets": marks.sets}
    whose |= {"places": places.found, "files": places.files}
    return {"charts": own, "all": {"config": CONFIG}, "whose": whose}


def _summed(charts: Sequence[Chart], parts: Mapping[str, object]) -> Data:
    """Return of each chart that is added up anew from which cells; those alone that have parts."""
    known = {cell.partition("/")[0] for cell in parts}
    found = {each.id: [asdict(of) for of in each.summed if of.cell.partition("/")[0] in known] for each in charts}
    return {name: of for name, of in found.items() if of}


def chart_data(charts: Sequence[Chart]) -> Data:
    """Return the specifications of these charts by their ids, and once what is the same in all."""
    return {"charts": {each.id: _own(each) for each in charts}, "all": {"config": CONFIG}}


def _own(chart: Chart) -> Spec:
    return {name: each for name, each in chart.spec.items() if name != "config"}


def _marked(chart: Chart, marks: Marks, places: PointPlaces) -> Spec:
    spec = _own(chart)
    lanes = {str(row["lane"]): marks.of_row(chart.table, int(str(row["row"]))) for row in chart.rows if _has_lane(row)}
    if "datasets" in spec:
        spec["datasets"] = {
            name: [_of_point(chart, row, lanes, marks, places) for row in rows]
            for name, rows in spec["datasets"].items()
        }
    if "data" in spec and "values" in spec["data"]:
        rows = [_of_point(chart, row, lanes, marks, places) for row in spec["data"]["values"]]
        spec["data"] = {**spec["data"], "values": rows}
    return spec


def _has_lane(row: Mapping[str, object]) -> bool:
    return "lane" in row and "row" in row


def _of_point(chart: Chart, point: Point, lanes: Mapping[str, int], marks: Marks, places: PointPlaces) -> Point:
    """Return what is drawn with its marks, and its numbers as exact as a screen can show them."""
    shown = {name: _short(value) for name, value in point.items()}
    row = row_drawn(chart.table, point)
    if row is None:
        mark, place = lanes.get(str(point.get("lane")), 0), None
    else:
        mark, place = marks.of_row(*row), places.of_row(*row)
    if mark:
        shown["in"] = mark
    if place is not None:
        shown["at"] = place
    return shown


def _short(value: object) -> object:
    return float(f"{value:.{DIGITS}g}") if isinstance(value, float) else value
