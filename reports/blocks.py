"""The blocks of the page: each a heading, one plain computed sentence, notes, charts, and the tables behind them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reports import audit_told, charts, charts_of_be, charts_of_growth, charts_of_losses, notes, sentences
from reports.drawing import Chart
from reports.figures import Sentence
from reports.month import Month
from reports.tables import Table, findings_table, table, waiting_table
from reports.words import month_name


@dataclass(frozen=True)
class Block:
    """One block of the page; `id` is its place to link to."""

    id: str
    title: str
    sentence: Sentence
    notes: tuple[Sentence, ...]
    charts: tuple[Chart, ...]
    tables: tuple[Table, ...]


def blocks(month: Month) -> list[Block]:
    """What does the page tell, in order?"""
    made = (picked, finished, recipes, flushes, pins, losses, stages, missing, aside, audit)
    return [make(month) for make in made]


def _block(
    name: str,
    title: str,
    sentence: Sentence,
    notes: Sequence[Sentence],
    charts: Sequence[Chart],
    tables: Sequence[Table | None],
) -> Block:
    return Block(name, title, sentence, tuple(notes), tuple(charts), tuple(each for each in tables if each))


def picked(month: Month) -> Block:
    """What was picked?"""
    return _block(
        "picked",
        "What was picked",
        sentences.picked(month),
        notes.picked(month),
        [*charts.weeks(month), *charts.months(month)],
        [
            table(month, "strains", "Picked in the month, by strain"),
            table(month, "weeks", "Picked in each week, by strain"),
            table(month, "months", "The months so far", last=charts.MONTHS_SHOWN),
        ],
    )


def finished(month: Month) -> Block:
    """What was the BE of what finished, by batch?"""
    return _block(
        "finished",
        "BE of what finished",
        sentences.finished(month),
        notes.finished(month),
        charts_of_be.batches(month),
        [
            table(month, "finished_batches", f"Batches with units that finished in {month_name(month.month)}"),
            table(month, "finished_units", f"Units that finished in {month_name(month.month)}"),
        ],
    )


def recipes(month: Month) -> Block:
    """What was the BE of what finished, by recipe?"""
    return _block(
        "recipes",
        "BE by recipe",
        sentences.recipes(month),
        notes.recipes(month),
        charts_of_be.recipes(month),
        [table(month, "finished_recipes", f"Recipes with units that finished in {month_name(month.month)}")],
    )


def flushes(month: Month) -> Block:
    """How do the flushes follow each other, and what is not yet known?"""
    return _block(
        "flushes",
        "Flushes",
        sentences.flushes(month),
        notes.flushes(month),
        [*charts_of_growth.flush_curves(month), *charts_of_growth.flush_states(month)],
        [table(month, "flushes", "Flushes of each substrate, all units so far")],
    )


def pins(month: Month) -> Block:
    """How many days to pins?"""
    return _block(
        "pins",
        "Days to pins",
        sentences.pins(month),
        notes.pins(month),
        charts_of_growth.pins(month),
        [table(month, "days", "Every wait of each substrate, all units so far")],
    )


def losses(month: Month) -> Block:
    """What was lost, for which cause, in which soak?"""
    return _block(
        "losses",
        "Losses",
        sentences.losses(month),
        notes.losses(month),
        [*charts_of_losses.losses(month), *charts_of_losses.soaks(month), *charts_of_losses.causes(month)],
        [
            table(month, "losses", "Lost of each substrate and treatment, all units so far"),
            table(month, "contaminated", "Thrown out for contamination, all units so far"),
            table(month, "soaks", "Lost of each soak, all units so far"),
            table(month, "causes", "Causes of loss, all units so far"),
        ],
    )


def stages(month: Month) -> Block:
    """At which cap stage was it cut?"""
    return _block(
        "stages",
        "Cap stage and culls",
        sentences.stages(month),
        notes.stages(month),
        charts_of_losses.stages(month),
        [table(month, "stages", "Cap stage of the largest caps when cut")],
    )


def missing(month: Month) -> Block:
    """What cannot be computed, and which cell would mend it?"""
    found = findings_table("missing", "Cells that would make more numbers possible", month.missing)
    return _block("missing", "What cannot be computed yet", sentences.missing(month), (), (), [found])


def aside(month: Month) -> Block:
    """Which rows are in no figure?"""
    by_level = {level: [each for each in month.findings if each.level == level] for level in ("set_aside", "waiting")}
    roots = sorted(by_level["set_aside"], key=lambda each: -each.waiting)
    others = [each for each in month.findings if each.level in ("dropped", "warning", "notice")]
    return _block(
        "aside",
        "Rows set aside",
        sentences.aside(month),
        notes.aside(month),
        (),
        [
            findings_table("set-aside", "Rows set aside, those that others wait for first", roots, waiting=True),
            waiting_table("Rows that wait for them", by_level["waiting"]),
            findings_table("warnings", "Counted all the same: dropped cells, warnings and notices", others),
        ],
    )


def audit(month: Month) -> Block:
    """What did the last audit of the ledger find?"""
    return _block(
        "audit",
        "Audit of the ledger",
        audit_told.sentence(month),
        audit_told.notes(month),
        (),
        audit_told.tables(month),
    )
