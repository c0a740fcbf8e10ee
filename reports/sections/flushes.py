"""Flushes: how they follow each other, and what is not known yet."""

from __future__ import annotations

from collections.abc import Sequence

from reports.by_substrate import CURVES_SHOWN, substrate_name
from reports.colours import paint, plain_key
from reports.columns import Limited, View
from reports.drawing import FACTS_PX, Chart, column_chart, drawn, some_of
from reports.figures import Sentence, cell, measured, several, within
from reports.month import Month
from reports.section import Section, made
from reports.tables import table
from reports.vega_lite import Layer, Points, channel, expression, options
from reports.words import isolated, spoken
from schemas.result_rows import number_of, text_of, whole_of

FLUSHES = View(
    "flushes",
    (
        "substrate",
        "flush",
        "units_known",
        "units_not_yet",
        "fresh_g",
        "share_pct",
        Limited("decline_started", "decline_started_low", "decline_started_high"),
        Limited("decline_gave", "decline_gave_low", "decline_gave_high"),
        "derived_pct",
        "why_no_decline",
    ),
    if_known=("why_no_decline",),
)
DECLINES = View(
    "declines",
    (
        "substrate",
        "soaks",
        "flushes_used",
        Limited("decline_per_flush_pct", "decline_per_flush_low_pct", "decline_per_flush_high_pct"),
        "why_no_decline",
    ),
    if_known=("why_no_decline",),
)
VIEWS = (
    FLUSHES,
    DECLINES,
)

SLOPES_PX, LABEL_PX = 260, 20  # height of the chart, and of a name in it
# Lines that cross can be followed by their dashes.
DASHES = [[1, 0], [7, 3], [2, 3], [9, 3, 2, 3], [4, 4], [1, 5]]
PADDING = 0.4  # before the first flush and after the last place, in steps


def sentence(month: Month) -> Sentence:
    """Return how much less the second flush gives, on the substrate of which most containers are known through it."""
    rows = month.rows("flushes")
    second = [at for at, row in enumerate(rows) if row["flush"] == 2 and row["decline_started"] is not None]
    if not second:
        return ("No container shows two flushes to compare yet.",)
    at = max(second, key=lambda at: number_of(rows[at], "units_known"))
    limits = within(month, "flushes", at, "decline_started_low", "decline_started_high")
    return (
        "On ",
        substrate_name(month, "flushes", at),
        " the second flush gives ",
        cell(month, "flushes", at, "decline_started"),
        " of the first",
        *limits,
        ". ",
        *_known(month, at),
        ".",
    )


def notes(month: Month) -> list[Sentence]:
    """Return by how much each flush gives less, and whether flush numbers are derived."""
    if not month.rows("flushes"):
        return []
    resolved = [at for at, row in enumerate(month.rows("declines")) if row["decline_per_flush_pct"] is not None]
    resolved.sort(key=lambda at: -number_of(month.rows("declines")[at], "soaks"))
    return [*(_per_flush(month, at) for at in resolved[:1]), *_derived(month)]


def _derived(month: Month) -> list[Sentence]:
    """Return where most flush numbers are derived."""
    rows = month.rows("flushes")
    derived = [at for at, row in enumerate(rows) if row["pickings_derived"]]
    if not derived:
        return []
    at = max(derived, key=lambda at: whole_of(rows[at], "pickings_derived"))
    return [
        (
            "Some flush numbers are blank, and counted from the gaps between pickings: ",
            measured(month, "flushes", at, "derived_pct"),
            " of flush ",
            cell(month, "flushes", at, "flush"),
            " on ",
            substrate_name(month, "flushes", at),
            ".",
        )
    ]


def _per_flush(month: Month, at: int) -> Sentence:
    return (
        "On ",
        substrate_name(month, "declines", at),
        " each flush gives ",
        measured(month, "declines", at, "decline_per_flush_pct"),
        " less than the one before",
        *within(month, "declines", at, "decline_per_flush_low_pct", "decline_per_flush_high_pct"),
        ", from ",
        *several(cell(month, "declines", at, "soaks"), "soak"),
        ".",
    )


def _known(month: Month, at: int) -> Sentence:
    """Return how many containers show it, and how many are not that far."""
    known, waiting = (cell(month, "flushes", at, column) for column in ("units_known", "units_not_yet"))
    start: Sentence = (*several(known, "container"), " show it" if known.value != 1 else " shows it")
    return (*start, "; ", waiting, " not that far yet") if waiting.value else start


