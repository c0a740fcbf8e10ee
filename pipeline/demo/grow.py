"""The seeded simulation of the invented farm: from a plan of batches to the columns of the four tables.

Pure: no files, no clock. Days are whole numbers since 1970-01-01. In the columns a blank is nan (numbers) or ""
(texts). Beside the written columns stand batch_no and unit (number of the filling, -1 for a whole batch).
"""

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from pipeline.demo import recipes as true
from pipeline.demo.dice import Array, dealt, normal, whole
from pipeline.demo.notebook import BLANK, FAR, harvests, observations, with_contaminated
from pipeline.demo.plan import Columns, Diary, day_number

DAYS_OF_A_LOT = 35  # spawn is bought anew, each strain and form


@dataclass(frozen=True)
class InventedFarm:
    """What stands in the four tables, and how likely (0-1) a filling of each batch was to be lost."""

    batches: Columns
    fillings: Columns
    observations: Columns
    harvests: Columns
    loss: Array


def _spoilt(plan: Diary, farm: InventedFarm) -> InventedFarm:
    """Return the farm with five of six fillings of each spoilt batch thrown out, as if nothing had come after."""
    units, spoilt = farm.fillings, plan.batches["spoilt"]
    hit = spoilt[units["batch_no"]] & (units["unit"] % true.SPOILT_SIXTH > 0) & ~units["lost"]
    end = np.append(np.where(hit, units["lost_on"], FAR), FAR)  # the last: entries of no single unit
    picked = farm.harvests["picked_on"] < end[farm.harvests["unit"]]
    seen = farm.observations["seen_on"] < end[farm.observations["unit"]]
    return InventedFarm(
        farm.batches,
        units,
        with_contaminated(units, {name: column[seen] for name, column in farm.observations.items()}, hit),
        {name: column[picked] for name, column in farm.harvests.items()},
        np.where(spoilt, 1 - 1 / true.SPOILT_SIXTH, farm.loss),
    )


def of_recipes(field: str, which: Array) -> Array:
    """Return this field of the recipes, one entry per recipe number."""
    return np.array([getattr(recipe, field) for recipe in true.RECIPES])[which]


def grow(plan: Diary, rng: np.random.Generator) -> InventedFarm:
    """Return what the notebooks would hold if this plan were carried out to the very end."""
    batches = _baths(plan, rng)
    units = _places(plan, rng)
    _masses(plan, batches, units, rng)
    loss = _lost(plan, units, rng)
    _days(plan, units, rng)
    _flushes(plan, units, rng)
    picked = harvests(plan, units, rng)
    return _spoilt(plan, InventedFarm(batches, units, observations(plan, units, rng), picked, loss))


def up_to(farm: InventedFarm, last: int) -> InventedFarm:
    """Return what stands in the notebooks on this day. Later pickings and events do not exist yet."""
    picked, seen = farm.harvests["picked_on"] <= last, farm.observations["seen_on"] <= last
    return replace(
        farm,
        harvests={name: column[picked] for name, column in farm.harvests.items()},
        observations={name: column[seen] for name, column in farm.observations.items()},
    )


def _baths(plan: Diary, rng: np.random.Generator) -> Columns:
    """Return how each batch's substrate was treated, and what went in. One entry per batch; a soak's batches agree."""
    b = plan.batches
    hours, start, end, drained, strip, warm = (rng.random(int(b["soak"].max()) + 1)[b["soak"]] for _ in range(6))
    treatment = of_recipes("treatment", b["recipe"])
    of = {word: np.flatnonzero(treatment == word) for word in true.TREATMENTS}
    made: Columns = {
        name: np.full(len(treatment), BLANK)
        for name in ("treatment_h", "lime_g_per_l", "ph_start", "ph_end", "drain_h")
    }
    for word, bath in true.TREATMENTS.items():
        i = of[word]
        steps = np.floor(hours[i] * ((bath.most_h - bath.least_h) / bath.step_h + 1))
        made["treatment_h"][i] = bath.least_h + steps * bath.step_h
        made["drain_h"][i] = np.round(bath.drain_h[0] + drained[i] * (bath.drain_h[1] - bath.drain_h[0]))
        if bath.lime_g_per_l is not None:
            made["lime_g_per_l"][i] = bath.lime_g_per_l
            made["ph_start"][i] = np.round(12.2 + 0.5 * start[i], 1)
            made["ph_end"][i] = np.where(strip[i] > 0.2, np.round(11.3 + 0.8 * end[i], 1), BLANK)
    return (
        {"batch": b["batch"], "soak": b["soak_name"], "treatment": treatment, "note": b["note"]}
        | made
        | _recipe_cells(b, warm)
    )


