"""Which batches are made when, and how they are written down: the demo farm's diary, or a bench farm's."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date

import numpy as np

from pipeline.demo import recipes as true
from pipeline.demo.dice import Array, whole

Columns = dict[str, Array]


@dataclass(frozen=True)
class Diary:
    """Which batches are made when, and how they are written down.

    batches: one entry per batch: batch, soak (number), soak_name (as written, "" where it is the batch's own),
    recipe (number), day (since 1970-01-01), count (batches x kinds of container), looks (0 looked at as a
    whole; 1 by container; 2 by container, opening noted too) and the fields of recipes.Mix.
    owned: containers of each kind. two_days: chance that a flush is picked on two days. named_from: the day
    from which entries name the batch beside the container. blank_later: share of blank flush cells from then on.
    failing: a container that keeps failing.
    """

    batches: Columns
    owned: tuple[int, ...]
    two_days: float
    named_from: int
    blank_later: float
    failing: str = ""


def day_number(day: date) -> int:
    """Return how many days after 1970-01-01 this day is."""
    return day.toordinal() - date(1970, 1, 1).toordinal()


def recipe_numbers(mixes: Sequence[true.Mix]) -> list[int]:
    """Return the place that each mix's recipe has in the table of recipes."""
    numbers = {recipe.name: number for number, recipe in enumerate(true.RECIPES)}
    return [numbers[mix.recipe] for mix in mixes]


def demo_plan() -> Diary:
    """Return the batches of the demo farm's diary."""
    made: dict[str, list[object]] = {name: [] for name in ("batch", "soak", "soak_name", "day")}
    mixes: list[true.Mix] = []
    for number, (day, together) in enumerate(true.SOAKS):
        name = f"S{number + 1:02d}"
        for letter, mix in zip("abc", together, strict=False):
            alone = len(together) == 1
            mixes.append(mix)
            row = (name if alone else name + letter, number, "" if alone else name, day)
            for column, cell in zip(made.values(), row, strict=True):
                column.append(cell)
    batches = {name: np.array(column) for name, column in made.items()}
    batches |= {f.name: np.array([getattr(mix, f.name) for mix in mixes]) for f in fields(true.Mix)}
    batches["recipe"] = np.array(recipe_numbers(mixes))
    batches["day"] = np.array([day_number(date.fromisoformat(str(day))) for day in made["day"]])
    batches["count"] = np.stack([batches["buckets"], batches["bags"]], axis=1)
    batches["looks"] = np.where(batches["filling_rows"], np.arange(len(mixes)) % 3, 0)
    owned = tuple(kind.owned for kind in true.KINDS)
    return Diary(batches, owned, 0.28, day_number(date(2026, 6, 1)), 0.11, true.FAILING_CONTAINER)


def bench_plan(fillings: int, first: date, days: int, rng: np.random.Generator) -> Diary:
    """Return batches that hold about this many fillings, spread evenly over so many days."""
    menus = np.full((len(true.MENUS), 3), -1)
    for row, menu in enumerate(true.MENUS):
        menus[row, : len(menu)] = recipe_numbers(menu)
    soaks = max(8, round(fillings / 8 / (menus >= 0).sum(axis=1).mean()))  # 8 fillings a batch
    drawn = menus[whole(rng, 0, len(menus) - 1, soaks)]
    soak, letter = np.nonzero(drawn >= 0)
    alone = (drawn >= 0).sum(axis=1)[soak] == 1
    names = np.array([f"S{number + 1:05d}" for number in range(soaks)])[soak]
    batches: Columns = {
        "batch": np.where(alone, names, np.strings.add(names, np.array(["a", "b", "c"])[letter])),
        "soak": soak,
        "soak_name": np.where(alone, "", names),
        "recipe": drawn[soak, letter],
        "day": day_number(first) + soak * days // soaks,
    }
    batches |= _bench_conventions(len(soak), rng)
    owned = tuple(max(40, int(total * 110 / days)) for total in batches["count"].sum(axis=0))
    # A farm of this size picks nearly every flush on two days, and after its first months has its entries written by
    # the program, with batch, container and, but for a few, flush.
    return Diary(batches, owned, 0.95, day_number(first) + days // 12, 0.02)


def _bench_conventions(n: int, rng: np.random.Generator) -> Columns:
    """Return how a bench farm's n batches are filled and written down. Every rung of the dry-mass ladder occurs."""
    yes = np.full(n, True)
    return {
        "count": np.stack([whole(rng, 3, 6, n), whole(rng, 2, 5, n)], axis=1),
        "pooled_flushes": np.where(rng.random(n) < 0.02, 9, 0),
        "own_dry": np.where(rng.random(n) < 0.05, 2, 0),
        "moisture": rng.random(n) > 0.04,
        "fills": rng.random(n) > 0.06,
        "weighed_dry": rng.random(n) < 0.05,
        "looks": np.where(rng.random(n) < 0.8, 0, 1),  # many batches are looked at as a whole
        "spoilt": ~yes,
        "filling_rows": yes,
        "wet": yes,
        "volumes": yes,
        "dry_basis": np.full(n, "oven"),
        "note": np.full(n, ""),
    }
