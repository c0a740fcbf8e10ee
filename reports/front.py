"""Page one: the finding of the month, four figures against earlier months, what to do next, and one warning."""

from __future__ import annotations

from dataclasses import dataclass

from reports.figures import (
    Figure,
    Part,
    Sentence,
    brief,
    cell,
    change,
    count,
    measured,
    named,
    several,
    shortened,
)
from reports.month import Month, first_day
from reports.sections import differences, finished, outlook, picked
from reports.words import MONTH_NAMES, month_name, short_month
from schemas.answers import Direction
from schemas.contract import BATCHES, contract
from schemas.phrases import listed
from schemas.result_rows import number_of, text_of, whole_of

# A batch is named in the headline where so many of its containers, and at least half of them, were lost. Our choice.
MANY_LOST = 3
# Differences that page one names. Our choice, no source.
SHOWN = 2
PER = "per kg of dry substrate"


@dataclass(frozen=True)
class Tile:
    """A figure of the month at a glance: what it is, its value (None: there is none), what it rests on or why there is
    none, and what it was in earlier months.
    """

    what: str
    figure: Figure | None
    rests_on: Sentence
    before: tuple[Sentence, ...] = ()


def headline(month: Month) -> list[Sentence]:
    """Return the finding of the month: what was picked against the month before, and what was lost at once."""
    return [brief(each) for each in (_picked(month), _lost_batch(month)) if each]


def _picked(month: Month) -> Sentence:
    name, at = month_name(month.month), month.place()
    if at is None or not month.rows("months")[at]["pickings"]:
        return (f"Nothing was picked in {name}{'' if month.over else ' so far'}.",)
    now = measured(month, "months", at, "fresh_g")
    counted = "" if picked.waiting_at(month) is None else " and counted"
    start: Sentence = (now, f" was picked{counted} in {name}{'' if month.over else ' so far'}")
    before = month.place(1)
    if before is None or not month.over or not month.rows("months")[before]["fresh_g"]:
        return (*start, ".")
    apart = change(now, measured(month, "months", before, "fresh_g"))
    then = MONTH_NAMES[first_day(month.month, 1).month - 1]
    if not round(float(apart.value or 0)):
        return (*start, f", as much as in {then}.")
    return (*start, ", ", apart, f" {'more' if (apart.value or 0) > 0 else 'less'} than in {then}.")


def _lost_batch(month: Month) -> Sentence:
    """Return which batch lost most of its containers, some of them in this month, and the worst beside it of the same
    soak; nothing where none did.
    """
    rows = month.rows("batch_courses")
    now = {text_of(row, "batch") for row in month.rows("finished_units") if not row["fresh_g"]}
    bad = [
        at
        for at, row in enumerate(rows)
        if text_of(row, "batch") in now
        and whole_of(row, "units_lost") >= MANY_LOST
        and 2 * whole_of(row, "units_lost") >= whole_of(row, "units")
    ]
    if not bad:
        return ()
    worst, *others = sorted(bad, key=lambda each: -whole_of(rows[each], "units_lost"))
    beside = [at for at in others if rows[at]["soak"] == rows[worst]["soak"]][:1]
    same: list[Part] = []
    for at in beside:
        same += [", and ", named(text_of(rows[at], "batch")), " of the same soak ", *_lost_of(month, at)]
    start: Sentence = ("Batch ", named(text_of(rows[worst], "batch")), " lost ", *_lost_of(month, worst))
    return (*start, " containers", *same, ".")


def _lost_of(month: Month, at: int) -> Sentence:
    lost, units = (cell(month, "batch_courses", at, column) for column in ("units_lost", "units"))
    return (lost, " of ", units)


def shown(month: Month) -> Sentence:
    """Return what the records show to give more, the largest differences in BE; nothing where they show none.

    By how much stands with what holds.
    """
    rows = month.rows("compared_pairs")
    held = [at for at in month.pairs("be") if Direction(text_of(rows[at], "direction")).is_shown]
    held.sort(key=lambda at: -abs(number_of(rows[at], "difference")))
    parts: list[Part] = []
    for at in held[:SHOWN]:
        more, less = differences.better_first(month, at)
        gives = " more than " if parts else " gives more than "
        parts += ["; " if parts else f"The records show: {PER}, ", more, gives, less]
    return (*parts, ".") if parts else ()


def tiles(month: Month) -> list[Tile]:
    """Return the four figures at the head of the page: money where the farm keeps books, else BE."""
    at = month.place()
    paid = at is not None and month.rows("months")[at]["margin"] is not None
    found = [
        _picked_tile(month),
        _money_tile(month, at) if paid and at is not None else _be_tile(month),
        _lost_tile(month),
        _ahead_tile(month),
    ]
    return [brief_tile(each) for each in found]


