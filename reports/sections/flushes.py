"""Flushes: how they follow each other, and what is not known yet."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt

from reports.by_substrate import CURVES_SHOWN, NAMED, substrate_name
from reports.colours import MEANINGS, paint, plain_key
from reports.columns import Limited, View
from reports.drawing import (
    LANES_A_CHART,
    NARROW_PX,
    Chart,
    LaneLabel,
    column_chart,
    data,
    drawn,
    known,
    some_of,
    stacked_chart,
)
from reports.figures import Sentence, cell, measured, several, within
from reports.month import Month
from reports.section import Section, made, some_noted
from reports.tables import table
from reports.words import isolated, spoken
from schemas.confidence import LEVEL, percent
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


def sentence(month: Month) -> Sentence:
    """Return how much less the second flush gives, on the substrate of which most containers are known through it."""
    rows = month.rows("flushes")
    second = [at for at, row in enumerate(rows) if row["flush"] == 2 and row["decline_started"] is not None]
    if not second:
        return ("No second flush can be set against a first one yet.",)
    at = max(second, key=lambda at: number_of(rows[at], "units_known"))
    limits = within(month, "flushes", at, "decline_started_low", "decline_started_high")
    return (
        "On ",
        substrate_name(month, "flushes", at),
        " a container started gives ",
        cell(month, "flushes", at, "decline_started"),
        " of its first flush in the second",
        *limits,
        ", with ",
        *several(cell(month, "flushes", at, "units_known"), "container"),
        " known through it; ",
        *_not_yet(month, "flushes", at),
        ".",
    )


def notes(month: Month) -> list[Sentence]:
    """Return by how much each flush gives less, and how containers are counted."""
    if not month.rows("flushes"):
        return []
    resolved = [at for at, row in enumerate(month.rows("declines")) if row["decline_per_flush_pct"] is not None]
    resolved.sort(key=lambda at: -number_of(month.rows("declines")[at], "soaks"))
    return [
        *(_per_flush(month, at) for at in resolved[:NAMED]),
        *some_noted(min(len(resolved), NAMED), len(resolved), "substrates"),
        *_curves_left_out(month),
        *_derived(month),
        (
            "All containers of the record so far. A container closed without the flush counts as nothing given; one "
            "that may still give it is not counted, and those of its age that are known stand for it. "
            f"Limits, of {percent(LEVEL)}, come from the soaks.",
        ),
    ]


def _derived(month: Month) -> list[Sentence]:
    """Return where most flush numbers are derived."""
    rows = month.rows("flushes")
    derived = [at for at, row in enumerate(rows) if row["pickings_derived"]]
    if not derived:
        return []
    at = max(derived, key=lambda at: whole_of(rows[at], "pickings_derived"))
    return [
        (
            "Some flush numbers stand in no row, but were derived from the gaps between pickings: on ",
            substrate_name(month, "flushes", at),
            " those of ",
            measured(month, "flushes", at, "derived_pct"),
            " of the pickings of flush ",
            cell(month, "flushes", at, "flush"),
            ". The check tells by which rule, and whether it is sure.",
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


def _not_yet(month: Month, table: str, at: int) -> Sentence:
    """Return of how many containers it is not known yet."""
    waiting = cell(month, table, at, "units_not_yet")
    if not waiting.value:
        return ("none is still unknown",)
    return (waiting, " more", " is not known yet" if waiting.value == 1 else " are not known yet")


def curves(month: Month) -> list[Chart]:
    """What each flush gives of the first, per container started: a small chart for each substrate with two flushes."""
    groups = _with_two_flushes(month)
    most = sorted(groups, key=lambda name: -_most_known(month, groups[name]))
    return [_curve(month, name, groups[name], at) for at, name in enumerate(most[:CURVES_SHOWN], start=1)]


def _with_two_flushes(month: Month) -> dict[str, list[int]]:
    """Return the rows of each substrate that has a decline of two flushes."""
    groups: dict[str, list[int]] = {}
    for at, row in enumerate(month.rows("flushes")):
        if row["decline_started"] is not None:
            groups.setdefault(text_of(row, "substrate"), []).append(at)
    return {name: rows for name, rows in groups.items() if len(rows) > 1}


def _curves_left_out(month: Month) -> list[Sentence]:
    whole = len(_with_two_flushes(month))
    return some_noted(min(whole, CURVES_SHOWN), whole, "substrates have a curve here", " with most containers")


def _most_known(month: Month, places: Sequence[int]) -> int:
    return max(whole_of(month.rows("flushes")[at], "units_known") for at in places)


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
        alt.Tooltip("unitsknown:Q", title="containers known"),
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
        *([plain_key("interval", f"{percent(LEVEL)} limits", shape="line")] if limited else []),
    )
    name = spoken("substrate", substrate)
    spec = column_chart(marks, height=NARROW_PX)
    facts = tuple(
        f"flush {row['number']} {row['declinestarted']:.2f} of flush 1"
        + (f" ({row['declinestartedlow']:.2f} to {row['declinestartedhigh']:.2f})" if row in limited else "")
        for row in rows
    )
    return Chart(f"curve-{number}", "Flush curve", spec, keys, "flushes", tuple(rows), facts, True, name)


def states_chart(month: Month) -> list[Chart]:
    """Of how many containers each flush is known, and of how many not yet."""
    table = month.rows("flushes")
    found = [at for at, row in enumerate(table) if row["units_known"] or row["units_not_yet"]]
    places = found[:LANES_A_CHART]
    rows, labels = [], []
    for place, at in enumerate(places):
        known_units, not_yet = table[at]["units_known"], table[at]["units_not_yet"]
        name = f"{isolated(spoken('substrate', text_of(table[at], 'substrate')))}, flush {table[at]['flush']}"
        labels.append(LaneLabel(name, f"{known_units} known, {not_yet} not yet"))
        rows += [
            {"row": at, "lane": f"{place:03}", "units": count, "colour": colour, "means": MEANINGS[colour]}
            for colour, count in (("known", known_units), ("not-yet", not_yet))
        ]
    title = "Containers known through each flush, and not yet"
    part = some_of(len(places), len(found), "flushes of substrates")
    return stacked_chart(rows, labels, "flush-states", title, "flushes", ("known", "not-yet"), tall=True, part=part)


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made(
        "flushes",
        "Flushes",
        sentence(month),
        notes(month),
        [*curves(month), *states_chart(month)],
        [
            table(month, FLUSHES, "Flushes of each substrate, all containers so far"),
            table(month, DECLINES, "By how much each flush gives less than the one before"),
        ],
    )
