"""What to expect: the weeks ahead with their bands, and how well past days would have foreseen theirs."""

from __future__ import annotations

from reports.colours import Key, paint, plain_key
from reports.columns import Range, View
from reports.drawing import Chart, column_chart, drawn, some_of
from reports.fan_chart import ENDS, fan_chart
from reports.figures import Day, Name, Sentence, cell, measured, positive, several, total, within
from reports.long_tables import ROWS_SHOWN, highest
from reports.month import Month
from reports.section import Section, made
from reports.tables import table
from reports.vega_lite import Layer, Points, channel, options
from reports.words import short_day, with_days_named
from schemas.result_rows import day_of

OUTLOOK = View(
    "outlook",
    (
        "week",
        "first_day",
        "running_kg",
        "planned_kg",
        "median_kg",
        Range("50 % band", "low50_kg", "high50_kg"),
        Range("80 % band", "low80_kg", "high80_kg"),
        "widened_by",
        "batches_without_donors",
        "past_seen",
        "past_held_50_pct",
        "past_held_80_pct",
        "past_kg",
        "past_off_kg",
        "sum_median_kg",
        Range("Sum, 50 % band", "sum_low50_kg", "sum_high50_kg"),
        Range("Sum, 80 % band", "sum_low80_kg", "sum_high80_kg"),
        "sum_past_seen",
        "sum_past_held_80_pct",
    ),
)
OUTLOOK_BATCHES = View(
    "outlook_batches",
    (
        "batch",
        "state",
        "inoculated_on",
        "containers",
        "substrate_dry_kg",
        "running_pct",
        "donors",
        "borrowed_from",
        "weeks_known",
        "expected_kg",
    ),
)
VIEWS = (
    OUTLOOK,
    OUTLOOK_BATCHES,
)
MOST_FIRST = "those of which most is expected"

PAST_SHOWN = 13
WEEKS_SUMMED = 4  # by the total of the section and of page one. Our choice, no source.


def sentence(month: Month) -> Sentence:
    """Return how many kg are to be expected in the first week ahead."""
    rows = month.rows("outlook")
    if not rows:
        return (
            "What is to come cannot be foreseen. ",
            Name(with_days_named(month.why_no_outlook or "Nothing was asked.")),
        )
    return (
        "Expect about ",
        measured(month, "outlook", 0, "median_kg"),
        " in the week from ",
        Day(day_of(rows[0], "first_day")),
        ". In four of five cases it is ",
        cell(month, "outlook", 0, "low80_kg"),
        " to ",
        measured(month, "outlook", 0, "high80_kg"),
        ".",
    )


def notes(month: Month) -> list[Sentence]:
    """Return where it comes from, what is not in it, and how well it held on past days."""
    rows = month.rows("outlook")
    if not rows:
        return []
    found = four_weeks(month)
    planned = total(month, "outlook", "planned_kg")
    if planned.value:
        found.append(("In all the weeks ahead, ", planned, " kg would come from batches not yet begun."))
    left_out = positive(month, "outlook", "batches_without_donors")
    if left_out.value:
        found.append(
            ("In ", *several(left_out, "week"), " some batches are left out: too few past ones were ever so old.")
        )
    found.append(("Each batch is taken to go on as past ones of the farm did.",))
    return found


def four_weeks(month: Month) -> list[Sentence]:
    """Return the total of four weeks, which is no sum of medians; none where so many are not foreseen."""
    at = summed_at(month)
    if at is None:
        return []
    band = within(month, "outlook", at, "sum_low80_kg", "sum_high80_kg")
    return [("Four weeks together: about ", measured(month, "outlook", at, "sum_median_kg"), *band, ".")]


def summed_at(month: Month) -> int | None:
    """Return the row of `outlook` with the total of four weeks; None where so many are not foreseen."""
    rows = enumerate(month.rows("outlook"))
    return next((at for at, row in rows if row["week"] == WEEKS_SUMMED and row["sum_median_kg"] is not None), None)