def brief_tile(tile: Tile) -> Tile:
    """Return a tile whose figures have few digits."""
    figure = shortened(tile.figure) if tile.figure else None
    return Tile(tile.what, figure, brief(tile.rests_on), tuple(brief(each) for each in tile.before))


def _picked_tile(month: Month) -> Tile:
    at = month.place()
    if at is None:
        return Tile("Picked", None, ("nothing",))
    waits = picked.waiting_at(month)
    more: Sentence = () if waits is None else (measured(month, "waiting_months", waits, "waiting_g"),)
    rests: Sentence = ("at least ", *more, " more is not counted yet") if more else ()
    return Tile("Picked", measured(month, "months", at, "fresh_g"), rests, _before(month, "fresh_g"))


def _money_tile(month: Month, at: int) -> Tile:
    """The margin of the month, what it is left of, and what the cost lacks, for which it is too high."""
    row = month.rows("months")[at]
    brought, costs = (cell(month, "months", at, column) for column in ("revenue", "cost"))
    lacks = text_of(row, "lacks")
    unknown = listed([_in_words(each) for each in lacks.split(", ")])
    more: Sentence = (". Too high: the cost lacks ", named(unknown)) if lacks else ()
    what = f"Margin, {month.currency}" if month.currency else "Margin"
    unit = "" if month.currency else ", in the farm's currency"
    # A farm that logs no sale is told what its pickings are worth.
    unsold = row["revenue"] and not row["sold_g"]
    gave: Sentence = (brought, " for what was picked, at its price") if unsold else ("sales of ", brought)
    rests: Sentence = ("left: ", *gave, ", less costs of " if unsold else " less costs of ", costs, unit, *more)
    return Tile(what, measured(month, "months", at, "margin"), rests, _before(month, "margin"))


def _in_words(lacking: str) -> str:
    """Return what a cost lacks as a grower says it: a column of the batches by its title."""
    batches = contract(BATCHES)
    return batches.field(lacking).title.lower() if lacking in batches.names else lacking


def _be_tile(month: Month) -> Tile:
    at, what = month.place(), "BE of what finished"
    if at is not None and finished.of_be(month):
        rests: Sentence = ("kg from a hundred kg of dry substrate",)
        return Tile(what, measured(month, "months", at, "be_finished_pct"), rests, _before(month, "be_finished_pct"))
    lost = finished.all_lost(month)
    if lost:
        return Tile(what, None, (lost, " lost"))
    return Tile(what, None, ("no dry mass known",) if month.rows("finished_units") else ("no container finished",))


def _lost_tile(month: Month) -> Tile:
    at = month.place()
    if at is None:
        return Tile("Lost", None, ("no container finished",))
    ended = cell(month, "months", at, "units_finished")
    rests: Sentence = ("of ", *several(ended, "container"), " that ended") if ended.value else ("no container ended",)
    before = _before(month, "units_lost", "units_finished")
    return Tile("Lost", measured(month, "months", at, "units_lost"), rests, before)


def _ahead_tile(month: Month) -> Tile:
    what, at = "Next four weeks", outlook.summed_at(month)
    if at is None:
        return Tile(what, None, ("cannot be foreseen yet",))
    low, high = cell(month, "outlook", at, "sum_low80_kg"), measured(month, "outlook", at, "sum_high80_kg")
    rests: Sentence = (low, " to ", high, ", four times in five") if low.value is not None else ("expected",)
    return Tile(what, measured(month, "outlook", at, "sum_median_kg"), rests)


def _before(month: Month, column: str, of: str = "") -> tuple[Sentence, ...]:
    """Return what this column of `months` was in the month before and in the same month a year ago, where known.

    `of`: the column that it is a part of, told beside it.
    """
    found: list[Sentence] = []
    for months_before in (1, 12):
        at = month.place(months_before)
        if at is not None and month.rows("months")[at][column] is not None and (not of or month.rows("months")[at][of]):
            name = short_month(first_day(month.month, months_before))
            whole: Sentence = (" of ", cell(month, "months", at, of)) if of else ()
            nothing = column == "fresh_g" and not month.rows("months")[at][column]
            found.append(
                (f"{name}: nothing",) if nothing else (f"{name}: ", measured(month, "months", at, column), *whole)
            )
    return tuple(found)


def warning(month: Month, alone: bool = False) -> Sentence:
    """Return what the figures of this page lack most; nothing where they lack nothing. `alone`: without what follows
    page one.
    """
    lost = count(month, "entries_lost")
    if lost.value:
        return (*several(lost, "logged entry", "logged entries"), " no longer stand in the files.")
    waits = picked.waiting(month)
    if waits:
        return brief(waits)
    rows = count(month, "rows_set_aside")
    if rows.value:
        return (*several(rows, "row"), " of the files cannot be counted", "." if alone else ": see Rows to mend.")
    return ()
