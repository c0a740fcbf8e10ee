"""What is promised for the weeks ahead: whether it will be there, and how much more can be promised."""

from __future__ import annotations

from reports.columns import View
from reports.figures import Day, Sentence, cell, measured, named, positive, rows_of, several
from reports.month import Month
from reports.section import Section, made, some_noted
from reports.tables import table
from schemas.result_rows import day_of, number_of, text_of

PROMISE_CHANCES = View(
    "promise_chances",
    (
        "due_on",
        "buyer",
        "strain",
        "promised_kg",
        "chance_pct",
        "median_kg",
        "low80_kg",
        "more_containers",
        "more_of",
        "inoculate_by",
    ),
)
PROMISE_ROOM = View("promise_room", ("due_on", "promised_kg", "more80_kg", "more95_kg", "median_kg"))
VIEWS = (PROMISE_CHANCES, PROMISE_ROOM)

# Promises that are spelled out. Our choice, no source.
NAMED = 3
# As `promise check` says "under 1 %".
HARDLY_PCT = 1


def at_risk(month: Month) -> list[int]:
    """Return the rows of `promise_chances` that are met in fewer than four of five cases, the soonest first."""
    return [at for at, row in enumerate(month.rows("promise_chances")) if not row["enough"]]


def promised(month: Month, at: int) -> Sentence:
    """Return what is promised in this row, to whom and for which day."""
    row = month.rows("promise_chances")[at]
    to: Sentence = (" to ", named(text_of(row, "buyer"))) if row["buyer"] else ()
    return (measured(month, "promise_chances", at, "promised_kg"), *to, " for ", Day(day_of(row, "due_on"), short=True))


def sentence(month: Month) -> Sentence:
    """Return how many of the promises are likely met."""
    enough, rows = positive(month, "promise_chances", "enough"), rows_of(month, "promise_chances")
    return (enough, " of ", rows, " promises ahead are safe: kept in at least four of five cases.")


def notes(month: Month) -> list[Sentence]:
    """Return which promises are at risk, and what would help."""
    risky = at_risk(month)
    found = [(*promised(month, at), ": ", *chance(month, at), *_help(month, at)) for at in risky[:NAMED]]
    return [*found, *some_noted(len(risky[:NAMED]), len(risky), "promises at risk")]


def chance(month: Month, at: int) -> Sentence:
    """Return how likely this promise is met; one of a hundred or less is hardly any chance."""
    if number_of(month.rows("promise_chances")[at], "chance_pct") < HARDLY_PCT:
        return ("hardly any chance",)
    return ("a chance of ", measured(month, "promise_chances", at, "chance_pct"))


def warned(month: Month, at: int) -> Sentence:
    """Return whom to warn, of what, and how likely or how much of it will be there."""
    row = month.rows("promise_chances")[at]
    who: Sentence = (named(text_of(row, "buyer")),) if row["buyer"] else ("the buyer",)
    what = measured(month, "promise_chances", at, "promised_kg")
    due: Sentence = (what, " for ", Day(day_of(row, "due_on"), short=True))
    if number_of(row, "chance_pct") >= HARDLY_PCT or row["median_kg"] is None:
        return (*who, ": ", *due, " will be there with ", *chance(month, at))
    return (*who, ": of ", *due, " about ", measured(month, "promise_chances", at, "median_kg"), " will be there")


def _help(month: Month, at: int) -> Sentence:
    row = month.rows("promise_chances")[at]
    if row["more_containers"] is None:
        return (". No container that is begun now comes in time.",)
    more, by = cell(month, "promise_chances", at, "more_containers"), Day(day_of(row, "inoculate_by"), short=True)
    return (
        ". It helps to begin ",
        *several(more, "more container"),
        " of ",
        named(text_of(row, "more_of")),
        " by ",
        by,
        ".",
    )


def section(month: Month) -> Section | None:
    """Return this section of the report of a month; None where nothing is promised."""
    if not month.rows("promise_chances"):
        return None
    tables = [
        table(month, PROMISE_CHANCES, "What is promised, in the order of its days"),
        table(month, PROMISE_ROOM, "How much more can be promised, each day by itself"),
    ]
    return made("promised", "What is promised", sentence(month), notes(month), [], tables)