def _recipe_cells(b: Columns, warm: Array) -> Columns:
    """Return the cells of a batch that follow from its recipe and its day. warm: 0-1, how warm the week was."""
    form, strain = of_recipes("spawn_form", b["recipe"]), of_recipes("strain", b["recipe"])
    lot = (b["day"] - b["day"].min()) // DAYS_OF_A_LOT + 1
    season = np.cos((b["day"] - day_number(date(2026, 1, 15))) * 2 * np.pi / 365)
    return {
        "inoculated_on": b["day"],
        "strain": strain,
        "substrate": of_recipes("substrate", b["recipe"]),
        "supplement": np.where(of_recipes("bran_pct_dry", b["recipe"]) > 0, "wheat bran", ""),
        "spawn_form": form,
        "spawn_lot": np.array([f"{f[0]}{s[0]}-{n}".upper() for f, s, n in zip(form, strain, lot, strict=True)]),
        "incubation_c": np.round(2 * (22 - 2 * season + warm)) / 2,
        "containers_filled": b["count"].sum(axis=1).astype(float),
        "dry_basis": b["dry_basis"],
    }


def _places(plan: Diary, rng: np.random.Generator) -> Columns:
    """Return the container that each filling takes, and when that one is filled anew. One entry per filling."""
    b = plan.batches
    kinds = b["count"].shape[1]
    batch = np.repeat(np.repeat(np.arange(len(b["batch"])), kinds), b["count"].ravel())
    kind = np.repeat(np.tile(np.arange(kinds), len(b["batch"])), b["count"].ravel())
    listed = b["filling_rows"][batch]
    number = np.full(len(batch), -1)
    names: list[str] = []
    for which, (owned, made) in enumerate(zip(plan.owned, true.KINDS, strict=True)):
        mine = listed & (kind == which)
        number[mine] = len(names) + _in_turn(int(mine.sum()), owned, rng)
        names += [f"{made.letter}{i + 1:0{len(str(owned))}d}" for i in range(owned)]
    order = np.lexsort((number, batch))
    batch, kind, number, listed = batch[order], kind[order], number[order], listed[order]
    start = b["day"][batch]
    return {
        "batch_no": batch,
        "unit": np.arange(len(batch)),
        "batch": b["batch"][batch],
        "listed": listed,
        "container": np.append(np.array(names), "")[number],
        "kind": np.array([k.kind for k in true.KINDS])[kind],
        "litres": np.array([k.volume_l for k in true.KINDS])[kind],
        "holes_open": np.array([float(k.holes_open) for k in true.KINDS])[kind],
        "recipe": b["recipe"][batch],
        "start": start,
        "refilled": _refilled(np.where(listed, number, FAR + np.arange(len(batch))), start),
        "by_batch": b["looks"][batch] == 0,
        "note": np.full(len(batch), ""),
    }


