"""Comparisons in words: which differences hold, and what a step in the spawn rate brings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reports.figures import LONGEST_NAME, Figure, Name, Part, Sentence, cell, count, measured, named, several, within
from reports.month import Month
from reports.tables import merged
from reports.words import visible

# Sentences told above the table. Our choice, no source.
TOLD_ABOVE = 6
NEAREST_ABOVE = 2
STEPS_ABOVE = 4
CANNOT_TELL = "cannot tell"
# Rules that no further soak of the same kind mends: what they stop is far from a verdict.
FAR = {"R1", "R2", "R3", "R4"}


def differences(month: Month) -> Sentence:
    """How many differences in BE between recipes or containers can be told?"""
    pairs = count(month, "pairs_compared")
    if not pairs.value:
        return ("Nothing varies yet that has a BE, so there is no difference to tell.",)
    told = count(month, "pairs_told")
    of: Sentence = (*several(pairs, "difference"), " in BE between recipes or containers can be told")
    return ("None of ", *of, " yet.") if not told.value else (told, " of ", *of, ".")


def difference_notes(month: Month) -> list[Sentence]:
    """What holds, what comes nearest, and how were the soaks held against each other?"""
    rows = month.rows("compared_pairs")
    if not rows:
        return []
    held = [at for at in range(len(rows)) if month.pair_is_told(at)]
    near = [at for at in month.pairs("be") if not month.pair_is_told(at) and nearly(rows[at])]
    near.sort(key=lambda at: abs(rows[at]["high"] - rows[at]["low"]))
    return [
        *(_told(rows[at]) for at in held[:TOLD_ABOVE]),
        *(_told(rows[at]) for at in near[:NEAREST_ABOVE]),
        (
            "Each soak counts once at a level: containers of one soak share its fate, and counting them one by one "
            "would find differences that are not there. Intervals of 99 % hold for all pairs of a factor together: "
            "at 95 %, a page that is read again every month would raise false alarms. BE of the first two flushes.",
        ),
        ("gillbook compare FACTOR tells of each pair why, and gillbook trial plans what would settle it.",),
    ]


def nearly(row: Mapping[str, Any]) -> bool:
    """Is this pair comparable, with an interval, so that only width stands between it and a verdict?"""
    rules = set((row["rules"] or "").split())
    return row["low"] is not None and not rules & FAR


def _told(row: Mapping[str, Any]) -> Sentence:
    about = "" if row["measure"] == "be" else f"{'Losses' if row['measure'] == 'losses' else 'Days to pins'}, "
    return (Name(f"{about}{row['factor'].replace('_', ' ')}: {row['sentence']}"),)


def spawn(month: Month) -> Sentence:
    """What does a step to the next spawn rate bring, where most soaks tell it?"""
    rows = month.rows("spawn_steps")
    if not rows:
        return ("No recipe was tried at more than one spawn rate, so nothing tells which rate pays.",)
    told = [at for at, row in enumerate(rows) if row["be_difference_pct"] is not None]
    if not told:
        return ("No step from one spawn rate to the next can be told yet.",)
    at = max(told, key=lambda at: (rows[at]["answer"] != CANNOT_TELL, rows[at]["soaks_from"] + rows[at]["soaks_to"]))
    return (*_step(month, at), ".")


def _step(month: Month, at: int) -> Sentence:
    row = month.rows("spawn_steps")[at]
    difference = cell(month, "spawn_steps", at, "be_difference_pct")
    return (
        "On ",
        recipe(row),
        ", from ",
        cell(month, "spawn_steps", at, "from_rate_wet_pct"),
        " to ",
        measured(month, "spawn_steps", at, "to_rate_wet_pct"),
        " spawn: BE changes by ",
        *_signed(difference),
        " points",
        *within(month, "spawn_steps", at, "be_difference_low_pct", "be_difference_high_pct"),
        ": ",
        Name(row["answer"]),
    )


def _signed(figure: Figure) -> Sequence[Part]:
    return ("+", figure) if (figure.value or 0) > 0 else (figure,)


def recipe(row: Mapping[str, Any]) -> Name:
    """How is a recipe called in a sentence?"""
    return named(merged("tried", row).text) if merged("tried", row).text else Name("the recipe")


def spawn_notes(month: Month) -> list[Sentence]:
    """Why can steps and best rates not be told, and how is a curve to be read?"""
    rows = month.rows("spawn_steps")
    notes: list[Sentence] = []
    for at, row in list(enumerate(rows))[:STEPS_ABOVE]:
        if row["why"]:
            rates: Sentence = (
                cell(month, "spawn_steps", at, "from_rate_wet_pct"),
                " to ",
                measured(month, "spawn_steps", at, "to_rate_wet_pct"),
            )
            notes.append(("On ", recipe(row), ", ", *rates, ": ", Name(f"{row['why']}. {row['next_step']}")))
    for at, row in enumerate(month.rows("spawn_best")):
        if row["best_rate_wet_pct"] is not None:
            best = measured(month, "spawn_best", at, "best_rate_wet_pct")
            limits = within(month, "spawn_best", at, "best_low_pct", "best_high_pct")
            notes.append(("The best rate for ", recipe(row), ": ", best, *limits, ", by ", Name(row["of"]), "."))
    if month.rows("spawn_points"):
        notes.append(
            (
                "Rate: spawn over wet substrate. Each point is a batch; a curve is drawn from four rates on, for the "
                "eye only, and never beyond the tested rates.",
            )
        )
    return notes


def short(text: str) -> str:
    """How does a longer text fit on a line of a chart?"""
    kept = visible(text)
    return kept if len(kept) <= LONGEST_NAME else f"{kept[: LONGEST_NAME - 1]}\u2026"