def slopes_chart(month: Month) -> list[Chart]:
    """What each flush gives of the first, per container started: one line a substrate, named where it ends."""
    groups = _with_two_flushes(month)
    most = sorted(groups, key=lambda name: -_most_known(month, groups[name]))[:CURVES_SHOWN]
    if not most:
        return []
    table = month.rows("flushes")
    columns = ("decline_started", "decline_started_low", "decline_started_high", "units_known")
    rows = [
        drawn(table[at], at, *columns)
        | {"number": str(table[at]["flush"]), "line": f"{order:02}", "name": isolated(spoken("substrate", name))}
        for order, name in enumerate(most)
        for at in groups[name]
    ]
    top = 1.1 * max(row["declinestarted"] for row in rows)
    last = [
        max((row for row in rows if row["line"] == f"{order:02}"), key=lambda row: row["number"])
        for order in range(len(most))
    ]
    for row, height in zip(
        last, spread([row["declinestarted"] for row in last], LABEL_PX * top / SLOPES_PX), strict=True
    ):
        row["height"] = height
    axis, scale = options(title="of flush 1", tickCount=4), options(domain=[0, top], nice=False)
    x = channel(
        "number:N",
        sort=None,
        axis=options(title="flush", labelAngle=0, values=[each for each in _places(rows) if each.strip()]),
        scale=options(domain=_places(rows), padding=PADDING),
    )
    y = channel("declinestarted:Q", axis=axis, scale=scale)
    tip = [
        channel("name:N", title="substrate"),
        channel("number:N", title="flush"),
        channel("declinestarted:Q", title="of flush 1, per container started", format=".2f"),
        channel("declinestartedlow:Q", title="from", format=".2f"),
        channel("declinestartedhigh:Q", title="to", format=".2f"),
        channel("unitsknown:Q", title="containers known"),
    ]
    base = Layer(rows).encode(x=x, y=y, detail="line:N", tooltip=tip)
    room = expression(f"width * {_room(rows):.2f}")
    names = Layer(last).mark("text", align="left", baseline="middle", dx=9, fontSize=FACTS_PX, limit=room)
    dashes = channel(
        "line:N", legend=None, scale=options(domain=[f"{at:02}" for at in range(len(DASHES))], range=DASHES)
    )
    marks = [
        base.mark("line", color=paint("band"), strokeWidth=2).encode(strokeDash=dashes),
        base.mark("circle", color=paint("estimate"), size=90, opacity=1),
        names.encode(x=x, y=channel("height:Q", axis=axis, scale=scale), text="name:N", tooltip=tip),
    ]
    facts = tuple(
        f"{row['name']}, flush {row['number']}: {row['declinestarted']:.2f} of flush 1"
        + (
            f" ({row['declinestartedlow']:.2f} to {row['declinestartedhigh']:.2f})"
            if row["declinestartedlow"] is not None and row["declinestartedhigh"] is not None
            else ""
        )
        for row in rows
    )
    part = some_of(len(most), len(groups), "substrates", "first", ", by containers")
    title = "What each flush gives of the first, per container started"
    keys = (plain_key("estimate", shape="dot"),)
    return [Chart("slopes", title, column_chart(marks, SLOPES_PX), keys, "flushes", tuple(rows), facts, part=part)]


def _places(rows: Points) -> list[str]:
    """Return the flushes in order, and as much room again as half of them for the names at the ends of the lines."""
    flushes = sorted({row["number"] for row in rows}, key=int)
    return [*flushes, *(" " * at for at in range(1, 2 + len(flushes) // 2))]


def _room(rows: Points) -> float:
    """Return the share of the chart's width that is right of the last flush, for the names."""
    flushes, places = len({row["number"] for row in rows}), len(_places(rows))
    return 1 - (PADDING + flushes - 1) / (places - 1 + 2 * PADDING) - 0.03


def spread(heights: Sequence[float], apart: float) -> list[float]:
    """Return these heights, moved up where two of them are less than so far apart."""
    moved: dict[int, float] = {}
    for at in sorted(range(len(heights)), key=lambda at: heights[at]):
        moved[at] = max([heights[at], *(each + apart for each in moved.values())]) if moved else heights[at]
    return [moved[at] for at in range(len(heights))]


def _with_two_flushes(month: Month) -> dict[str, list[int]]:
    """Return the rows of each substrate that has a decline of two flushes."""
    groups: dict[str, list[int]] = {}
    for at, row in enumerate(month.rows("flushes")):
        if row["decline_started"] is not None:
            groups.setdefault(text_of(row, "substrate"), []).append(at)
    return {name: rows for name, rows in groups.items() if len(rows) > 1}


def _most_known(month: Month, places: Sequence[int]) -> int:
    return max(whole_of(month.rows("flushes")[at], "units_known") for at in places)


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made(
        "flushes",
        "Flushes",
        sentence(month),
        notes(month),
        slopes_chart(month),
        [
            table(month, FLUSHES, "Flushes of each substrate, all containers so far"),
            table(month, DECLINES, "By how much each flush gives less than the one before"),
        ],
    )