def past_sentence(month: Month) -> Sentence:
    """Return how well the first week ahead would have been foreseen on past days."""
    rows = month.rows("outlook")
    if not rows or not rows[0]["past_seen"]:
        return ("No past week could be foreseen in the same way yet.",)
    return (
        "Tried on ",
        *several(cell(month, "outlook", 0, "past_seen"), "past day"),
        ", the 80 % band of the first week held what came in ",
        measured(month, "outlook", 0, "past_held_80_pct"),
        " of them. The median was off by ",
        measured(month, "outlook", 0, "past_off_kg"),
        " on average.",
    )


def past_chart(month: Month) -> list[Chart]:
    """Return the chart of what would have been foreseen a week before, on past days, and of what came."""
    table = month.rows("outlook_past")
    found = [at for at, row in enumerate(table) if row["week"] == 1]
    places = found[-PAST_SHOWN:]
    rows = [
        drawn(table[at], at, *ENDS, "actual_kg") | {"label": short_day(day_of(table[at], "first_day"))} for at in places
    ]
    part = some_of(len(places), len(found), "past weeks", "last")
    return _chart("outlook-past", "Foreseen a week before, and what came", "outlook_past", rows, part)


def _chart(name: str, title: str, table: str, rows: Points, part: str) -> list[Chart]:
    if not rows:
        return []
    x = channel("label:N", sort=None, axis=options(title="week from", labelAngle=0, labelOverlap="parity"))
    axis = options(title="kg, fresh", tickCount=5)
    base = Layer(rows)
    tip = [
        channel("label:N", title="week from"),
        channel("mediankg:Q", title="median, kg", format=".2f"),
        channel("low80kg:Q", title="80 % band from", format=".2f"),
        channel("high80kg:Q", title="to", format=".2f"),
        channel("actualkg:Q", title="came, kg", format=".2f"),
    ]

    def bar(low: str, high: str, colour: str) -> Layer:
        mark = base.mark("bar", color=paint(colour), width={"band": 0.6}, stroke=paint("band"), strokeWidth=1)
        return mark.encode(x=x, y=channel(f"{low}:Q", axis=axis), y2=f"{high}:Q", tooltip=tip)

    ticks = base.mark("tick", color=paint("estimate"), thickness=3, width={"band": 0.6}, orient="horizontal")
    marks = [
        bar("low80kg", "high80kg", "band-wide"),
        bar("low50kg", "high50kg", "band"),
        ticks.encode(x=x, y=channel("mediankg:Q", axis=axis), tooltip=tip),
    ]
    keys: list[Key] = [plain_key("estimate", shape="line"), plain_key("band", "in half of the cases")]
    keys.append(plain_key("band-wide"))
    dots = base.mark("circle", color=paint("came"), size=90, opacity=1)
    marks.append(dots.encode(x=x, y=channel("actualkg:Q", axis=axis), tooltip=tip))
    keys.append(plain_key("came", shape="dot"))
    return [Chart(name, title, column_chart(marks), tuple(keys), table, tuple(rows), _said(rows), part=part)]


def _said(rows: Points) -> tuple[str, ...]:
    return tuple(
        f"week from {row['label']}: {row['mediankg']:.2f} kg (80 % band {row['low80kg']:.2f} to {row['high80kg']:.2f})"
        + (f", {row['actualkg']:.2f} kg came" if row["actualkg"] is not None else "")
        for row in rows
    )


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    most = highest(month.rows("outlook_batches"), "expected_kg", ROWS_SHOWN)
    return made(
        "ahead",
        "What to expect",
        sentence(month),
        notes(month),
        fan_chart(month, summed_at(month)),
        [
            table(month, OUTLOOK, "Each week ahead"),
            table(month, OUTLOOK_BATCHES, "The batches that it comes from", some=most, how=MOST_FIRST),
        ],
    )


def appendix(month: Month) -> Section:
    """Return how well the past would have been foreseen, for the appendix."""
    return made("foreseen", "How well past weeks were foreseen", past_sentence(month), [], past_chart(month), [])