def _in_turn(n: int, owned: int, rng: np.random.Generator) -> Array:
    """Return the containers that are taken, n times. Round after round the longest free one, a little out of order."""
    rounds = -(-n // owned)
    order: Array = np.argsort(np.arange(owned) + 5 * rng.random((rounds, owned)), axis=1)
    return order.ravel()[:n]


def _refilled(container: Array, start: Array) -> Array:
    """On which day is each filling's container filled anew (FAR: never)?"""
    turn = np.lexsort((start, container))
    same = container[turn][1:] == container[turn][:-1]
    day = np.full(len(start), FAR)
    day[turn[:-1][same]] = start[turn[1:][same]]
    return day


def _masses(plan: Diary, batches: Columns, units: Columns, rng: np.random.Generator) -> None:
    """Return how much substrate and spawn went in. Adds the masses to batches and units; dry_kg of a unit is true."""
    b, batch = plan.batches, units["batch_no"]
    substrates = [true.SUBSTRATES[name] for name in batches["substrate"]]
    density = np.array([s.mix_kg_per_l for s in substrates])
    fill = np.round(20 * units["litres"] * density[batch] * (1 + 0.05 * normal(rng, len(batch)))) / 20
    share = of_recipes("spawn_pct_wet", b["recipe"]) / 100
    left_over = 1.01 + 0.02 * rng.random(len(share))  # a little mix is always left in the tub
    wet = np.round(np.bincount(batch, fill) / (1 + share) * left_over, 1)
    spawn = np.round(wet * share * 20) / 20
    noise = normal(rng, int(b["soak"].max()) + 1)[b["soak"]]
    moisture = np.round(2 * (np.array([s.moisture_pct for s in substrates]) + 1.2 * noise)) / 2
    dry = np.round(wet * (1 - moisture / 100), 3)
    bran = np.round(dry * of_recipes("bran_pct_dry", b["recipe"]) / 100, 1)
    units["dry_kg"] = ((dry + bran) / (wet + spawn))[batch] * fill
    place = np.arange(len(batch)) - np.searchsorted(batch, batch)
    units["fill_kg"] = np.where(b["fills"][batch], fill, BLANK)
    units["volume_l"] = np.where(b["volumes"][batch], units["litres"], BLANK)
    units["substrate_dry_kg"] = np.where(place < b["own_dry"][batch], np.round(units["dry_kg"], 2), BLANK)
    batches["substrate_wet_kg"] = np.where(b["wet"], wet, BLANK)
    batches["moisture_pct"] = np.where(b["moisture"], moisture, BLANK)
    batches["substrate_dry_kg"] = np.where(b["weighed_dry"], np.round(dry, 1), BLANK)
    batches["supplement_dry_kg"] = np.where(bran > 0, bran, BLANK)
    batches["spawn_kg"] = spawn
    batches["dry_basis"] = np.where(b["moisture"] | b["weighed_dry"], b["dry_basis"], "")


def _lost(plan: Diary, units: Columns, rng: np.random.Generator) -> Array:
    """Return which units are thrown out, and when. Adds lost (0-1 flags) and days; returns the chance per batch."""
    b, n = plan.batches, len(units["batch_no"])
    usual = of_recipes("loss_usual_pct", b["recipe"]) / 100
    soak = normal(rng, int(b["soak"].max()) + 1)[b["soak"]]
    chance: Array = 1 / (1 + (1 - usual) / usual * np.exp(-true.LOSS_LOGIT_SD * soak))
    mine = np.where(units["container"] == plan.failing, true.FAILING_LOSS, chance[units["batch_no"]])
    if not plan.failing:
        mine = chance[units["batch_no"]]
    units["lost"] = dealt(rng, units["batch_no"]) < mine
    units["lost_on"] = units["start"] + whole(rng, 8, 20, n)
    units["stalled"] = ~units["lost"] & (rng.random(n) < true.STALLED)
    return chance


def _days(plan: Diary, units: Columns, rng: np.random.Generator) -> None:
    """Return when each unit is colonised, opened, pinning, and first picked. Adds one column each.

    The noise of soak, batch and unit has mean 0, so the mean of a wait is the recipe's. Units of a batch that
    is looked at as a whole share their days up to the pins: one entry holds for all of them.
    """
    b, batch, n = plan.batches, units["batch_no"], len(units["batch_no"])
    slow = 0.8 * normal(rng, int(b["soak"].max()) + 1)[b["soak"]] + 0.5 * normal(rng, len(b["batch"]))
    own = np.where(units["by_batch"], 0, normal(rng, 2, n))
    wait = {name: of_recipes(name, units["recipe"]) for name in ("colonised_d", "opened_to_pins_d", "pins_to_pick_d")}
    units["colonised"] = units["start"] + np.rint(wait["colonised_d"] + slow[batch] + 1.3 * own[0]).astype(int)
    later = rng.random(len(b["batch"]))[batch] < true.COLONISED_TO_OPENED_D - 1
    units["opened"] = units["colonised"] + 1 + later
    to_pins = wait["opened_to_pins_d"] + 0.5 * normal(rng, len(b["batch"]))[batch] + 0.9 * own[1]
    units["pins"] = units["opened"] + np.maximum(1, np.rint(to_pins).astype(int))
    to_pick = np.rint(wait["pins_to_pick_d"] + 0.8 * normal(rng, n)).astype(int)
    units["first_pick"] = units["pins"] + np.maximum(2, to_pick)


def _flushes(plan: Diary, units: Columns, rng: np.random.Generator) -> None:
    """Return which flushes each unit gives, when each begins, and what it weighs.

    Adds gives, begins (day), grams, two_days (units x 3), thrown (after flush 1 or 2; 0 never) and last (day).
    """
    b, batch, n = plan.batches, units["batch_no"], len(units["batch_no"])
    noise = (
        np.sqrt(true.SHARE_SOAK) * normal(rng, int(b["soak"].max()) + 1)[b["soak"]][batch]
        + np.sqrt(true.SHARE_BATCH) * normal(rng, len(b["batch"]))[batch]
        + np.sqrt(true.SHARE_UNIT) * normal(rng, n)
    )
    recipe = units["recipe"]
    of_first = np.stack([np.ones(n), of_recipes("second", recipe), of_recipes("third", recipe)], axis=1)
    be = of_recipes("be_flush1_pct", recipe) * (1 + true.BE_CV * noise)
    grams = (10 * be * units["dry_kg"])[:, None] * of_first * (1 + true.FLUSH_CV * normal(rng, n, 3))
    gaps = np.rint(of_recipes("between_flushes_d", recipe)[:, None] + 1.3 * normal(rng, n, 2)).astype(int)
    begins = units["first_pick"][:, None] + np.cumsum(np.insert(np.maximum(9, gaps), 0, 0, axis=1), axis=1)
    goes_on = np.stack([of_recipes("gives_second", recipe), of_recipes("gives_third", recipe)], axis=1)
    late = rng.random((n, 2)) < true.LATE_LOSS
    gives = begins + 3 < units["refilled"][:, None]
    gives[:, 0] &= ~units["lost"] & ~units["stalled"]
    gives[:, 1:] &= (np.stack([dealt(rng, recipe), dealt(rng, recipe)], axis=1) < goes_on) & ~late
    units["gives"] = gives = np.logical_and.accumulate(gives, axis=1)
    units["thrown"] = np.select([gives[:, 0] & late[:, 0], gives[:, 1] & late[:, 1]], [1, 2], 0)
    units["begins"], units["grams"] = begins, np.maximum(grams, 20)
    units["two_days"] = gives & (rng.random((n, 3)) < plan.two_days) & (grams > 80)
    units["last"] = np.where(gives, begins + 2 * units["two_days"], 0).max(axis=1)
