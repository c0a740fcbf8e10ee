"""BE of what finished in the month, by batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from reports.be_chart import be_charts, be_text
from reports.columns import RECIPE, Merged, View
from reports.drawing import Chart, LaneLabel, in_charts, some_of
from reports.figures import Figure, Sentence, cell, measured, positive, rows_of, several, total
from reports.long_tables import ROWS_SHOWN, lowest_and_highest
from reports.month import Month
from reports.section import Section, made
from reports.tables import table
from reports.words import isolated, month_name, spoken
from schemas.phrases import counted
from schemas.result_rows import text_of, whole_of

ENDED_BY = Merged("Ended by", ("finished_by", "contaminated_before_pick"))
FINISHED_BATCHES = View(
    "finished_batches",
    (
        "batch",
        "substrate",
        "units",
        "units_without_dry_mass",
        "fresh_g",
        "be_pct",
    ),
)
FINISHED_RECIPES = View(
    "finished_recipes",
    (RECIPE, "batches", "units", "units_without_dry_mass", "fresh_g", "be_pct"),
)
FINISHED_UNITS = View(
    "finished_units",
    (
        "batch",
        "container",
        "strain",
        RECIPE,
        "finished_on",
        ENDED_BY,
        "fresh_g",
        "substrate_dry_g",
        "be_pct",
    ),
)
VIEWS = (
    FINISHED_BATCHES,
    FINISHED_RECIPES,
    FINISHED_UNITS,
)

BATCHES_A_CHART = 14
# So many batches are drawn; a farm of some 100,000 pickings has all of them drawn. Our choice, no source.
BATCHES_DRAWN = 240
# Which rows are shown where there are too many: what did badly and what did well, besides what was lost.
LOW_AND_HIGH = "the lowest BE of those that gave a picking, and the highest"


def sentence(month: Month) -> Sentence:
    """Return the BE of what finished in the month, and on how many containers and batches it rests."""
    name, at = month_name(month.month), month.place()
    units = month.rows("finished_units")
    if at is None or not units:
        return (f"No container finished in {name}, so the month has no biological efficiency (BE) of its own.",)
    ended = several(cell(month, "months", at, "units_finished"), "container")
    lost = all_lost(month)
    if lost:
        return (*ended, f" finished in {name} and gave nothing: ", lost, " lost.")
    ended = (*ended, " of ", *several(rows_of(month, "finished_batches"), "batch", "batches"))
    of = of_be(month)
    if not of:
        which = "none that gave a picking" if positive(month, "finished_units", "substrate_dry_g").value else "none"
        return (*ended, f" finished in {name}, {which} with a known dry substrate mass, so their BE is not known.")
    without = total(month, "finished_batches", "units_without_dry_mass")
    left_out: Sentence = (". Left out: ", without, " without a known dry mass") if without.value else ()
    be = measured(month, "months", at, "be_finished_pct")
    return ("BE was ", be, " for what finished in ", name, ": ", *of, *left_out, ".")


def of_be(month: Month) -> Sentence:
    """Return the containers and batches that the BE of what finished rests on; nothing where there is no BE."""
    at = month.place()
    if at is None or month.rows("months")[at]["be_finished_pct"] is None:
        return ()
    batches = positive(month, "finished_batches", "substrate_dry_g")
    containers = positive(month, "finished_units", "substrate_dry_g")
    return (*several(containers, "container"), " of ", *several(batches, "batch", "batches"))


def all_lost(month: Month) -> Figure | None:
    """Return how many containers finished, where every one of them gave nothing; None else."""
    at = month.place()
    if at is None or not month.rows("finished_units") or positive(month, "finished_units", "fresh_g").value:
        return None
    return cell(month, "months", at, "units_finished")


def notes(month: Month) -> list[Sentence]:
    """Return what so few batches can say, and what was thrown out."""
    rows = month.rows("finished_units")
    notes: list[Sentence] = []
    if not rows:
        return notes
    if len(month.rows("finished_batches")) == 1:
        notes.append(("One batch is one mix on one day: it cannot tell recipes apart.",))
    thrown = positive(month, "finished_units", "contaminated_before_pick")
    if thrown.value:
        was = " was" if thrown.value == 1 else " were"
        count = "counts" if thrown.value == 1 else "count"
        notes.append(
            (thrown, was, f" thrown out for contamination before a first picking, and {count} with nothing given.")
        )
    notes.append(
        ("What finished in a month was inoculated months before: it is not the yield of this month's picking.",)
    )
    return notes


def batches_chart(month: Month) -> list[Chart]:
    """The BE of each batch of which units finished, with its units as points."""
    table = month.rows("finished_batches")
    units: dict[str, list[int]] = {}
    for at, row in enumerate(month.rows("finished_units")):
        units.setdefault(text_of(row, "batch"), []).append(at)
    shown = lowest_and_highest(table, "be_pct", BATCHES_DRAWN)[:BATCHES_DRAWN]
    lanes = [(at, units.get(text_of(table[at], "batch"), [])) for at in shown]
    labels = {
        at: LaneLabel(isolated(spoken("batch", text_of(table[at], "batch"))), _batch_facts(month, at, of))
        for at, of in lanes
    }
    drawn = in_charts(lanes, BATCHES_A_CHART)
    charts = be_charts(month, "finished_batches", drawn, labels, tall=False)
    how = f", {LOW_AND_HIGH}" if shown != [*range(len(shown))] else ""
    part = some_of(len(shown), len(table), "batches", by=how)
    return [*charts[:-1], *(replace(each, part=part) for each in charts[-1:])]


def _batch_facts(month: Month, at: int, of: Sequence[int]) -> str:
    row = month.rows("finished_batches")[at]
    containers = [month.rows("finished_units")[unit]["container"] for unit in of]
    rest = "whole batch" if containers == [""] else counted(whole_of(row, "units"), "container")
    return f"{rest} · {be_text(month, 'finished_batches', at)}"


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    batches, units = (
        lowest_and_highest(month.rows(name), "be_pct", ROWS_SHOWN) for name in ("finished_batches", "finished_units")
    )
    when = f"that finished in {month_name(month.month)}"
    return made(
        "finished",
        "BE of what finished",
        sentence(month),
        notes(month),
        batches_chart(month),
        [
            table(month, FINISHED_BATCHES, f"Batches with containers {when}", some=batches, how=LOW_AND_HIGH),
            table(month, FINISHED_RECIPES, f"Recipes with containers {when}"),
            table(month, FINISHED_UNITS, f"Containers {when}", some=units, how=LOW_AND_HIGH),
        ],
    )
