"""The blocks of the page: each a heading, one plain computed sentence, notes, charts, and the tables behind them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reports import (
    ahead_told,
    audit_told,
    charts,
    charts_of_be,
    charts_of_differences,
    charts_of_growth,
    charts_of_losses,
    charts_of_outlook,
    charts_of_spawn,
    compared_told,
    growth_told,
    notes,
    sentences,
)
from reports.drawing import Chart
from reports.figures import Sentence
from reports.month import Month
from reports.tables import Table, findings_table, table, table_of, waiting_table
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
    made = (
        picked,
        ahead,
        finished,
        recipes,
        holds,
        spawn,
        flushes,
        waiting,
        pins,
        losses,
        stages,
        missing,
        aside,
        audit,
    )
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
        growth_told.flushes(month),
        growth_told.flush_notes(month),
        [*charts_of_growth.flush_curves(month), *charts_of_growth.flush_states(month)],
        [
            table(month, "flushes", "Flushes of each substrate, all units so far"),
            table(month, "declines", "By how much each flush gives less than the one before"),
        ],
    )


def waiting(month: Month) -> Block:
    """Is another flush worth the room?"""
    return _block(
        "waiting",
        "Is another flush worth the room?",
        growth_told.waiting(month),
        growth_told.waiting_notes(month),
        charts_of_differences.waiting(month),
        [table(month, "another_flush", "A day of waiting for a flush against a day of a container begun anew")],
    )


def pins(month: Month) -> Block:
    """By which day do pins show?"""
    return _block(
        "pins",
        "Days to pins",
        growth_told.pins(month),
        growth_told.pins_notes(month),
        charts_of_growth.pins(month),
        [
            table(month, "pins", "Pins of each substrate, all units so far"),
            table(month, "days", "Every wait of each substrate, of the units that tell it"),
        ],
    )


def holds(month: Month) -> Block:
    """Does the difference hold?"""
    told = [at for at in range(len(month.rows("compared_pairs"))) if month.pair_is_told(at)]
    return _block(
        "holds",
        "Does the difference hold?",
        compared_told.differences(month),
        compared_told.difference_notes(month),
        charts_of_differences.pairs(month),
        [
            table_of(month, "pairs_told", "What can be told, of BE, losses and days to pins", told),
            table_of(month, "compared_pairs", "Every pair compared, in points of BE", month.pairs("be")),
            table_of(month, "compared_levels", "What each level gave, BE in %", month.levels("be")),
            table(month, "trial_spread", "How much soaks and containers differ in BE"),
        ],
    )


def spawn(month: Month) -> Block:
    """What does a spawn rate bring?"""
    return _block(
        "spawn",
        "Spawn rates",
        compared_told.spawn(month),
        compared_told.spawn_notes(month),
        charts_of_spawn.spawn(month),
        [
            table(month, "spawn_steps", "From each rate to the next, within one recipe"),
            table(month, "spawn_best", "The best rate, where one can be named"),
            table(month, "spawn_levels", "What each rate gave"),
            table(month, "spawn_points", "What each batch gave at its rate"),
        ],
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


def ahead(month: Month) -> Block:
    """What is to be expected?"""
    return _block(
        "ahead",
        "What to expect",
        ahead_told.outlook(month),
        ahead_told.notes(month),
        [*charts_of_outlook.outlook(month), *charts_of_outlook.past(month)],
        [
            table(month, "outlook", "Each week ahead"),
            table(month, "outlook_batches", "The batches that it comes from"),
        ],
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
