"""The charts of losses, by treatment, soak and cause, and of the stage of the caps when cut."""

from __future__ import annotations

import altair as alt

from reports.colours import MEANINGS, paint, plain_key
from reports.drawing import LANES_A_CHART, Chart, Label, across, below, colour_of, data, lane, row_chart, stacked_chart
from reports.figures import cell, measured, plain, several
from reports.month import Month
from reports.sentences import told_losses
from reports.words import isolated, spoken
from schemas.contract import contract

SOAKS_SHOWN = 14
CAUSES_SHOWN = 10


def losses(month: Month) -> list[Chart]:
    """Which share was lost of each substrate and treatment, with its interval where there is one."""
    table = month.rows("losses")
    places = sorted(
        (at for at, row in enumerate(table) if row["lost_pct"] is not None),
        key=lambda at: table[at]["units_not_yet"] - table[at]["units"],
    )[:LANES_A_CHART]
    if not places:
        return []
    labels = [
        Label(
            isolated(" · ".join(spoken(column, table[at][column]) for column in ("substrate", "treatment"))),
            plain(told_losses(month, at)),
        )
        for at in places
    ]
    rows = [
        {"row": at, "lane": f"{place:03}", "lost": table[at]["lost_pct"]}
        | {"low": table[at]["low_pct"], "high": table[at]["high_pct"]}
        for place, at in enumerate(places)
    ]
    tip = [
        alt.Tooltip("lost:Q", title="lost, %", format=".1f"),
        alt.Tooltip("low:Q", title="low, %", format=".1f"),
        alt.Tooltip("high:Q", title="high, %", format=".1f"),
    ]
    title = "lost without a picking, % of units told"
    points = alt.Chart(data(rows)).mark_circle(size=140, opacity=1, color=paint("lost"), yOffset=below(True))
    marks = [points.encode(x=across("lost", title, (0, 100)), y=lane(labels), tooltip=tip)]
    told = [row for row in rows if row["low"] is not None]
    if told:
        rules = alt.Chart(data(told)).mark_rule(strokeWidth=2, color=paint("interval"), yOffset=below(True))
        marks.insert(0, rules.encode(x=across("low", title, (0, 100)), x2="high:Q", y=lane(labels), tooltip=tip))
    keys = (plain_key("lost", shape="dot"), *([plain_key("interval", shape="line")] if told else []))
    return [Chart("losses", "Share lost", row_chart(marks, labels, tall=True), keys, "losses", tuple(rows))]


def soaks(month: Month) -> list[Chart]:
    """How many units of each of the last soaks were lost."""
    table = month.rows("soaks")
    rows, labels = [], []
    for place, at in enumerate(range(max(0, len(table) - SOAKS_SHOWN), len(table))):
        row = table[at]
        labels.append(Label(isolated(spoken("soak", row["soak"])), f"{row['lost']} of {row['units']} lost"))
        rows += [
            {"row": at, "lane": f"{place:03}", "units": units, "colour": colour, "means": MEANINGS[colour]}
            for colour, units in (("lost", row["lost"]), ("kept", row["units"] - row["lost"]))
        ]
    return stacked_chart(rows, labels, "soaks", "Lost of each soak", "soaks", ("lost", "kept"))


def causes(month: Month) -> list[Chart]:
    """For which cause units were lost."""
    table = month.rows("causes")
    places = [at for at, row in enumerate(table) if row["lost"]][:CAUSES_SHOWN]
    if not places:
        return []
    labels = [
        Label(
            isolated(spoken("cause", table[at]["cause"])),
            plain(several(cell(month, "causes", at, "lost"), "unit")),
        )
        for at in places
    ]
    rows = [{"row": at, "lane": f"{place:03}", "lost": table[at]["lost"]} for place, at in enumerate(places)]
    bars = alt.Chart(data(rows)).mark_bar(height=15, color=paint("lost"), yOffset=below())
    tip = alt.Tooltip("lost:Q", title="units lost")
    spec = row_chart([bars.encode(x=across("lost", "units lost", whole=True), y=lane(labels), tooltip=tip)], labels)
    return [Chart("causes", "Lost by cause", spec, (plain_key("lost"),), "causes", tuple(rows))]


def stages(month: Month) -> list[Chart]:
    """Which share of the month's fresh mass was cut at which stage."""
    order = contract("harvests").field("cap_stage").words
    table = month.rows("stages")
    places = [at for at, row in enumerate(table) if row["share_pct"] is not None]
    rows, labels = [], []
    for place, at in enumerate(places):
        stage = table[at]["cap_stage"]
        late = stage in order and order.index(stage) >= order.index(month.late_from)
        colour = "unnoted" if not stage else "late" if late else "mass"
        facts = f"{measured(month, 'stages', at, 'fresh_g').full} · {measured(month, 'stages', at, 'share_pct').full}"
        labels.append(Label(isolated(spoken("cap_stage", stage)), facts))
        rows.append({"row": at, "lane": f"{place:03}", "share": table[at]["share_pct"], "colour": colour})
    if not any(row["share"] for row in rows):
        return []
    bars = alt.Chart(data(rows)).mark_bar(height=15, yOffset=below())
    tip = alt.Tooltip("share:Q", title="share, %", format=".1f")
    marks = [
        bars.encode(
            x=across("share", "share of fresh mass, %", (0, 100)), y=lane(labels), color=colour_of(rows), tooltip=tip
        )
    ]
    keys = tuple(
        plain_key(colour) for colour in ("mass", "late", "unnoted") if any(row["colour"] == colour for row in rows)
    )
    return [Chart("stages", "Cap stage when cut", row_chart(marks, labels), keys, "stages", tuple(rows))]
