"""Losses: what was lost without a picking, for which cause, in which soak."""

from __future__ import annotations

from reports.colours import paint, plain_key
from reports.columns import Merged, View
from reports.drawing import (
    LANES_A_CHART,
    Chart,
    LaneLabel,
    across,
    below,
    facts_of,
    lane,
    row_chart,
    some_of,
)
from reports.figures import (
    NO_BREAK,
    Figure,
    Part,
    Sentence,
    cell,
    difference,
    measured,
    named,
    plain,
    positive,
    rows_of,
    several,
    total,
)
from reports.long_tables import ROWS_SHOWN
from reports.month import Month
from reports.section import Section, made
from reports.soaks_chart import soaks_chart
from reports.tables import table
from reports.vega_lite import Layer, channel
from reports.words import isolated, spoken
from schemas.result_rows import Row, number_of, text_of

KIND = Merged("Substrate, treatment", ("substrate", "treatment"))
LOSSES = View(
    "losses",
    (
        KIND,
        "units",
        "units_not_yet",
        "lost",
        "lost_pct",
        "low_pct",
        "high_pct",
        "why_no_interval",
        "soaks",
        "soaks_with_loss",
    ),
    if_known=("why_no_interval",),
)
CONTAMINATED = View(
    "contaminated",
    (
        KIND,
        "units",
        "contaminated_before_pick",
        "contaminated_after_pick",
    ),
    table="losses",
)
CAUSES = View(
    "causes",
    (
        "cause",
        "lost",
    ),
)
SOAKS = View(
    "soaks",
    (
        "soak",
        "inoculated_on",
        "units",
        "lost",
        "lost_pct",
    ),
)
VIEWS = (
    LOSSES,
    CONTAMINATED,
    CAUSES,
    SOAKS,
)

CAUSES_NAMED = 4
ALL_PCT = 100


def sentence(month: Month) -> Sentence:
    """Return how many containers were lost without a picking, and in how many soaks."""
    judged = total(month, "soaks", "units")
    if not judged.value:
        return ("The fate of no container is known yet, so no loss can be counted.",)
    lost = total(month, "soaks", "lost")
    if not lost.value:
        return ("None of ", *several(judged, "container"), " was lost without a picking.")
    was = " was" if lost.value == 1 else " were"
    held = _in_soaks(lost, positive(month, "soaks", "lost"), rows_of(month, "soaks"))
    return (lost, " of ", *several(judged, "container"), was, " lost without a picking, ", *held, ".")


def _in_soaks(lost: Figure, with_loss: Figure, soaks: Figure) -> Sentence:
    """Return in how many of the soaks the losses lie: all in 1 of 6 soaks."""
    if not lost.value:
        return ("from ", *several(soaks, "soak"))
    alone = with_loss.value == 1 and lost.value > 1
    return ("all in " if alone else "in ", with_loss, " of ", *several(soaks, "soak"))


def notes(month: Month) -> list[Sentence]:
    """Return the causes of loss."""
    return causes_note(month) if month.rows("losses") else []


def causes_note(month: Month) -> list[Sentence]:
    """Return for which causes how many were lost, those with most first; nothing where none was."""
    notes: list[Sentence] = []
    rows = month.rows("causes")
    if rows:
        parts: list[Part] = ["By cause: "]
        for at in range(min(len(rows), CAUSES_NAMED)):
            parts += [
                ", " if at else "",
                named(spoken("cause", text_of(rows[at], "cause"))),
                NO_BREAK,
                cell(month, "causes", at, "lost"),
            ]
        notes.append((*parts, "; fewer for others." if len(rows) > CAUSES_NAMED else "."))
    return notes


def loss_facts(month: Month, at: int) -> Sentence:
    """Return what one substrate and treatment lost: 12 of 72, all in 1 of 6 soaks, and the interval if there is one."""
    row = month.rows("losses")[at]
    judged = difference(cell(month, "losses", at, "units"), cell(month, "losses", at, "units_not_yet"))
    lost = cell(month, "losses", at, "lost")
    held = _in_soaks(lost, cell(month, "losses", at, "soaks_with_loss"), cell(month, "losses", at, "soaks"))
    if not _is_limited(row):
        return (lost, " of ", judged, ", ", *held, " · no range")
    low, high = cell(month, "losses", at, "low_pct"), measured(month, "losses", at, "high_pct")
    return (lost, " of ", judged, ", ", *held, " · ", low, " to ", high)


def _is_limited(row: Row) -> bool:
    """Whether a share has an interval that says anything: one from none to all says nothing."""
    return row["low_pct"] is not None and (number_of(row, "low_pct") > 0 or number_of(row, "high_pct") < ALL_PCT)


def shares_chart(month: Month) -> list[Chart]:
    """Which share was lost of each substrate and treatment, the largest first, with its interval where there is one;
    none where nothing was lost.
    """
    table = month.rows("losses")
    judged = sorted(
        (at for at, row in enumerate(table) if row["lost_pct"] is not None),
        key=lambda at: number_of(table[at], "units_not_yet") - number_of(table[at], "units"),
    )
    places = sorted(judged[:LANES_A_CHART], key=lambda at: -number_of(table[at], "lost_pct"))
    if not any(table[at]["lost"] for at in places):
        return []
    labels = [
        LaneLabel(
            isolated(" · ".join(spoken(column, text_of(table[at], column)) for column in ("substrate", "treatment"))),
            plain(loss_facts(month, at)),
        )
        for at in places
    ]
    rows = [
        {"row": at, "lane": f"{place:03}", "lost": table[at]["lost_pct"]}
        | {end: table[at][f"{end}_pct"] if _is_limited(table[at]) else None for end in ("low", "high")}
        for place, at in enumerate(places)
    ]
    tip = [
        channel("lost:Q", title="lost, %", format=".1f"),
        channel("low:Q", title="low, %", format=".1f"),
        channel("high:Q", title="high, %", format=".1f"),
    ]
    title = "lost, % of those whose fate is known"
    points = Layer(rows).mark("circle", size=140, opacity=1, color=paint("lost"), yOffset=below(True))
    marks = [points.encode(x=across("lost", title, (0, ALL_PCT)), y=lane(labels), tooltip=tip)]
    limited = [row for row in rows if row["low"] is not None]
    if limited:
        rules = Layer(limited).mark("rule", strokeWidth=2, color=paint("interval"), yOffset=below(True))
        marks.insert(0, rules.encode(x=across("low", title, (0, ALL_PCT)), x2="high:Q", y=lane(labels), tooltip=tip))
    keys = (plain_key("lost", shape="dot"), *([plain_key("interval", shape="line")] if limited else []))
    spec = row_chart(marks, labels, tall=True)
    part = some_of(len(places), len(judged), "kinds, those with most containers")
    return [
        Chart("losses", "Share lost, the largest first", spec, keys, "losses", tuple(rows), facts_of(labels), part=part)
    ]


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made(
        "losses",
        "Losses",
        sentence(month),
        notes(month),
        [*shares_chart(month), *soaks_chart(month)],
        [
            table(month, LOSSES, "Lost of each substrate and treatment, all containers so far"),
            table(month, CONTAMINATED, "Thrown out for contamination, all containers so far"),
            table(month, SOAKS, "Lost of each soak, all containers so far", last=ROWS_SHOWN),
            table(month, CAUSES, "Causes of loss, all containers so far"),
        ],
    )
