"""The chart of the biological efficiency of batches: their finished units as points."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reports.colours import paint, plain_key, strain_colours, strain_keys
from reports.drawing import Chart, LaneLabel, across, below, colour_of, facts_of, lane, row_chart
from reports.figures import cell, measured
from reports.month import Month
from reports.vega_lite import Layer, Point, Points, Spec, channel
from reports.words import isolated, spoken
from schemas.result_rows import number_of, text_of


def be_text(month: Month, table: str, at: int) -> str:
    """Return the BE of this row in words, with its unit."""
    row = month.rows(table)[at]
    if row["be_pct"] is None:
        return "no dry mass" if row["fresh_g"] else "all lost"
    return measured(month, table, at, "be_pct").full


def be_charts(
    month: Month,
    table: str,
    drawn: Sequence[Sequence[tuple[int, Sequence[int]]]],
    labels: Mapping[int, LaneLabel],
    tall: bool,
) -> list[Chart]:
    """Charts of BE, one for each handful of lanes; each lane is a row of `table` and the finished units in it."""
    known = [
        number_of(row, "be_pct")
        for name in (table, "finished_units")
        for row in month.rows(name)
        if row["be_pct"] is not None
    ]
    if not known:
        return []
    name = table.removeprefix("finished_")
    charts = []
    for at, lanes in enumerate(drawn, start=1):
        groups = [_group(month, table, row, place) for place, (row, _) in enumerate(lanes)]
        points = [_point(month, unit, place) for place, (_, units) in enumerate(lanes) for unit in units]
        groups = [row for row in groups if row["be"] is not None]
        points = [row for row in points if row["be"] is not None]
        if not points:
            continue
        spec = _be_spec(groups, points, [labels[row] for row, _ in lanes], [0, max(1.0, 1.05 * max(known))], tall)
        strains = {text_of(month.rows("finished_units")[row["unit_row"]], "strain") for row in points}
        keys = (*strain_keys(month, strains), plain_key("group", shape="tick"))
        part = f", part {at} of {len(drawn)}" if len(drawn) > 1 else ""
        title = f"BE by batch, each finished container a point{part}"
        facts = facts_of([labels[row] for row, _ in lanes])
        charts.append(Chart(f"{name}-{at}", title, spec, keys, table, (*groups, *points), facts))
    return charts


def _group(month: Month, table: str, at: int, place: int) -> Point:
    return {"row": at, "lane": f"{place:03}", "be": cell(month, table, at, "be_pct").value}


def _point(month: Month, at: int, place: int) -> Point:
    row = month.rows("finished_units")[at]
    unit, strain = text_of(row, "container") or "whole batch", text_of(row, "strain")
    return {
        "unit_row": at,
        "lane": f"{place:03}",
        "be": row["be_pct"],
        "colour": strain_colours(month).get(strain, "strain-other"),
        "unit": isolated(spoken("container", unit)),
        "strain": isolated(spoken("strain", strain)),
    }


def _be_spec(groups: Points, points: Points, labels: Sequence[LaneLabel], domain: Sequence[float], tall: bool) -> Spec:
    x = across("be", "BE, % (fresh over dry substrate)", domain)
    tip = [
        channel("unit:N", title="container"),
        channel("strain:N", title="strain"),
        channel("be:Q", title="BE, %", format=".1f"),
    ]
    dots = Layer(points).mark(
        "circle", size=130, opacity=0.85, yOffset=below(tall), stroke=paint("paper"), strokeWidth=1
    )
    ticks = Layer(groups).mark(
        "tick", thickness=3, size=24, color=paint("group"), yOffset=below(tall), orient="vertical"
    )
    ticked = ticks.encode(x=x, y=lane(labels), tooltip=channel("be:Q", title="BE of all, %", format=".1f"))
    dotted = dots.encode(x=x, y=lane(labels), color=colour_of(points), tooltip=tip)
    return row_chart([ticked, dotted] if groups else [dotted], labels, tall)
