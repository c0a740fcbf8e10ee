"""How it grows, in words: what a flush gives against the first, by which day pins show, and whether waiting pays."""

from __future__ import annotations

from collections.abc import Sequence

from reports.figures import Name, Part, Sentence, cell, measured, named, several, within
from reports.month import Month
from reports.words import spoken

NAMED = 4
CANNOT_TELL = "cannot tell"
EARLY_DAY, LATE_DAY = 21, 28  # for whom the median is not told: the days of the pins contract


def flushes(month: Month) -> Sentence:
    """How much less does the second flush give, where most units are known through it?"""
    rows = month.rows("flushes")
    second = [at for at, row in enumerate(rows) if row["flush"] == 2 and row["decline_started"] is not None]
    if not second:
        return ("No second flush can be set against a first one yet.",)
    at = max(second, key=lambda at: rows[at]["units_known"])
    limits = within(month, "flushes", at, "decline_started_low", "decline_started_high")
    return (
        "On ",
        _substrate(month, "flushes", at),
        " a container started gives ",
        cell(month, "flushes", at, "decline_started"),
        " of its first flush in the second",
        *limits,
        ", with ",
        *several(cell(month, "flushes", at, "units_known"), "unit"),
        " known through it; ",
        *not_yet(month, "flushes", at),
        ".",
    )


def flush_notes(month: Month) -> list[Sentence]:
    """By how much does each flush give less, and what is not yet known?"""
    if not month.rows("flushes"):
        return []
    told = [at for at, row in enumerate(month.rows("declines")) if row["decline_per_flush_pct"] is not None]
    told.sort(key=lambda at: -month.rows("declines")[at]["soaks"])
    return [
        *(_per_flush(month, at) for at in told[:NAMED]),
        (
            "All units of the record so far. A container closed without the flush counts as nothing given; one that "
            "may still give it is not counted, and those of its age that are told stand for it. Limits, of 95 %, come "
            "from the soaks.",
        ),
    ]


def _per_flush(month: Month, at: int) -> Sentence:
    return (
        "On ",
        _substrate(month, "declines", at),
        " each flush gives ",
        measured(month, "declines", at, "decline_per_flush_pct"),
        " less than the one before",
        *within(month, "declines", at, "decline_per_flush_low_pct", "decline_per_flush_high_pct"),
        ", from ",
        *several(cell(month, "declines", at, "soaks"), "soak"),
        ".",
    )


def not_yet(month: Month, table: str, at: int) -> Sentence:
    """Of how many units is it not known yet?"""
    waiting = cell(month, table, at, "units_not_yet")
    if not waiting.value:
        return ("none is still unknown",)
    return (waiting, " more", " is not known yet" if waiting.value == 1 else " are not known yet")


def _substrate(month: Month, table: str, at: int) -> Name:
    return named(spoken("substrate", month.rows(table)[at]["substrate"]))


def pins(month: Month) -> Sentence:
    """By which day do half of the containers started have pins, where most were started?"""
    rows = month.rows("pins")
    if not any(row["pinned"] for row in rows):
        return ("No unit tells yet how long it takes from inoculation to pins.",)
    at = max((at for at, row in enumerate(rows) if row["pinned"]), key=lambda at: rows[at]["units"])
    start: Sentence = ("On ", _substrate(month, "pins", at))
    return (*start, *_half(month, at), "; ", *_ends(month, at), ".")


def _half(month: Month, at: int) -> Sentence:
    row = month.rows("pins")[at]
    if row["median_days"] is not None:
        limits = within(month, "pins", at, "median_low_days", "median_high_days")
        median = cell(month, "pins", at, "median_days")
        return (" half of all containers started have pins by day ", median, *limits)
    for day in (LATE_DAY, EARLY_DAY):
        if row[f"pinned_by_{day}_pct"] is not None:
            share = measured(month, "pins", at, f"pinned_by_{day}_pct")
            return (" half of all containers started have no pins yet: ", share, " by the day ", Name(str(day)))
    return (" half of all containers started have no pins yet",)


def _ends(month: Month, at: int) -> Sentence:
    ends = (("pinned", "showed them"), ("lost", "were lost before"), ("waiting", "wait"))
    told: list[Part] = ["of ", *several(cell(month, "pins", at, "units"), "unit"), " "]
    for place, (column, words) in enumerate(ends):
        told += [", " if place else "", cell(month, "pins", at, column), f" {words}"]
    return tuple(told)


def pins_notes(month: Month) -> list[Sentence]:
    """Whom do the curves count, and whom can they not?"""
    rows = month.rows("pins")
    if not rows:
        return []
    return [
        *_reasons(month, "pins", "why_no_interval", "No limits for "),
        (
            "All units of the record so far, from inoculation. A container lost before its pins counts as one that "
            "never shows them; one that waits counts as long as it was followed. Limits, of 95 %, come from the soaks.",
        ),
    ]


def waiting(month: Month) -> Sentence:
    """Is another flush worth the room, where it can be told; else, what is between?"""
    rows = month.rows("another_flush")
    if not rows:
        return ("No second flush was picked yet, so nothing tells what waiting for one brings.",)
    told = [at for at, row in enumerate(rows) if row["answer"] != CANNOT_TELL]
    if not told:
        return ("Whether another flush is worth the room cannot be told yet.",)
    parts: list[Part] = []
    for place, at in enumerate(told[:NAMED]):
        start = "On " if not place else "; on "
        parts += [start, _substrate(month, "another_flush", at), " waiting for flush "]
        parts += [cell(month, "another_flush", at, "flush"), *_worth(month, at)]
    return (*parts, ".")


def _worth(month: Month, at: int) -> Sentence:
    row = month.rows("another_flush")[at]
    column = "difference_g_per_day" if row["difference_money_per_day"] is None else "difference_money_per_day"
    unit = " g a container-day" if column == "difference_g_per_day" else " a container-day"
    answer = " pays" if row["answer"] == "wait" else " does not pay"
    told = cell(month, "another_flush", at, column)
    limits = within(month, "another_flush", at, f"{column}_low", f"{column}_high")
    return (f"{answer}: against one begun anew it brings ", told, *limits, unit)


def waiting_notes(month: Month) -> list[Sentence]:
    """For whom does it hold, and why can it not be told for others?"""
    rows = month.rows("another_flush")
    if not rows:
        return []
    return [
        *_reasons(month, "another_flush", "why", "Cannot tell for "),
        (
            "It holds for a full room: where places stand empty, waiting costs nothing. Waiting: what a container kept "
            "for the flush gives for each day that it stands. Anew: what a new one gives, kept to the end of the flush "
            "before.",
        ),
    ]


def _reasons(month: Month, table: str, column: str, start: str) -> Sequence[Sentence]:
    """Why is something not told? Each reason once, with the groups that it holds for."""
    by_flush = table == "another_flush"
    groups: dict[str, dict[str, None]] = {}
    for row in month.rows(table):
        if row[column]:
            flush = f", flush {row['flush']}" if by_flush else ""
            groups.setdefault(row[column], {})[f"{spoken('substrate', row['substrate'])}{flush}"] = None
    found = []
    for reason, names in groups.items():
        listed = list(names)
        more = f" and {len(listed) - NAMED} more" if len(listed) > NAMED else ""
        found.append((start, Name("; ".join(listed[:NAMED]) + more), ": ", Name(reason), "."))
    return found
