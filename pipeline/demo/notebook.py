"""What the invented growers wrote down of what happened: pickings and observations, with their habits.

Some batches are weighed together, flush numbers and cap stages are left blank now and then, early entries name
only the container, and not every bucket that is emptied is entered.
"""

import numpy as np

from pipeline.demo import recipes as true
from pipeline.demo.dice import Array, whole, words
from pipeline.demo.plan import Columns, Diary

FAR = 10**6  # a day that never comes
BLANK = np.nan
FLUSH_BLANK, CULLS_WEIGHED, NOTED = 0.11, 0.55, 0.035
EMPTIED_WRITTEN, LAST_EMPTIED_WRITTEN = 0.80, 0.93  # refilled later, or never refilled


def harvests(plan: Diary, units: Columns, rng: np.random.Generator) -> Columns:
    """Return the pickings that were written down. One entry per picking, in the order of days and containers."""
    picked = _weighed(plan, _pickings(units, rng))
    n = len(picked["unit"])
    order = np.lexsort((picked["unit"], picked["batch_no"], picked["picked_on"]))
    picked = {name: column[order] for name, column in picked.items()}
    alone = picked["unit"] >= 0
    names_batch = ~alone | (picked["picked_on"] >= plan.named_from)
    stage = words(rng, true.STAGES, n)
    trim = 0.05 * rng.random(n) + np.where(stage == "turned_up", 0.08, 0.0)
    weighed = rng.random(n) < CULLS_WEIGHED
    note = np.array(true.NOTES)[whole(rng, 0, len(true.NOTES) - 1, n)]
    # Where flush 1 was weighed for the batch, a blank on a container would be read as its first flush.
    once_pooled = alone & (plan.batches["pooled_flushes"][picked["batch_no"]] > 0)
    blank = np.where(picked["picked_on"] >= plan.named_from, plan.blank_later, FLUSH_BLANK)
    given = (rng.random(n) >= blank) | once_pooled
    return picked | {
        "container": np.where(alone, np.append(units["container"], "")[picked["unit"]], ""),
        "batch": np.where(names_batch, plan.batches["batch"][picked["batch_no"]], ""),
        "flush": np.where(given, picked["flush"], BLANK),
        "cap_stage": stage,
        "culled_g": np.where(weighed, np.round(picked["fresh_weight_g"] * trim / 5) * 5, BLANK),
        "picker": words(rng, true.PICKERS, n),
        "note": np.where(rng.random(n) < NOTED, note, ""),
    }


def _pickings(units: Columns, rng: np.random.Generator) -> Columns:
    """Return the pickings that the units gave. One entry per unit, flush and day, as if each had been weighed alone."""
    gives, two = units["gives"], units["two_days"]
    unit, flush, second = np.nonzero(np.stack([gives, two], axis=2))
    share = (0.5 + 0.3 * rng.random(gives.shape))[unit, flush]
    share = np.where(two[unit, flush], np.where(second == 1, 1 - share, share), 1)
    return {
        "unit": unit,
        "batch_no": units["batch_no"][unit],
        "flush": flush + 1.0,
        "picked_on": units["begins"][unit, flush] + second * whole(rng, 1, 2, len(unit)),
        "fresh_weight_g": np.maximum(8, np.round(units["grams"][unit, flush] * share)),
    }


def _weighed(plan: Diary, picked: Columns) -> Columns:
    """Return the pickings that were weighed together. Those of a batch, day and flush become one entry, of unit -1."""
    together = picked["flush"] <= plan.batches["pooled_flushes"][picked["batch_no"]]
    keys = np.stack([picked[name][together] for name in ("batch_no", "picked_on", "flush")], axis=1)
    heaps, heap = np.unique(keys.astype(np.int64), axis=0, return_inverse=True)
    weight = np.bincount(heap.ravel(), picked["fresh_weight_g"][together], minlength=len(heaps))
    pooled = {
        "unit": np.full(len(heaps), -1),
        "batch_no": heaps[:, 0],
        "flush": heaps[:, 2].astype(float),
        "picked_on": heaps[:, 1],
        "fresh_weight_g": np.maximum(10, np.round(weight, -1)),  # the big scale shows 10 g
    }
    return {name: np.concatenate([picked[name][~together], column]) for name, column in pooled.items()}


def observations(plan: Diary, units: Columns, rng: np.random.Generator) -> Columns:
    """Return the events that were written down. One entry per event, in the order of days, batches and containers."""
    seen = [*_growth(plan, units, rng), *_losses(units, rng), *_ends(plan, units, rng)]
    together = _in_order(seen)
    named = (together["container"] == "") | (together["seen_on"] >= plan.named_from)
    together["batch"] = np.where(named, together["batch"], "")
    return together


def with_contaminated(units: Columns, seen: Columns, which: Array) -> Columns:
    """Return the entries with one more for each of these units, thrown out for bacteria on its day. which: flags."""
    hit = np.flatnonzero(which)
    if not len(hit):
        return seen
    thrown = _of_units(units, hit, units["lost_on"], "contaminated", BLANK)
    return _in_order([seen, thrown | {"cause": np.full(len(hit), "bacterial")}])


