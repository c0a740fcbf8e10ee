"""The charts of biological efficiency: of each batch and of each recipe, their finished units as points."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import altair as alt

from reports.colours import paint, plain_key, strain_colours, strain_keys
from reports.drawing import LANES_A_CHART, Chart, Label, Rows, Spec, across, below, colour_of, data, lane, row_chart
from reports.figures import cell, measured, unit_word
from reports.month import Month
from reports.words import isolated, spoken

BATCHES_A_CHART = 14


def batches(month: Month) -> list[Chart]:
    """The BE of each batch of which units finished, with its units as points."""
    table = month.rows("finished_batches")
    units: dict[str, list[int]] = {}
    for at, row in enumerate(month.rows("finished_units")):
        units.setdefault(row["batch"], []).append(at)
    lanes = [(at, units.get(row["batch"], [])) for at, row in enumerate(table)]
    labels = {at: Label(isolated(spoken("batch", table[at]["batch"])), _batch_facts(month, at, of)) for at, of in lanes}
    drawn = [lanes[start : start + BATCHES_A_CHART] for start in range(0, len(lanes), BATCHES_A_CHART)]
    return _be_charts(month, "finished_batches", drawn, labels, tall=False)


def _batch_facts(month: Month, at: int, of: Sequence[int]) -> str:
    row = month.rows("finished_batches")[at]
    containers = [month.rows("finished_units")[unit]["container"] for unit in of]
    if containers == [""]:
        rest = "whole batch"
    else:
        word = unit_word(containers)
        rest = f"{row['units']} {word if row['units'] == 1 else word + 's'}"
    return f"{rest} · {_be(month, 'finished_batches', at)}"


def _be(month: Month, table: str, at: int) -> str:
    if month.rows(table)[at]["be_pct"] is None:
        return "no dry mass"
    return measured(month, table, at, "be_pct").full


def recipes(month: Month) -> list[Chart]:
    """The BE of each recipe of which units finished, with its units as points."""
    columns = ("substrate", "treatment", "spawn_form")
    units: dict[tuple[str, ...], list[int]] = {}
    for at, row in enumerate(month.rows("finished_units")):
        units.setdefault(tuple(row[column] for column in columns), []).append(at)
    table = month.rows("finished_recipes")
    lanes = [(at, units.get(tuple(row[column] for column in columns), [])) for at, row in enumerate(table)]
    labels = {
        at: Label(
            isolated(" · ".join(spoken(column, table[at][column]) for column in columns)), _recipe_facts(month, at)
        )
        for at, _ in lanes
    }
    drawn = [lanes[start : start + LANES_A_CHART] for start in range(0, len(lanes), LANES_A_CHART)]
    return _be_charts(month, "finished_recipes", drawn, labels, tall=True)


def _recipe_facts(month: Month, at: int) -> str:
    row = month.rows("finished_recipes")[at]
    units = "1 unit" if row["units"] == 1 else f"{row['units']} units"
    of = "1 batch" if row["batches"] == 1 else f"{row['batches']} batches"
    return f"{units} of {of} · {_be(month, 'finished_recipes', at)}"


def _be_charts(
    month: Month,
    table: str,
    drawn: Sequence[Sequence[tuple[int, Sequence[int]]]],
    labels: Mapping[int, Label],
    tall: bool,
) -> list[Chart]:
    """Charts of BE, one for each handful of lanes; each lane is a row of `table` and the finished units in it."""
    known = [
        row["be_pct"] for name in (table, "finished_units") for row in month.rows(name) if row["be_pct"] is not None
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
        strains = {month.rows("finished_units")[row["unit_row"]]["strain"] for row in points}
        keys = (*strain_keys(month, strains), plain_key("group", shape="tick"))
        part = f", part {at} of {len(drawn)}" if len(drawn) > 1 else ""
        title = f"BE by {'batch' if name == 'batches' else 'recipe'}, each finished unit a point{part}"
        charts.append(Chart(f"{name}-{at}", title, spec, keys, table, (*groups, *points)))
    return charts


def _group(month: Month, table: str, at: int, place: int) -> dict[str, Any]:
    return {"row": at, "lane": f"{place:03}", "be": cell(month, table, at, "be_pct").value}


def _point(month: Month, at: int, place: int) -> dict[str, Any]:
    row = month.rows("finished_units")[at]
    unit = row["container"] or "whole batch"
    return {
        "unit_row": at,
        "lane": f"{place:03}",
        "be": row["be_pct"],
        "colour": strain_colours(month).get(row["strain"], "strain-other"),
        "unit": isolated(spoken("container", unit)),
        "strain": isolated(spoken("strain", row["strain"])),
    }


def _be_spec(groups: Rows, points: Rows, labels: Sequence[Label], domain: Sequence[float], tall: bool) -> Spec:
    x = across("be", "BE, % (fresh over dry substrate)", domain)
    tip = [
        alt.Tooltip("unit:N", title="container"),
        alt.Tooltip("strain:N", title="strain"),
        alt.Tooltip("be:Q", title="BE, %", format=".1f"),
    ]
    dots = alt.Chart(data(points)).mark_circle(
        size=130, opacity=0.85, yOffset=below(tall), stroke=paint("paper"), strokeWidth=1
    )
    ticks = alt.Chart(data(groups)).mark_tick(
        thickness=3, size=24, color=paint("group"), yOffset=below(tall), orient="vertical"
    )
    ticked = ticks.encode(x=x, y=lane(labels), tooltip=alt.Tooltip("be:Q", title="BE of all, %", format=".1f"))
    dotted = dots.encode(x=x, y=lane(labels), color=colour_of(points), tooltip=tip)
    return row_chart([ticked, dotted] if groups else [dotted], labels, tall)
