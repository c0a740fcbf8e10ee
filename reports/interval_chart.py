"""The chart of differences with their intervals: between levels, and between waiting and beginning anew."""

from __future__ import annotations

from collections.abc import Sequence

from reports.colours import paint, plain_key
from reports.drawing import Chart, LaneLabel, below, drawn, facts_of, known, lane, row_chart
from reports.figures import measured, plain, within
from reports.month import Month
from reports.vega_lite import Layer, Point, Points, Spec, channel, options
from schemas.confidence import LEVEL, percent
from schemas.result_rows import number_of

# A wider interval, in points, says nothing, and would press all others together. Our choice, no source.
WIDEST = 200


def interval_facts(month: Month, table: str, at: int, column: str, low: str = "low", high: str = "high") -> str:
    """Return a difference in words: its sign, its limits and the answer that it gives."""
    row = month.rows(table)[at]
    more = "+" if number_of(row, column) > 0 else ""
    figure = f"{more}{measured(month, table, at, column).text}{plain(within(month, table, at, low, high))}"
    return f"{figure} \u00b7 {row['verdict' if table == 'compared_pairs' else 'answer']}"


def interval_chart(
    month: Month,
    table: str,
    name: str,
    title: str,
    shown: Sequence[int],
    columns: tuple[str, str, str],
    labels: Sequence[LaneLabel],
    worth: float | None,
    part: str = "",
    axis: str = "",
) -> list[Chart]:
    """Return the chart of these rows of a table, each a point with its limits; none without rows.

    `columns`: the difference and its limits. `worth`: differences nearer to 0 lie in a band too small to act on.
    `part`: of how many it shows some. `axis`: what stands below it, where the title is too long for a phone.
    """
    rows: list[Point] = [
        drawn(month.rows(table)[at], at, *columns) | {"lane": f"{place:03}"} for place, at in enumerate(shown)
    ]
    if not rows:
        return []
    fields = [column.replace("_", "") for column in columns]
    spec = _spec(rows, fields, labels, worth, axis or title)
    limited = known(rows, *fields[1:])
    interval = f"likely range ({percent(LEVEL)})"
    keys = [plain_key("estimate", shape="dot")]
    keys += [plain_key("interval", interval, shape="line")] if limited else []
    keys += [plain_key("small")] if worth else []
    return [Chart(name, title, spec, tuple(keys), table, tuple(rows), facts_of(labels), part=part)]


def _spec(rows: Points, fields: Sequence[str], labels: Sequence[LaneLabel], worth: float | None, title: str) -> Spec:
    value, low, high = fields
    ends = [row[field] for row in rows for field in fields if row[field] is not None]
    least, most = min(0.0, *ends, -(worth or 0)), max(0.0, *ends, worth or 0)
    scale = options(domain=[least, most], nice=True)
    # The chart's title has the unit at its end, and is too long for an axis on a phone.
    axis = options(title=title.rpartition(", ")[2], tickCount=5, labelFlush=True, labelBound=True)
    y, down = lane(labels), below(tall=True)

    def x(field: str) -> Spec:
        return channel(f"{field}:Q", scale=scale, axis=axis)

    tip = [
        channel(f"{field}:Q", title=name, format="+.1f")
        for field, name in zip(fields, ("difference", "from", "to"), strict=True)
    ]
    whole = Layer([{"lane": row["lane"], "from": -(worth or 0), "to": worth or 0, "zero": 0} for row in rows])
    limited = known(rows, low, high)
    marks = (
        [
            whole.mark("bar", height=22, color=paint("small"), stroke=paint("band"), yOffset=down).encode(
                x=x("from"), x2="to:Q", y=y
            )
        ]
        if worth
        else []
    )
    marks.append(
        whole.mark("tick", height=26, thickness=2, color=paint("band"), yOffset=down, orient="vertical").encode(
            x=x("zero"), y=y
        )
    )
    if limited:
        rules = Layer(limited).mark("rule", color=paint("interval"), strokeWidth=3, yOffset=down)
        marks.append(rules.encode(x=x(low), x2=f"{high}:Q", y=y, tooltip=tip))
    dots = Layer(rows).mark("circle", color=paint("estimate"), size=130, opacity=1, yOffset=down)
    return row_chart([*marks, dots.encode(x=x(value), y=y, tooltip=tip)], labels, tall=True)
