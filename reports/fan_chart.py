"""The weeks ahead as a fan, behind what came in the weeks before, with the total of the first of them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from reports.colours import paint, plain_key
from reports.drawing import FACTS_PX, Chart, Drawn, column_chart, drawn, over_grid
from reports.figures import Sentence, brief, measured, plain, within
from reports.month import Month
from reports.vega_lite import Layer, Point, Points, Spec, channel, expression, options
from reports.words import short_day
from schemas.result_rows import day_of

WEEKS_BEFORE = 5  # that are drawn beside those ahead. Our choice, no source.
WEEK = timedelta(weeks=1)
ENDS = ("median_kg", "low50_kg", "high50_kg", "low80_kg", "high80_kg")
SUMMED = ("sum_median_kg", "sum_low80_kg", "sum_high80_kg")
# The bracket over the weeks that are summed, and its words, lie so much higher than what is drawn. Our choice.
BRACKET, TOP = 1.1, 1.3
PADDING = 0.3  # beside the first and the last week, of the room of one
SAID_PX = 255  # room for the words of the bracket


def fan_chart(month: Month, summed_at: int | None) -> list[Chart]:
    """Return the chart of the weeks ahead; none where nothing is foreseen. All weeks have seven days.

    summed_at: the last of the weeks that are summed, a row of `outlook` (None: none are).
    """
    table = month.rows("outlook")
    if not table:
        return []
    starts = day_of(table[0], "first_day")
    rows = [_week(drawn(row, at, *ENDS), day_of(row, "first_day")) for at, row in enumerate(table)]
    if summed_at is not None:
        rows[summed_at] |= drawn(table[summed_at], summed_at, *SUMMED)
    before = [
        {**_week({}, day_of(row, "first_day")), "came": row["actual_kg"]}
        for row in month.rows("outlook_past")
        if row["week"] == 1 and starts - WEEKS_BEFORE * WEEK <= day_of(row, "first_day") < starts
    ]
    first = starts - WEEKS_BEFORE * WEEK if before else starts
    labels = [short_day(first + at * WEEK) for at in range(len(table) + (WEEKS_BEFORE if before else 0))]
    said = _together(month, summed_at)
    spec = _spec(rows, before, labels, summed_at, said)
    keys = [
        plain_key("estimate", shape="line"),
        plain_key("band", "in half of the cases"),
        plain_key("band-wide"),
    ]
    keys += [plain_key("came", shape="dot")] if before else []
    facts = [
        f"week from {row['label']}: {row['mediankg']:.2f} kg (80 % band {row['low80kg']:.2f} to {row['high80kg']:.2f})"
        for row in rows
    ]
    facts += [f"came in the week from {row['label']}: {row['came']:.2f} kg" for row in before]
    title = "Expected in each week of seven days"
    facts += [said] if said else []
    summed = (Drawn("mediankg", "outlook/*/median_kg", ": ", " kg expected"),)
    return [Chart("outlook", title, spec, tuple(keys), "outlook", tuple(rows), tuple(facts), summed=summed)]


def _together(month: Month, at: int | None) -> str:
    """Return the total of the weeks up to this row of `outlook`, as the tile and the sentence have it."""
    if at is None:
        return ""
    band = within(month, "outlook", at, "sum_low80_kg", "sum_high80_kg")
    said: Sentence = (f"{month.rows('outlook')[at]['week']} weeks: ", measured(month, "outlook", at, "sum_median_kg"))
    return plain(brief((*said, *band)))


def _week(point: Point, first: date) -> Point:
    return point | {"label": short_day(first)}


def _spec(rows: Points, before: Points, labels: Sequence[str], summed_at: int | None, said: str) -> Spec:
    highest = max([row["high80kg"] for row in rows] + [row["came"] for row in before]) or 1.0
    axis = options(title="week from", labelAngle=0, labelOverlap="parity")
    x = channel("label:O", sort=None, axis=axis, scale=options(domain=list(labels), type="point", padding=PADDING))
    scale = options(domain=[0, highest * (TOP if said else 1.05)], nice=False, zero=True)
    up = options(title="kg, fresh", tickCount=5)
    base = Layer(rows).encode(x=x)
    tip = [
        channel("label:N", title="week from"),
        channel("mediankg:Q", title="median, kg", format=".2f"),
        channel("low80kg:Q", title="80 % band from", format=".2f"),
        channel("high80kg:Q", title="to", format=".2f"),
    ]

    def y(field: str) -> Spec:
        return channel(f"{field}:Q", axis=up, scale=scale)

    def band(low: str, high: str, colour: str) -> Layer:
        area = base.mark("area", color=paint(colour), opacity=1, line={"color": paint("band"), "strokeWidth": 1})
        return area.encode(y=y(low), y2=f"{high}:Q")

    marks = [
        band("low80kg", "high80kg", "band-wide"),
        band("low50kg", "high50kg", "band"),
        base.mark("line", color=paint("estimate"), strokeWidth=2).encode(y=y("mediankg")),
        base.mark("circle", color=paint("estimate"), size=60, opacity=1).encode(y=y("mediankg"), tooltip=tip),
    ]
    if before:
        came = Layer(before).encode(
            x=x,
            y=y("came"),
            tooltip=[channel("label:N", title="week from"), channel("came:Q", title="came, kg", format=".2f")],
        )
        marks += [
            came.mark("line", color=paint("came"), strokeWidth=2, strokeDash=[5, 4]),
            came.mark("circle", color=paint("came"), size=90, opacity=1),
        ]
    if said and summed_at is not None:
        over = [{"label": rows[0]["label"], "until": rows[summed_at]["label"], "over": BRACKET * highest, "said": said}]
        bracket = Layer(over)
        # The words begin with the bracket, or further left where they would not fit.
        begins = (PADDING + len(labels) - len(rows)) / (len(labels) - 1 + 2 * PADDING)
        at = expression(f"max(0, min(width * {begins:.3f}, width - {SAID_PX}))")
        marks += [
            bracket.mark("rule", color=paint("estimate"), strokeWidth=2).encode(x=x, x2="until:O", y=y("over")),
            *over_grid(
                bracket.encode(y=y("over")), "said:N", align="left", baseline="bottom", dy=-6, fontSize=FACTS_PX, x=at
            ),
        ]
    return column_chart(marks)
