"""The charts of spawn rates: each batch a point, and from four rates on a curve with its band, for the eye."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt

from reports.colours import paint, plain_key
from reports.columns import TRIED
from reports.drawing import Chart, column_chart, data, drawn, known
from reports.month import Month
from reports.tables import merged
from reports.words import isolated, spoken

RECIPES_SHOWN = 3
CHART_PX = 190
# column of spawn_points: the chart's title, the axis
MEASURED: Mapping[str, tuple[str, str]] = {
    "be_pct": ("BE against spawn rate", "BE, %"),
    "days_to_pins": ("Days to pins", "days"),
    "lost_pct": ("Losses", "lost, %"),
}

Recipe = tuple[str, ...]


def spawn(month: Month) -> list[Chart]:
    """What did each batch give at its rate, for the recipes of which most batches were tried at several rates?"""
    groups: dict[Recipe, list[int]] = {}
    for at, row in enumerate(month.rows("spawn_points")):
        groups.setdefault(_recipe(row), []).append(at)
    table = month.rows("spawn_points")
    several = [name for name, of in groups.items() if len({table[at]["level_wet_pct"] for at in of}) > 1]
    most = sorted(several, key=lambda name: -len(groups[name]))[:RECIPES_SHOWN]
    return [
        chart
        for number, name in enumerate(most, start=1)
        for measure in MEASURED
        for chart in _chart(month, name, groups[name], measure, number)
    ]


def _recipe(row: Mapping[str, Any]) -> Recipe:
    return tuple(row[column] or "" for column in TRIED)


def _chart(month: Month, recipe: Recipe, places: Sequence[int], measure: str, number: int) -> list[Chart]:
    table, field = month.rows("spawn_points"), measure.replace("_", "")
    points = known([drawn(table[at], at, "rate_wet_pct", measure) for at in places], field)
    points = [{**row, "name": isolated(spoken("batch", table[row["row"]]["batch"]))} for row in points]
    if not points:
        return []
    title, axis = MEASURED[measure]
    x = alt.X("ratewetpct:Q", axis=alt.Axis(title="spawn, % of wet", tickCount=4), scale=alt.Scale(nice=True))
    curve = _curve(month, recipe, measure)
    top = 1.08 * max([row[field] for row in points] + [row["high"] for row in curve]) or 1.0
    scale = alt.Scale(domain=[0, top], nice=True, clamp=True)
    tip = [
        alt.Tooltip("name:N", title="batch"),
        alt.Tooltip("ratewetpct:Q", title="spawn, % of wet", format=".1f"),
        alt.Tooltip(f"{field}:Q", title=axis, format=".1f"),
    ]
    dots = alt.Chart(data(points)).mark_circle(color=paint("batch"), size=90, opacity=0.85)
    y = alt.Y(f"{field}:Q", axis=alt.Axis(title=axis, tickCount=4), scale=scale)
    marks = [*_curve_marks(curve, x, y.copy(), scale), dots.encode(x=x, y=y, tooltip=tip)]
    keys = [plain_key("batch", shape="dot"), *([plain_key("band-wide", "curve with its band")] if curve else [])]
    name = spoken("batch", merged("tried", table[places[0]]).text)
    spec = column_chart(marks, height=CHART_PX)
    chart_id = f"spawn-{number}-{field}"
    return [Chart(chart_id, title, spec, tuple(keys), "spawn_points", tuple(points), True, name)]


def _curve(month: Month, recipe: Recipe, measure: str) -> list[dict[str, Any]]:
    rows = month.rows("spawn_curves")
    return [
        {"ratewetpct": row["rate_wet_pct"], "value": row["value"], "low": max(0.0, row["low"]), "high": row["high"]}
        for row in rows
        if row["measure"] == measure and _recipe(row) == recipe
    ]


def _curve_marks(curve: Sequence[Mapping[str, Any]], x: alt.X, y: alt.Y, scale: alt.Scale) -> list[alt.Chart]:
    if not curve:
        return []
    base = alt.Chart(data(curve)).encode(x=x)
    axis = y["axis"]
    area = base.mark_area(color=paint("band-wide"), clip=True, line={"color": paint("band"), "strokeWidth": 1})
    line = base.mark_line(color=paint("band"), strokeWidth=2, clip=True)
    return [
        area.encode(y=alt.Y("low:Q", axis=axis, scale=scale), y2="high:Q"),
        line.encode(y=alt.Y("value:Q", axis=axis, scale=scale)),
    ]
