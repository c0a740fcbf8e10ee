"""The charts of how it grows: flush after flush, and how long until pins."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from reports.colours import MEANINGS, paint, plain_key
from reports.drawing import (
    LANES_A_CHART,
    Chart,
    Label,
    across,
    below,
    column_chart,
    data,
    lane,
    row_chart,
    stacked_chart,
)
from reports.figures import measured
from reports.month import Month
from reports.sentences import FEWEST_FOR_QUARTILES
from reports.words import isolated, spoken

CURVES_SHOWN = 6


def flush_curves(month: Month) -> list[Chart]:
    """How much each flush gave against the first: a small chart for each substrate with more than one flush told."""
    groups: dict[str, list[int]] = {}
    for at, row in enumerate(month.rows("flushes")):
        if row["decline_vs_first"] is not None:
            groups.setdefault(row["substrate"], []).append(at)
    most = sorted(
        (name for name, rows in groups.items() if len(rows) > 1), key=lambda name: -_known(month, groups[name])
    )
    return [_curve(month, name, groups[name], at) for at, name in enumerate(most[:CURVES_SHOWN], start=1)]


def _known(month: Month, places: Sequence[int]) -> int:
    return max(int(month.rows("flushes")[at]["units_known"]) for at in places)


def _curve(month: Month, substrate: str, places: Sequence[int], number: int) -> Chart:
    table = month.rows("flushes")
    rows = [
        {
            "row": at,
            "flush": str(table[at]["flush"]),
            "decline": table[at]["decline_vs_first"],
            "n": table[at]["units_known"],
        }
        for at in places
    ]
    x = alt.X("flush:N", sort=None, axis=alt.Axis(title="flush", labelAngle=0), scale=alt.Scale(padding=0.4))
    # Room above the highest point for its figure.
    top = 1.2 * max(row["decline"] for row in rows)
    axis = alt.Axis(title="fresh, flush 1 = 1", tickCount=4)
    y = alt.Y("decline:Q", axis=axis, scale=alt.Scale(domain=[0, top], nice=False))
    tip = [
        alt.Tooltip("flush:N", title="flush"),
        alt.Tooltip("decline:Q", title="against flush 1", format=".2f"),
        alt.Tooltip("n:Q", title="units known"),
    ]
    base = alt.Chart(data(rows)).encode(x=x, y=y, tooltip=tip)
    texts = base.mark_text(baseline="bottom", dy=-10).encode(text=alt.Text("decline:Q", format=".2f"))
    marks = [
        base.mark_line(color=paint("known"), strokeWidth=3),
        base.mark_circle(color=paint("known"), size=120, opacity=1),
        texts,
    ]
    spec = column_chart(marks, height=190)
    return Chart(
        f"curve-{number}", "Flush curve", spec, (), "flushes", tuple(rows), True, spoken("substrate", substrate)
    )


def flush_states(month: Month) -> list[Chart]:
    """Of how many units each flush is known, and of how many not yet."""
    table = month.rows("flushes")
    places = [at for at, row in enumerate(table) if row["units_known"] or row["units_not_yet"]][:LANES_A_CHART]
    rows, labels = [], []
    for place, at in enumerate(places):
        known, not_yet = table[at]["units_known"], table[at]["units_not_yet"]
        name = f"{isolated(spoken('substrate', table[at]['substrate']))}, flush {table[at]['flush']}"
        labels.append(Label(name, f"{known} known, {not_yet} not yet"))
        rows += [
            {"row": at, "lane": f"{place:03}", "units": count, "colour": colour, "means": MEANINGS[colour]}
            for colour, count in (("known", known), ("not-yet", not_yet))
        ]
    title = "Units known through each flush, and not yet"
    return stacked_chart(rows, labels, "flush-states", title, "flushes", ("known", "not-yet"), tall=True)


def pins(month: Month) -> list[Chart]:
    """How many days it took from inoculation to pins, by substrate."""
    table = month.rows("days")
    places = [at for at, row in enumerate(table) if row["wait"] == "inoculated_to_pins"]
    places = sorted(places, key=lambda at: -table[at]["n"])[:LANES_A_CHART]
    rows, labels = [], []
    for place, at in enumerate(places):
        row = table[at]
        median = f"median {measured(month, 'days', at, 'median_days').full} of {row['n']}" if row["n"] else "none told"
        facts = f"{median} · {row['units_not_yet']} not yet · {row['units_lost']} lost"
        labels.append(Label(isolated(spoken("substrate", row["substrate"])), facts))
        if row["n"]:
            enough = row["n"] >= FEWEST_FOR_QUARTILES
            rows.append(
                {"row": at, "lane": f"{place:03}", "median": row["median_days"], "enough": enough}
                | {"q1": row["q1_days"], "q3": row["q3_days"]}
            )
    if not rows:
        return []
    tip = [
        alt.Tooltip("q1:Q", title="first quartile, d", format=".1f"),
        alt.Tooltip("median:Q", title="median, d", format=".1f"),
        alt.Tooltip("q3:Q", title="third quartile, d", format=".1f"),
    ]
    x, y = across("median", "days from inoculation to pins"), lane(labels)
    ticks = alt.Chart(data(rows)).mark_tick(
        thickness=4, size=24, color=paint("median"), yOffset=below(True), orient="vertical"
    )
    marks = [ticks.encode(x=x, y=y, tooltip=tip)]
    halves = [row for row in rows if row["enough"]]
    if halves:
        bars = alt.Chart(data(halves)).mark_bar(height=14, color=paint("half"), yOffset=below(True))
        marks.insert(0, bars.encode(x=across("q1", "days from inoculation to pins"), x2="q3:Q", y=y, tooltip=tip))
    keys = (*([plain_key("half")] if halves else []), plain_key("median", shape="tick"))
    return [Chart("pins", "Days to pins", row_chart(marks, labels, tall=True), keys, "days", tuple(rows))]
