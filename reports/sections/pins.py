"""Days to pins: by which day they show, of all containers started."""

from __future__ import annotations

from collections.abc import Sequence

from reports.by_substrate import CURVES_SHOWN, reasons, substrate_name
from reports.colours import paint, plain_key
from reports.columns import Limited, View
from reports.drawing import NARROW_PX, Chart, column_chart, drawn, known
from reports.figures import Name, Part, Sentence, cell, measured, several, within
from reports.month import Month
from reports.section import Section, made, some_noted
from reports.tables import table
from reports.vega_lite import Layer, Point, Points, channel, options
from reports.words import spoken
from schemas.confidence import LEVEL, percent
from schemas.result_rows import number_of, text_of

PINS = View(
    "pins",
    (
        "substrate",
        "soaks",
        "units",
        "pinned",
        "lost",
        "waiting",
        "units_unnoted",
        Limited("median_days", "median_low_days", "median_high_days"),
        Limited("pinned_by_14_pct", "pinned_by_14_low_pct", "pinned_by_14_high_pct"),
        Limited("pinned_by_21_pct", "pinned_by_21_low_pct", "pinned_by_21_high_pct"),
        Limited("pinned_by_28_pct", "pinned_by_28_low_pct", "pinned_by_28_high_pct"),
        "why_no_interval",
    ),
    if_known=("why_no_interval",),
)
DAYS = View(
    "days",
    (
        "substrate",
        "wait",
        "n",
        "median_days",
        "q1_days",
        "q3_days",
        "mean_days",
        "units_not_yet",
        "units_lost",
    ),
)
VIEWS = (
    PINS,
    DAYS,
)

# The axis goes on a little beyond the last day, so that a last step does not lie on the frame. Our choice, no source.
BEYOND = 1.05
EARLY_DAY, LATE_DAY = 21, 28  # for those without a median: days of the pins contract


def sentence(month: Month) -> Sentence:
    """Return by which day half of the containers started have pins, on the substrate with most of them."""
    rows = month.rows("pins")
    if not any(row["pinned"] for row in rows):
        return ("No container shows yet how long it takes from inoculation to pins.",)
    at = max((at for at, row in enumerate(rows) if row["pinned"]), key=lambda at: number_of(rows[at], "units"))
    start: Sentence = ("On ", substrate_name(month, "pins", at))
    return (*start, *_half(month, at), ". ", *_ends(month, at), ".")


def _half(month: Month, at: int) -> Sentence:
    row = month.rows("pins")[at]
    if row["median_days"] is not None:
        limits = within(month, "pins", at, "median_low_days", "median_high_days")
        median = cell(month, "pins", at, "median_days")
        return (" half of all containers started have pins by day ", median, *limits)
    for day in (LATE_DAY, EARLY_DAY):
        if row[f"pinned_by_{day}_pct"] is not None:
            share = measured(month, "pins", at, f"pinned_by_{day}_pct")
            return (" half of all containers started have no pins yet: ", share, " by the day ", Name(str(day)))
    return (" half of all containers started have no pins yet",)


def _ends(month: Month, at: int) -> Sentence:
    """Return what came of the containers: of each that has none that is left out, so that they add up to all."""
    ends = (
        ("pinned", "showed them"),
        ("lost", "was lost before", "were lost before"),
        ("waiting", "waits", "wait"),
        ("units_unnoted", "has no note of pins", "have no note of pins"),
    )
    parts: list[Part] = ["Of ", *several(cell(month, "pins", at, "units"), "container"), " "]
    there = [each for each in ends if month.rows("pins")[at][each[0]] or each[0] == "pinned"]
    for place, (column, *words) in enumerate(there):
        parts += [", " if place else "", *several(cell(month, "pins", at, column), words[0], words[-1])]
    return tuple(parts)


def notes(month: Month) -> list[Sentence]:
    """Return which containers the curves count, and why some have no limits."""
    rows = month.rows("pins")
    if not rows:
        return []
    drawn_of = len(_followed(month))
    return [
        *some_noted(min(drawn_of, CURVES_SHOWN), drawn_of, "substrates are drawn", ", those with most containers"),
        *reasons(month, "pins", "why_no_interval", "No limits for "),
        (
            "All containers of the record so far, from inoculation. "
            "A container lost before its pins counts as one that never shows them. "
            "One that waits counts as long as it was followed. "
            f"Limits, of {percent(LEVEL)}, come from the soaks.",
        ),
    ]


