"""The batches: how each one went on, from its inoculation to its end."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from reports.colours import MEANINGS, Key, paint, plain_key
from reports.columns import View
from reports.drawing import Chart, LaneLabel, below, facts_of, in_charts, lane, row_chart, some_of
from reports.figures import Sentence, positive, rows_of, several
from reports.long_tables import ROWS_SHOWN
from reports.month import Month
from reports.section import Section, made
from reports.tables import table
from reports.vega_lite import Layer, channel, options
from reports.words import isolated, short_day, spoken
from schemas.result_rows import Row, day_of, number_of, text_of, whole_of

COURSES = View(
    "batch_courses",
    (
        "batch",
        "substrate",
        "soak",
        "inoculated_on",
        "colonised_on",
        "pins_on",
        "first_picked_on",
        "last_picked_on",
        "ended_on",
        "units",
        "units_running",
        "units_lost",
        "fresh_g",
    ),
)
VIEWS = (COURSES,)

# A day's number as its name. A fixed expression over numbers that we write ourselves.
DAY_LABEL = "utcFormat(datum.value * 86400000, '%-d %b')"
LEAST_TICKS = 3
COLOURS = ("colonising", "fruiting")
# The last so many batches, and lanes of a chart, about a phone's screen; the table has all. Our choice, no source.
BATCHES_SHOWN, LANES = 30, 8


def sentence(month: Month) -> Sentence:
    """Return how many batches were running in the month, and how many of them go on."""
    rows = month.rows("batch_courses")
    if not rows:
        return ("No batch was running.",)
    running = positive(month, "batch_courses", "units_running")
    if not running.value:
        return (*_running(month), "; none still goes on.")
    return (*_running(month), "; ", running, " still go on." if running.value != 1 else " still goes on.")


def _running(month: Month) -> Sentence:
    were = " was" if len(month.rows("batch_courses")) == 1 else " were"
    return (*several(rows_of(month, "batch_courses"), "batch", "batches"), were, " running in the month")


def courses_charts(month: Month) -> list[Chart]:
    """One lane a batch: colonising, fruiting, pickings by their mass, and what was lost."""
    rows = month.rows("batch_courses")
    places = range(max(0, len(rows) - BATCHES_SHOWN), len(rows))
    lots = in_charts(places, LANES)
    part = some_of(len(places), len(rows), "batches", "last")
    since = min((day_of(rows[at], "inoculated_on") for at in places), default=month.as_of)
    keys = _keys(month, places)
    return [
        _chart(month, lot, number, since, () if number > 1 else keys, part if lot is lots[-1] else "")
        for number, lot in enumerate(lots, start=1)
    ]


def _keys(month: Month, places: range) -> tuple[Key, ...]:
    """Return what the marks of these batches mean, once for all their charts."""
    shown = [month.rows("batch_courses")[at] for at in places]
    keys = [plain_key(colour) for colour in COLOURS]
    keys += [plain_key("mass", "picked, larger for more", shape="dot")] if any(row["fresh_g"] for row in shown) else []
    keys += (
        [plain_key("lost", "containers lost, at the end", shape="cross")]
        if any(row["units_lost"] for row in shown)
        else []
    )
    return tuple(keys)


def _chart(month: Month, places: Sequence[int], number: int, since: date, keys: tuple[Key, ...], part: str) -> Chart:
    table = month.rows("batch_courses")
    pooled = _weighed_together(month)
    lanes = {text_of(table[at], "batch"): f"{place:03}" for place, at in enumerate(places)}
    labels = [
        LaneLabel(isolated(spoken("batch", text_of(table[at], "batch"))), _facts(table[at], pooled)) for at in places
    ]
    spans = [span for at in places for span in _spans(table[at], at, lanes[text_of(table[at], "batch")], month.as_of)]
    pickings = [
        {"picking_row": at, "lane": lanes[text_of(row, "batch")], "on": _number(day_of(row, "picked_on"))}
        | {"kg": number_of(row, "fresh_g") / 1000, "day": short_day(day_of(row, "picked_on"))}
        for at, row in enumerate(month.rows("batch_pickings"))
        if text_of(row, "batch") in lanes
    ]
    ends = [
        {"row": at, "lane": lanes[text_of(row, "batch")], "on": _number(row_end(row, month.as_of))}
        for at, row in ((at, table[at]) for at in places)
        if row["units_lost"]
    ]
    axis = options(title=None, values=_ticks(since, month.as_of), labelExpr=DAY_LABEL, labelFlush=True, labelBound=True)
    scale = options(nice=False, zero=False, domain=[_number(since), _number(month.as_of)])
    tip = [channel("means:N", title="state"), channel("days:Q", title="days")]
    bars = Layer(spans).mark("bar", height=13, yOffset=below(), stroke=paint("known"), strokeWidth=1)
    marks = [
        bars.encode(
            x=channel("from:Q", scale=scale, axis=axis),
            x2="until:Q",
            y=lane(labels),
            color=channel(
                "colour:N", legend=None, scale=options(domain=list(COLOURS), range=[paint(each) for each in COLOURS])
            ),
            tooltip=tip,
        )
    ]
    if pickings:
        dots = Layer(pickings).mark("circle", color=paint("mass"), opacity=0.9, yOffset=below())
        marks.append(
            dots.encode(
                x=channel("on:Q", scale=scale, axis=axis),
                y=lane(labels),
                size=channel("kg:Q", legend=None, scale=options(domainMin=0, range=[0, 260])),
                tooltip=[channel("day:N", title="picked on"), channel("kg:Q", title="kg", format=".2f")],
            )
        )
    if ends:
        crosses = Layer(ends).mark(
            "point", shape="cross", angle=45, filled=True, opacity=1, size=90, color=paint("lost"), yOffset=below()
        )
        marks.append(crosses.encode(x=channel("on:Q", scale=scale, axis=axis), y=lane(labels)))
    whole = "The batches from inoculation to their end, with kg from how many containers"
    title = whole if number == 1 else "The batches, continued"
    return Chart(
        f"courses-{number}",
        title,
        row_chart(marks, labels),
        keys,
        "batch_courses",
        tuple(spans),
        facts_of(labels),
        part=part,
    )


def _number(day: date) -> int:
    """Return the day as a scale has it: days since 1970."""
    return (day - date(1970, 1, 1)).days


def _ticks(since: date, until: date) -> list[int]:
    """Return the days that the axis names: firsts of months, or Mondays where there are few of these."""
    days = [since + timedelta(days=at) for at in range((until - since).days + 1)]
    firsts = [_number(day) for day in days if day.day == 1]
    return firsts if len(firsts) >= LEAST_TICKS else [_number(day) for day in days if day.weekday() == 0]


def row_end(row: Row, as_of: date) -> date:
    """Return the day up to which the batch's course is drawn."""
    return day_of(row, "ended_on") if row["ended_on"] is not None else as_of