def _in_order(parts: list[Columns]) -> Columns:
    """Return entries together, in the order of days, batches and containers."""
    together = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    order = np.lexsort((together["unit"], together["batch_no"], together["seen_on"]))
    return {name: column[order] for name, column in together.items()}


def _growth(plan: Diary, units: Columns, rng: np.random.Generator) -> list[Columns]:
    """When was growth seen: colonised, opened, pins? By container, or once for a batch looked at as a whole."""
    n, first = len(units["unit"]), np.searchsorted(units["batch_no"], np.arange(len(plan.batches["batch"])))
    whole_batch = first[units["by_batch"][first]]
    apart = ~units["by_batch"]
    opened_too = apart & (plan.batches["looks"][units["batch_no"]] == 2)
    alive = np.where(units["lost"], units["lost_on"], FAR)
    seen = []
    for event, mine, written in (
        ("colonised", apart, 0.85),
        ("opened", opened_too, 0.95),
        ("pins", apart, 0.85),
    ):
        looked = mine & (units[event] < alive) & ~((event == "pins") & units["stalled"]) & (rng.random(n) < written)
        flush = 1.0 if event == "pins" else BLANK
        seen.append(_of_batches(units, whole_batch, units[event][whole_batch], event, flush))
        seen.append(_of_units(units, np.flatnonzero(looked), units[event], event, flush))
    again = np.flatnonzero(apart & units["gives"][:, 1] & (rng.random(n) < 0.35))
    seen.append(_of_units(units, again, units["begins"][:, 1] - whole(rng, 3, 4, n), "pins", 2.0))
    for part in seen:  # the flush of pins is often left blank; it follows from the pickings
        part["flush"] = np.where(rng.random(len(part["flush"])) < 0.4, BLANK, part["flush"])
    return seen


def _losses(units: Columns, rng: np.random.Generator) -> list[Columns]:
    """Return which units were suspected, and which thrown out. Fillings that are not listed are counted by batch."""
    n, listed = len(units["unit"]), units["listed"]
    ends = units["last"] + whole(rng, 3, 7, n)
    day = np.minimum(np.where(units["lost"], units["lost_on"], ends), units["refilled"] - 1)
    gone = units["lost"] | (units["thrown"] > 0)
    cause = words(rng, true.CAUSES, n)
    suspected = np.flatnonzero(gone & listed & (rng.random(n) < 0.35))
    pairs, count = np.unique(np.stack([units["batch_no"], day])[:, gone & ~listed], axis=1, return_counts=True)
    first = np.searchsorted(units["batch_no"], pairs[0])
    counted = _of_batches(units, first, pairs[1], "contaminated", BLANK) | {"count": count.astype(float)}
    counted["cause"] = cause[first]
    thrown = np.flatnonzero(gone & listed)
    thrown_out = _of_units(units, thrown, day, "contaminated", BLANK) | {"cause": cause[thrown]}
    return [_of_units(units, suspected, day - whole(rng, 1, 2, n), "suspect", BLANK), thrown_out, counted]


def _ends(plan: Diary, units: Columns, rng: np.random.Generator) -> list[Columns]:
    """Return the units that were emptied. A batch weighed together is emptied together; some entries are forgotten."""
    n, refilled = len(units["unit"]), units["refilled"]
    written = rng.random(n) < np.where(refilled < FAR, EMPTIED_WRITTEN, LAST_EMPTIED_WRITTEN)
    stalled, gone = units["stalled"], units["lost"] | (units["thrown"] > 0)
    day = np.where(stalled, units["start"] + whole(rng, 50, 65, n), units["last"] + whole(rng, 6, 15, n))
    day = np.minimum(day, refilled - 1)
    as_whole = plan.batches["pooled_flushes"][units["batch_no"]] >= 3
    emptied = np.flatnonzero(written & ~gone & ~as_whole & units["listed"])
    alone = _of_units(units, emptied, day, "emptied", BLANK)
    alone["cause"] = np.where(stalled[emptied], "stalled", "")
    first = np.flatnonzero(as_whole & (np.diff(units["batch_no"], prepend=-1) > 0))
    last = np.zeros(len(plan.batches["batch"]), dtype=np.int64)
    np.maximum.at(last, units["batch_no"], np.where(gone, 0, day))
    given = first[last[units["batch_no"][first]] > 0]
    return [alone, _of_batches(units, given, last[units["batch_no"][given]], "emptied", BLANK)]


def _of_units(units: Columns, which: Array, day: Array, event: str, flush: float) -> Columns:
    """Return the entries of one event for these units. day: one entry per unit of the farm."""
    return _of_batches(units, which, day[which], event, flush) | {
        "unit": which,
        "container": units["container"][which],
    }


def _of_batches(units: Columns, which: Array, day: Array, event: str, flush: float) -> Columns:
    """Return the entries of one event for whole batches. which: any unit of each; day: one per entry."""
    n = len(which)
    return {
        "unit": np.full(n, -1),
        "batch_no": units["batch_no"][which],
        "seen_on": day,
        "event": np.full(n, event),
        "container": np.full(n, ""),
        "batch": units["batch"][which],
        "flush": np.full(n, flush),
        "cause": np.full(n, ""),
        "count": np.full(n, BLANK),
        "note": np.full(n, ""),
    }
