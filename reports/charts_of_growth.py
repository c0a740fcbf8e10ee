"""The charts of how it grows: flush after flush, and by which day pins show."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from reports.colours import MEANINGS, paint, plain_key
from reports.drawing import (
    LANES_A_CHART,
    Chart,
    Label,
    column_chart,
    data,
    drawn,
    known,
    stacked_chart,
)
from reports.month import Month
from reports.words import isolated, spoken

CURVES_SHOWN = 6
NARROW_PX = 190


def flush_curves(month: Month) -> list[Chart]:
    """What each flush gives of the first, per container started: a small chart for each substrate with two flushes."""
    groups: dict[str, list[int]] = {}
    for at, row in enumerate(month.rows("flushes")):
        if row["decline_started"] is not None:
            groups.setdefault(row["substrate"], []).append(at)
    most = sorted(
        (name for name, rows in groups.items() if len(rows) > 1), key=lambda name: -_known(month, groups[name])
    )
    return [_curve(month, name, groups[name], at) for at, name in enumerate(most[:CURVES_SHOWN], start=1)]


def _known(month: Month, places: Sequence[int]) -> int:
    return max(int(month.rows("flushes")[at]["units_known"]) for at in places)


def _curve(month: Month, substrate: str, places: Sequence[int], number: int) -> Chart:
    table = month.rows("flushes")
    columns = ("decline_started", "decline_started_low", "decline_started_high", "units_known")
    rows = [drawn(table[at], at, *columns) | {"number": str(table[at]["flush"])} for at in places]
    limited = known(rows, "declinestartedlow", "declinestartedhigh")
    x = alt.X("number:N", sort=None, axis=alt.Axis(title="flush", labelAngle=0), scale=alt.Scale(padding=0.4))
    # Room above the highest point for its figure.
    top = 1.2 * max([row["declinestarted"] for row in rows] + [row["declinestartedhigh"] for row in limited])
    axis = alt.Axis(title="of flush 1", tickCount=4)
    scale = alt.Scale(domain=[0, top], nice=False)
    y = alt.Y("declinestarted:Q", axis=axis, scale=scale)
    tip = [
        alt.Tooltip("number:N", title="flush"),
        alt.Tooltip("declinestarted:Q", title="of flush 1, per container started", format=".2f"),
        alt.Tooltip("declinestartedlow:Q", title="from", format=".2f"),
        alt.Tooltip("declinestartedhigh:Q", title="to", format=".2f"),
        alt.Tooltip("unitsknown:Q", title="units known"),
    ]
    base = alt.Chart(data(rows)).encode(x=x, y=y, tooltip=tip)
    marks = [
        base.mark_line(color=paint("band"), strokeWidth=2),
        base.mark_circle(color=paint("estimate"), size=110, opacity=1),
        base.mark_text(align="left", baseline="bottom", dx=8, dy=-4).encode(
            text=alt.Text("declinestarted:Q", format=".2f")
        ),
    ]
    if limited:
        rules = alt.Chart(data(limited)).mark_rule(color=paint("interval"), strokeWidth=2)
        ends = {"y": alt.Y("declinestartedlow:Q", axis=axis, scale=scale), "y2": "declinestartedhigh:Q"}
        marks.insert(1, rules.encode(x=x, tooltip=tip, **ends))
    keys = (
        plain_key("estimate", shape="dot"),
        *([plain_key("interval", "95 % limits", shape="line")] if limited else []),
    )
    name = spoken("substrate", substrate)
    spec = column_chart(marks, height=NARROW_PX)
    return Chart(f"curve-{number}", "Flush curve", spec, keys, "flushes", tuple(rows), True, name)


def flush_states(month: Month) -> list[Chart]:
    """Of how many units each flush is known, and of how many not yet."""
    table = month.rows("flushes")
    places = [at for at, row in enumerate(table) if row["units_known"] or row["units_not_yet"]][:LANES_A_CHART]
    rows, labels = [], []
    for place, at in enumerate(places):
        told, not_yet = table[at]["units_known"], table[at]["units_not_yet"]
        name = f"{isolated(spoken('substrate', table[at]['substrate']))}, flush {table[at]['flush']}"
        labels.append(Label(name, f"{told} known, {not_yet} not yet"))
        rows += [
            {"row": at, "lane": f"{place:03}", "units": count, "colour": colour, "means": MEANINGS[colour]}
            for colour, count in (("known", told), ("not-yet", not_yet))
        ]
    title = "Units known through each flush, and not yet"
    return stacked_chart(rows, labels, "flush-states", title, "flushes", ("known", "not-yet"), tall=True)


def pins(month: Month) -> list[Chart]:
    """Which share of the containers started has pins by each day, and which was lost: a small chart a substrate."""
    started = {row["substrate"]: row["units"] for row in month.rows("pins") if row["pinned"] or row["lost"]}
    groups: dict[str, list[int]] = {}
    for at, row in enumerate(month.rows("pins_curve")):
        if row["substrate"] in started and row["pinned_pct"] is not None:
            groups.setdefault(row["substrate"], []).append(at)
    most = sorted(groups, key=lambda name: -started[name])[:CURVES_SHOWN]
    return [_incidence(month, name, groups[name], at) for at, name in enumerate(most, start=1)]


def _incidence(month: Month, substrate: str, places: Sequence[int], number: int) -> Chart:
    table = month.rows("pins_curve")
    columns = ("day", "pinned_pct", "low_pct", "high_pct", "lost_pct", "at_risk")
    rows = [drawn(table[at], at, *columns) for at in places]
    limited = [row for row in known(rows, "lowpct", "highpct") if row["pinnedpct"]]
    x = alt.X("day:Q", axis=alt.Axis(title="days from inoculation", tickCount=4), scale=alt.Scale(nice=False))
    axis = alt.Axis(title="% of those started", tickCount=4)
    scale = alt.Scale(domain=[0, 100])
    tip = [
        alt.Tooltip("day:Q", title="day"),
        alt.Tooltip("pinnedpct:Q", title="with pins, %", format=".0f"),
        alt.Tooltip("lowpct:Q", title="from", format=".0f"),
        alt.Tooltip("highpct:Q", title="to", format=".0f"),
        alt.Tooltip("lostpct:Q", title="lost, %", format=".0f"),
        alt.Tooltip("atrisk:Q", title="followed"),
    ]
    base = alt.Chart(data(rows)).encode(x=x, tooltip=tip)
    marks = [
        base.mark_line(interpolate="step-after", color=paint(colour), strokeWidth=width).encode(
            y=alt.Y(f"{column}:Q", axis=axis, scale=scale)
        )
        for column, colour, width in (("lostpct", "lost", 2), ("pinnedpct", "pinned", 3))
    ]
    keys = [plain_key("pinned", shape="line"), plain_key("lost", "lost before", shape="line")]
    if limited:
        area = alt.Chart(data(limited)).mark_area(
            interpolate="step-after", color=paint("band-wide"), line={"color": paint("band"), "strokeWidth": 1}
        )
        marks.insert(0, area.encode(x=x, y=alt.Y("lowpct:Q", axis=axis, scale=scale), y2="highpct:Q", tooltip=tip))
        keys.append(plain_key("band-wide", "95 % limits"))
    name = spoken("substrate", substrate)
    spec = column_chart(marks, height=NARROW_PX)
    return Chart(f"pins-{number}", "Pins, day by day", spec, tuple(keys), "pins_curve", tuple(rows), True, name)