def _spans(row: Row, at: int, lane_of: str, as_of: date) -> list[dict[str, object]]:
    begun, end = day_of(row, "inoculated_on"), row_end(row, as_of)
    fruits = [day_of(row, name) for name in ("pins_on", "first_picked_on") if row[name] is not None]
    turn = min([end, *fruits])
    parts = [("colonising", begun, turn)] + ([("fruiting", turn, end)] if fruits else [])
    return [
        {"row": at, "lane": lane_of, "colour": colour, "means": MEANINGS[colour]}
        | {"from": _number(first), "until": _number(last), "days": (last - first).days}
        for colour, first, last in parts
    ]


def _weighed_together(month: Month) -> frozenset[str]:
    """Return the batches that are one unit without being one container: what they gave was weighed together."""
    single = {text_of(row, "batch") for row in month.rows("batch_courses") if row["units"] == 1}
    containers = dict.fromkeys(single, 0)
    known = set()
    for row in month.rows("batch_kinds") if single else ():
        if (batch := text_of(row, "batch")) in single:
            containers[batch] += whole_of(row, "containers")
            known.add(batch)
    return frozenset(name for name in known if containers[name] != 1)


def _facts(row: Row, pooled: frozenset[str]) -> str:
    """Return what a batch gave from how many containers, as short as a phone needs it."""
    gave = f"{number_of(row, 'fresh_g') / 1000:.2f} kg" if row["fresh_g"] else "nothing"
    lost = f", {row['units_lost']} lost" if row["units_lost"] else ""
    running = "" if row["ended_on"] is not None else ", running"
    of = "whole batch" if row["batch"] in pooled else f"from {whole_of(row, 'units')}"
    return f"{gave}{',' if of == 'whole batch' else ''} {of}{lost}{running}"


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made(
        "batches",
        "Batches",
        sentence(month),
        [],
        courses_charts(month),
        [
            table(month, COURSES, "The batches that were running in the month", last=ROWS_SHOWN),
        ],
    )
