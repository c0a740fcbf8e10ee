"""Cap stage and culls: at which stage it was cut, and how much was trimmed or culled."""

from __future__ import annotations

from reports.colours import plain_key
from reports.columns import View
from reports.drawing import Chart, LaneLabel, across, below, colour_of, facts_of, lane, row_chart
from reports.figures import Sentence, measured
from reports.month import Month
from reports.section import Section, made
from reports.tables import table
from reports.vega_lite import Layer, channel
from reports.words import isolated, month_name, spoken
from schemas.contract import HARVESTS, contract
from schemas.result_rows import text_of

STAGES = View(
    "stages",
    (
        "cap_stage",
        "fresh_g",
        "pickings",
        "share_pct",
        "share_of_staged_pct",
    ),
)
VIEWS = (STAGES,)


def sentence(month: Month) -> Sentence:
    """Return how much was picked late, and how much was culled."""
    at = month.place()
    if at is None or not month.rows("months")[at]["pickings"]:
        return (f"Nothing was picked in {month_name(month.month)}, so there is no cap stage to show.",)
    late, culled = measured(month, "months", at, "picked_late_pct"), measured(month, "months", at, "culled_pct")
    cut: Sentence = (culled, " of the fresh mass was trimmed or culled")
    if late.value is None:
        return ("No cap stage was noted, so late picking is not known. ", *cut, ".")
    older = "" if month.late_from == "turned_up" else " or older"
    return (
        late,
        f" of the mass with a stage was picked late (caps {spoken('cap_stage', month.late_from)}{older}). ",
        *cut,
        ".",
    )


def notes(month: Month) -> list[Sentence]:
    """Return how much has no stage noted."""
    blank = [at for at, row in enumerate(month.rows("stages")) if not row["cap_stage"] and row["share_pct"]]
    return [(measured(month, "stages", at, "share_pct"), " of the fresh mass has no cap stage noted.") for at in blank]


def stages_chart(month: Month) -> list[Chart]:
    """Which share of the month's fresh mass with a stage was cut at which."""
    order = contract(HARVESTS).field("cap_stage").words
    table = month.rows("stages")
    places = [at for at, row in enumerate(table) if row["share_of_staged_pct"] is not None]
    rows, labels = [], []
    for place, at in enumerate(places):
        stage = text_of(table[at], "cap_stage")
        colour = "late" if order.index(stage) >= order.index(month.late_from) else "mass"
        share = measured(month, "stages", at, "share_of_staged_pct")
        facts = f"{measured(month, 'stages', at, 'fresh_g').full} · {share.full}"
        labels.append(LaneLabel(isolated(spoken("cap_stage", stage)), facts))
        rows.append({"row": at, "lane": f"{place:03}", "share": table[at]["share_of_staged_pct"], "colour": colour})
    if not any(row["share"] for row in rows):
        return []
    bars = Layer(rows).mark("bar", height=15, yOffset=below())
    tip = channel("share:Q", title="share, %", format=".1f")
    marks = [
        bars.encode(
            x=across("share", "share of the mass with a stage, %", (0, 100)),
            y=lane(labels),
            color=colour_of(rows),
            tooltip=tip,
        )
    ]
    keys = tuple(plain_key(colour) for colour in ("mass", "late") if any(row["colour"] == colour for row in rows))
    return [
        Chart(
            "stages",
            "Cap stage when cut",
            row_chart(marks, labels, of_name=0.5),
            keys,
            "stages",
            tuple(rows),
            facts_of(labels),
        )
    ]


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made(
        "stages",
        "Cap stage and culls",
        sentence(month),
        notes(month),
        stages_chart(month),
        [table(month, STAGES, "Cap stage of the largest caps when cut")],
    )