def curves(month: Month) -> list[Chart]:
    """Which share of the containers started has pins by each day, and which was lost: a small chart a substrate."""
    groups = _followed(month)
    return [_incidence(month, name, groups[name], at) for at, name in enumerate([*groups][:CURVES_SHOWN], start=1)]


def _followed(month: Month) -> dict[str, list[int]]:
    """Return the rows of the curve of each substrate that shows pins or losses, the one with most containers first."""
    started = {
        text_of(row, "substrate"): number_of(row, "units") for row in month.rows("pins") if row["pinned"] or row["lost"]
    }
    groups: dict[str, list[int]] = {}
    for at, row in enumerate(month.rows("pins_curve")):
        if row["substrate"] in started and row["pinned_pct"] is not None:
            groups.setdefault(text_of(row, "substrate"), []).append(at)
    return {name: groups[name] for name in sorted(groups, key=lambda name: -started[name])}


def _incidence(month: Month, substrate: str, places: Sequence[int], number: int) -> Chart:
    table = month.rows("pins_curve")
    columns = ("day", "pinned_pct", "low_pct", "high_pct", "lost_pct", "at_risk")
    rows = [drawn(table[at], at, *columns) for at in places]
    limited = [row for row in known(rows, "lowpct", "highpct") if row["pinnedpct"]]
    days = [0, max(row["day"] for row in rows) * BEYOND]
    x = channel(
        "day:Q", axis=options(title="days from inoculation", tickCount=4), scale=options(domain=days, nice=False)
    )
    axis = options(title="% of those started", tickCount=4)
    scale = options(domain=[0, 100])
    tip = [
        channel("day:Q", title="day"),
        channel("pinnedpct:Q", title="with pins, %", format=".0f"),
        channel("lowpct:Q", title="from", format=".0f"),
        channel("highpct:Q", title="to", format=".0f"),
        channel("lostpct:Q", title="lost, %", format=".0f"),
        channel("atrisk:Q", title="followed"),
    ]
    base = Layer(rows).encode(x=x, tooltip=tip)
    marks = [
        base.mark("line", interpolate="step-after", color=paint(colour), strokeWidth=width).encode(
            y=channel(f"{column}:Q", axis=axis, scale=scale)
        )
        for column, colour, width in (("lostpct", "lost", 2), ("pinnedpct", "pinned", 3))
    ]
    keys = [plain_key("pinned", shape="line"), plain_key("lost", "lost before", shape="line")]
    if limited:
        area = Layer(limited).mark(
            "area", interpolate="step-after", color=paint("band-wide"), line={"color": paint("band"), "strokeWidth": 1}
        )
        marks.insert(0, area.encode(x=x, y=channel("lowpct:Q", axis=axis, scale=scale), y2="highpct:Q", tooltip=tip))
        keys.append(plain_key("band-wide", f"{percent(LEVEL)} limits"))
    name = spoken("substrate", substrate)
    spec = column_chart(marks, height=NARROW_PX)
    return Chart(
        f"pins-{number}", "Pins, day by day", spec, tuple(keys), "pins_curve", tuple(rows), _said(rows), True, name
    )


def _said(rows: Points) -> tuple[str, ...]:
    """Return the curve in words: each day on which the share with pins, or that lost, changes."""
    steps = [row for before, row in zip([None, *rows], rows, strict=False) if before is None or _moves(before, row)]
    return tuple(
        f"by day {row['day']:.0f} {row['pinnedpct']:.0f} % with pins, {row['lostpct']:.0f} % lost" for row in steps
    )


def _moves(before: Point, row: Point) -> bool:
    return bool(before["pinnedpct"] != row["pinnedpct"] or before["lostpct"] != row["lostpct"])


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made(
        "pins",
        "Days to pins",
        sentence(month),
        notes(month),
        curves(month),
        [
            table(month, PINS, "Pins of each substrate, all containers so far"),
            table(month, DAYS, "Every wait of each substrate, of the containers that show it"),
        ],
    )
