"""Page one: the finding of the month, four figures against earlier months, what to do next, and one warning."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reports.figures import (
    Day,
    Figure,
    Name,
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
    within,
)
from reports.month import Month, first_day
from reports.sections import differences, finished, outlook, picked, promises
from reports.words import month_name
from schemas.answers import Direction
from schemas.phrases import listed
from schemas.result_rows import day_of, number_of, text_of, whole_of

# Lines of what to do, and names in one of them. Our choice, no source.
STEPS_SHOWN = 3
NAMES_SHOWN = 4
# A batch is named in the headline where so many of its containers, and at least half of them, were lost. Our choice.
MANY_LOST = 3


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
    """Return the finding of the month: what was picked against the month before, and what stands out."""
    found = [_picked(month), *(each for each in (_lost_batch(month), _held(month)) if each)]
    return [brief(each) for each in found[:2]]


def _picked(month: Month) -> Sentence:
    name, at = month_name(month.month), month.place()
    if at is None or not month.rows("months")[at]["pickings"]:
        return (f"Nothing was picked in {name}{'' if month.over else ' so far'}.",)
    now = measured(month, "months", at, "fresh_g")
    start: Sentence = (now, f" was picked in {name}{'' if month.over else ' so far'}")
    before = month.place(1)
    if before is None or not month.over or not month.rows("months")[before]["fresh_g"]:
        return (*start, ".")
    apart = change(now, measured(month, "months", before, "fresh_g"))
    if not round(float(apart.value or 0)):
        return (*start, ", as much as in the month before.")
    return (*start, ", ", apart, f" {'more' if (apart.value or 0) > 0 else 'less'} than in the month before.")


def _lost_batch(month: Month) -> Sentence:
    """Return which batch of the month lost most of its containers; nothing where none did."""
    rows = month.rows("batch_courses")
    bad = [
        at
        for at, row in enumerate(rows)
        if whole_of(row, "units_lost") >= MANY_LOST and 2 * whole_of(row, "units_lost") >= whole_of(row, "units")
    ]
    if not bad:
        return ()
    at = max(bad, key=lambda each: whole_of(rows[each], "units_lost"))
    lost, units = (cell(month, "batch_courses", at, column) for column in ("units_lost", "units"))
    return ("Batch ", named(text_of(rows[at], "batch")), " lost ", lost, " of ", *several(units, "container"), ".")


def _held(month: Month) -> Sentence:
    """Return the largest difference in BE that the records show; nothing where they show none."""
    rows = month.rows("compared_pairs")
    held = [at for at in month.pairs("be") if Direction(text_of(rows[at], "direction")).is_shown]
    if not held:
        return ()
    return differences.shown_pair(month, max(held, key=lambda at: abs(number_of(rows[at], "difference"))))


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
    return [_brief(each) for each in found]


def _brief(tile: Tile) -> Tile:
    figure = shortened(tile.figure) if tile.figure else None
    return Tile(tile.what, figure, brief(tile.rests_on), tuple(brief(each) for each in tile.before))


def _picked_tile(month: Month) -> Tile:
    at = month.place()
    if at is None:
        return Tile("Picked", None, ("nothing",))
    said = picked.waiting(month)
    more: Sentence = ("; at least ", said[1], " more waits") if said else ()
    rests: Sentence = ("in ", *several(cell(month, "months", at, "pickings"), "picking"), *more)
    return Tile("Picked", measured(month, "months", at, "fresh_g"), rests, _before(month, "fresh_g"))


def _money_tile(month: Month, at: int) -> Tile:
    """The margin of the month, of what it is made, and what the cost lacks, for which it is too high."""
    brought, cost = (cell(month, "months", at, column) for column in ("revenue", "cost"))
    lacks = text_of(month.rows("months")[at], "lacks")
    more: Sentence = ("; too high, for the cost lacks ", named(listed(lacks.split(", ")))) if lacks else ()
    what = f"Margin, {month.currency}" if month.currency else "Margin"
    rests: Sentence = ("brought ", brought, ", cost ", cost, *more)
    return Tile(what, measured(month, "months", at, "margin"), rests, _before(month, "margin"))


def _be_tile(month: Month) -> Tile:
    at, what = month.place(), "BE of what finished"
    of = finished.of_be(month)
    if of and at is not None:
        return Tile(what, measured(month, "months", at, "be_finished_pct"), of, _before(month, "be_finished_pct"))
    lost = finished.all_lost(month)
    if lost:
        return Tile(what, None, (lost, " lost"))
    return Tile(what, None, ("no dry mass known",) if month.rows("finished_units") else ("no container finished",))


def _lost_tile(month: Month) -> Tile:
    at = month.place()
    if at is None:
        return Tile("Lost", None, ("no container finished",))
    ended = cell(month, "months", at, "units_finished")
    rests: Sentence = ("of ", *several(ended, "container"), " that finished")
    return Tile("Lost", measured(month, "months", at, "units_lost"), rests, _before(month, "units_lost"))


def _ahead_tile(month: Month) -> Tile:
    what, at = "Next four weeks", outlook.summed_at(month)
    if at is None:
        return Tile(what, None, ("cannot be foreseen yet",))
    band = within(month, "outlook", at, "sum_low80_kg", "sum_high80_kg")
    rests: Sentence = ("expected", *band)
    return Tile(what, measured(month, "outlook", at, "sum_median_kg"), rests)


def _before(month: Month, column: str) -> tuple[Sentence, ...]:
    """Return what this column of `months` was in the month before and in the same month a year ago, where known."""
    found: list[Sentence] = []
    for months_before in (1, 12):
        at = month.place(months_before)
        if at is not None and month.rows("months")[at][column] is not None:
            name = month_name(first_day(month.month, months_before))
            found.append((f"{name}: ", measured(month, "months", at, column)))
    return tuple(found)


def next_steps(month: Month) -> list[Sentence]:
    """Return what to do next, the most pressing first: what, with which containers, since when."""
    found = [_mend(month), _promise(month), *(make(month) for make in ACTIONS)]
    return [brief(each) for each in found if each][:STEPS_SHOWN]


def _mend(month: Month) -> Sentence:
    lost = count(month, "entries_lost")
    if lost.value:
        return ("Put back ", *several(lost, "logged entry", "logged entries"), ": gillbook lost --put-back does it.")
    roots = [each for each in month.findings if each.level == "set_aside" and each.waiting]
    if not roots:
        return ()
    worst = max(roots, key=lambda each: each.waiting)
    return ("Mend ", Name(f"{worst.file}, row {worst.row}"), ": other rows wait for it. gillbook check says how.")


def _promise(month: Month) -> Sentence:
    """The soonest promise that may not be met; nothing where all likely are."""
    risky = promises.at_risk(month)
    if not risky:
        return ()
    due, chance = promises.promised(month, risky[0]), promises.chance(month, risky[0])
    return ("Warn the buyer: ", *due, ", ", *chance, ".")


def _due(action: str, reason: str | None, start: str, since: str) -> Callable[[Month], Sentence]:
    """Return what makes the line of this action: the containers that are due, and the day of the oldest of them."""

    def line(month: Month) -> Sentence:
        rows = [
            row
            for row in month.rows("today")
            if row["action"] == action and (reason is None or row["reason"] == reason)
        ]
        if not rows:
            return ()
        names = dict.fromkeys(text_of(row, "container") or f"batch {text_of(row, 'batch')}" for row in rows)
        oldest = min((day_of(row, "since") for row in rows if row["since"] is not None), default=None)
        when: Sentence = (f", {since} ", Day(oldest, short=True)) if oldest else ()
        return (f"{start} ", *_names(list(names)), *when, ".")

    return line


def _names(names: Sequence[str]) -> Sentence:
    """Return the first of these names, and that there are more."""
    shown: list[Part] = []
    for at, name in enumerate(names[:NAMES_SHOWN]):
        shown += [", " if at else "", named(name)]
    return (*shown, " and others") if len(names) > NAMES_SHOWN else tuple(shown)


ACTIONS = (
    _due("look", "suspect", "Look first at", "suspect since"),
    _due("pick", None, "Pick", "the oldest ready since"),
    _due("end", None, "End what is spent:", "nothing noted since"),
    _due("open", None, "Open", "the first colonised on"),
    _due("look", None, "Look at", "the oldest waiting since"),
    _due("fill", None, "Free to fill:", "the first since"),
)


def warning(month: Month) -> Sentence:
    """Return what the figures of this page lack most; nothing where they lack nothing."""
    lost = count(month, "entries_lost")
    if lost.value:
        return (*several(lost, "logged entry", "logged entries"), " no longer stand in the files.")
    waits = picked.waiting(month)
    if waits:
        return brief(waits)
    rows = count(month, "rows_set_aside")
    if rows.value:
        return (*several(rows, "row"), " of the files cannot be counted: see Rows to mend.")
    return ()
