"""The one plain sentence that each block computes from its result tables."""

from __future__ import annotations

from reports.figures import (
    Day,
    Figure,
    Sentence,
    cell,
    change,
    count,
    difference,
    measured,
    named,
    positive,
    rows_of,
    several,
    total,
    unit_word,
)
from reports.month import Month, first_day
from reports.words import month_name, spoken


def picked(month: Month) -> Sentence:
    """What was picked, and how does it compare with the month before and with the same month a year ago?"""
    name, at = month_name(month.month), month.place()
    if at is None or not month.rows("months")[at]["pickings"]:
        return (f"Nothing was picked in {name}{'' if month.over else ' so far'}.",)
    said: Sentence = (
        measured(month, "months", at, "fresh_g"),
        f" was picked in {name}{'' if month.over else ' so far'}, in ",
        *several(cell(month, "months", at, "pickings"), "picking"),
    )
    others = [(before, month.place(before)) for before in (1, 12)]
    known = [(before, place) for before, place in others if place is not None]
    if not known:
        return (*said, ". The record has no earlier month to compare it with.")
    clauses = [_compared(month, at, place, month_name(first_day(month.month, before))) for before, place in known]
    joined = [part for clause in clauses for part in (", and ", *clause)][1:]
    return (*said, ": ", *joined, ".")


def _compared(month: Month, now: int, then: int, name: str) -> Sentence:
    left, right = measured(month, "months", now, "fresh_g"), measured(month, "months", then, "fresh_g")
    if not month.over:
        return (f"all of {name} gave ", right)
    apart = difference(left, right)
    if not right.value:
        return (f"nothing had been picked in {name}",)
    if not apart.value:
        return (f"as much as in {name}",)
    word = "more" if apart.value > 0 else "less"
    return (apart, " (", change(left, right), f") {word} than in {name} (", right, ")")


def finished(month: Month) -> Sentence:
    """What was the BE of what finished in the month, and on how many units and batches does it rest?"""
    name, at = month_name(month.month), month.place()
    units = month.rows("finished_units")
    if at is None or not units:
        return (f"No unit finished in {name}, so the month has no biological efficiency (BE) of its own.",)
    word = unit_word([row["container"] for row in units])
    ended = (
        *several(cell(month, "months", at, "units_finished"), word),
        " of ",
        *several(rows_of(month, "finished_batches"), "batch", "batches"),
    )
    be = measured(month, "months", at, "be_finished_pct")
    if be.value is None:
        return (*ended, f" finished in {name}, none with a known dry substrate mass, so their BE cannot be told.")
    without = total(month, "finished_batches", "units_without_dry_mass")
    left_out: Sentence = (", leaving out ", without, " without a known dry mass") if without.value else ()
    return ("BE was ", be, " for what finished in ", name, ": ", *ended, *left_out, ".")


def recipes(month: Month) -> Sentence:
    """How far apart are the recipes that finished, and how many batches does each rest on?"""
    rows = month.rows("finished_recipes")
    told = sorted((at for at, row in enumerate(rows) if row["be_pct"] is not None), key=lambda at: rows[at]["be_pct"])
    if not told:
        return ("No recipe has a BE this month.",)
    if len(told) == 1:
        return ("One recipe has a BE: ", *_recipe(month, told[0]), ".")
    low, high = _recipe(month, told[0]), _recipe(month, told[-1])
    return ("The recipes lie between ", *low, " and ", *high, ".")


def _recipe(month: Month, at: int) -> Sentence:
    row = month.rows("finished_recipes")[at]
    words = ", ".join(spoken(column, row[column]) for column in ("substrate", "treatment", "spawn_form"))
    return (
        measured(month, "finished_recipes", at, "be_pct"),
        " (",
        named(words),
        "; ",
        *several(cell(month, "finished_recipes", at, "units"), "unit"),
        " of ",
        *several(cell(month, "finished_recipes", at, "batches"), "batch", "batches"),
        ")",
    )


def losses(month: Month) -> Sentence:
    """How many units were lost without a picking, and in how many soaks?"""
    told = total(month, "soaks", "units")
    if not told.value:
        return ("The fate of no unit is told yet, so no loss can be told.",)
    lost = total(month, "soaks", "lost")
    if not lost.value:
        return ("None of ", *several(told, "unit"), " was lost without a picking.")
    was = " was" if lost.value == 1 else " were"
    held = in_soaks(lost, positive(month, "soaks", "lost"), rows_of(month, "soaks"))
    return (lost, " of ", *several(told, "unit"), was, " lost without a picking, ", *held, ".")


def in_soaks(lost: Figure, with_loss: Figure, soaks: Figure) -> Sentence:
    """In how many of the soaks do the losses lie: all in 1 of 6 soaks?"""
    if not lost.value:
        return ("from ", *several(soaks, "soak"))
    alone = with_loss.value == 1 and lost.value > 1
    return ("all in " if alone else "in ", with_loss, " of ", *several(soaks, "soak"))


def stages(month: Month) -> Sentence:
    """How much was picked late, and how much was culled?"""
    at = month.place()
    if at is None or not month.rows("months")[at]["pickings"]:
        return (f"Nothing was picked in {month_name(month.month)}, so there is no cap stage to tell.",)
    late, culled = measured(month, "months", at, "picked_late_pct"), measured(month, "months", at, "culled_pct")
    cut: Sentence = (culled, " of the fresh mass was trimmed or culled")
    if late.value is None:
        return ("No cap stage was noted, so late picking cannot be told; ", *cut, ".")
    older = "" if month.late_from == "turned_up" else " or older"
    return (
        late,
        f" of the mass with a stage was picked late (caps {spoken('cap_stage', month.late_from)}{older}); ",
        *cut,
        ".",
    )


def missing(month: Month) -> Sentence:
    """How many cells would make more numbers possible?"""
    cells = count(month, "missing")
    if not cells.value:
        return ("No empty cell stands in the way of a number here.",)
    return (*several(cells, "empty cell"), " would make more numbers possible.")


def aside(month: Month) -> Sentence:
    """How many rows are in no figure, and how many of them only wait for another?"""
    rows, waiting = count(month, "rows_set_aside"), count(month, "rows_waiting")
    if not rows.value and not waiting.value:
        return ("Every row of the files is counted: none is set aside.",)
    is_are = " is set aside" if rows.value == 1 else " are set aside"
    follow: Sentence = (
        (", and ", waiting, f" more {'waits' if waiting.value == 1 else 'wait'} for them") if waiting.value else ()
    )
    return (*several(rows, "row"), is_are, *follow, "; what they hold is in no figure above.")


def told_as_of(month: Month) -> Sentence:
    """As of which day is the page told?"""
    if month.over:
        return ("Told as of ", Day(month.as_of), ".")
    return ("Told as of ", Day(month.as_of), ": the month is not over.")


def told_losses(month: Month, at: int) -> Sentence:
    """What was lost of one substrate and treatment: 12 of 72, all in 1 of 6 soaks, and the interval if there is one?"""
    row = month.rows("losses")[at]
    told = difference(cell(month, "losses", at, "units"), cell(month, "losses", at, "units_not_yet"))
    lost = cell(month, "losses", at, "lost")
    held = in_soaks(lost, cell(month, "losses", at, "soaks_with_loss"), cell(month, "losses", at, "soaks"))
    if row["low_pct"] is None:
        return (lost, " of ", told, ", ", *held, " · no interval")
    low, high = cell(month, "losses", at, "low_pct"), measured(month, "losses", at, "high_pct")
    return (lost, " of ", told, ", ", *held, " · ", low, " to ", high)
