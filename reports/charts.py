"""The charts of what was picked: kilograms by month and by week."""

from __future__ import annotations

import altair as alt

from reports.colours import paint, plain_key, strain_colours, strain_keys
from reports.drawing import Chart, colour_of, column_chart, data
from reports.month import Month
from reports.words import MONTH_NAMES, isolated, short_day, spoken

MONTHS_SHOWN = 13

# The month's name above, its year below. A fixed expression over labels that we write ourselves.
TWO_LINES = alt.Axis(title=None, labelAngle=0, labelExpr="split(datum.label, ' ')", labelOverlap="parity")


def months(month: Month) -> list[Chart]:
    """What was picked in each month, up to this one."""
    now = month.place()
    if now is None or now == 0:
        return []
    table = month.rows("months")
    places = range(max(0, now + 1 - MONTHS_SHOWN), now + 1)
    rows = [{"row": at, "label": _short_month(table[at]["month"]), "kg": table[at]["fresh_g"] / 1000} for at in places]
    if not any(row["kg"] for row in rows):
        return []
    x = alt.X("label:N", sort=None, axis=TWO_LINES)
    tip = [alt.Tooltip("label:N", title="month"), alt.Tooltip("kg:Q", title="picked, kg", format=".2f")]
    bars = alt.Chart(data(rows)).mark_bar(color=paint("mass")).encode(x=x, y=_kilograms(), tooltip=tip)
    compared = [row for row in rows if row["row"] in (now, month.place(1), month.place(12))]
    texts = alt.Chart(data(compared)).mark_text(baseline="bottom", dy=-4)
    spec = column_chart([bars, texts.encode(x=x, y="kg:Q", text=alt.Text("kg:Q", format=".1f"))])
    return [Chart("months", "Picked in each month", spec, (plain_key("mass"),), "months", tuple(rows))]


def _short_month(text: str) -> str:
    return f"{MONTH_NAMES[int(text[5:]) - 1][:3]} {text[:4]}"


def _kilograms() -> alt.Y:
    return alt.Y("kg:Q", axis=alt.Axis(title="kg, fresh", tickCount=5))


def weeks(month: Month) -> list[Chart]:
    """What was picked in each week of the month, by strain."""
    colours = strain_colours(month)
    rows = [
        {
            "row": at,
            "label": short_day(row["week"]),
            "kg": row["fresh_g"] / 1000,
            "colour": colours.get(row["strain"], "strain-other"),
            "strain": isolated(spoken("strain", row["strain"])),
        }
        for at, row in enumerate(month.rows("weeks"))
    ]
    if not any(row["kg"] for row in rows):
        return []
    tip = [
        alt.Tooltip("label:N", title="week from"),
        alt.Tooltip("strain:N", title="strain"),
        alt.Tooltip("kg:Q", title="picked, kg", format=".2f"),
    ]
    bars = alt.Chart(data(rows)).mark_bar(stroke=paint("paper"), strokeWidth=1)
    x = alt.X("label:N", sort=None, axis=alt.Axis(title="week from Monday", labelAngle=0, labelOverlap="parity"))
    painted = bars.encode(x=x, y=_kilograms(), color=colour_of(rows), order=alt.Order("colour:O"), tooltip=tip)
    keys = tuple(strain_keys(month, {row["strain"] for row in month.rows("weeks")}))
    return [
        Chart(
            "weeks",
            "Picked in each week (days of this month only)",
            column_chart([painted]),
            keys,
            "weeks",
            tuple(rows),
        )
    ]
