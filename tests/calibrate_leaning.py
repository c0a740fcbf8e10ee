"""What "leans to" is worth: of what is said, how much comes true, on farms that follow the prior and on others.

`python -m tests.calibrate_leaning` prints a table: design, then for each bin of the chance that is said the share that
came true and the number of farms. Ends with 1 where a bin of at least 300 farms is more than 4 points off on farms that
follow the prior, or where a bin above 90 % comes true in less than 80 % on any farm.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compare.comparison import compare
from pipeline.compare.leaning import chance_said
from pipeline.compare.measures import measure_of
from pipeline.compare.query import ComparisonQuery
from pipeline.stats.leaning import PART, Prior
from tests.simulated_units import SETTINGS, Container, farm, soak_units

BINS = ((0.5, 0.6), (0.6, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 1.0))
CONTAINERS, CONTAINER_SD = 6, 12.0  # of a cell: 4.9 points of its value
OWN_SOAKS = (3, 3, 3, 3)  # of four recipes beside: 8 degrees of freedom of the farm's own spread
LEAST_FARMS, MOST_OFF, SURE, LEAST_TRUE = 300, 0.04, 0.9, 0.8


@dataclass(frozen=True)
class Design:
    """A kind of farm: the soaks' true standard deviation (None: drawn from the prior), that of true differences of two
    levels, both in points of BE; soaks a level; whether each holds both.
    """

    soak_sd: float | None
    effects: float
    soaks: int
    split: bool = False

    @property
    def name(self) -> str:
        sd = "as the prior" if self.soak_sd is None else f"{self.soak_sd:g}"
        return (
            f"soak SD {sd}, effects {self.effects:.0f}, {self.soaks} {'split soaks' if self.split else 'soaks a level'}"
        )

    @property
    def follows_prior(self) -> bool:
        return self.soak_sd is None and abs(self.effects - Prior().difference_sd) < 1


DESIGNS = tuple(
    Design(sd, effects, soaks, split)
    for sd, effects in (
        (None, 12),
        (None, 24),
        (None, 6),
        (6.25, 12),
        (25, 12),
        (25, 6),
        (25, 20),
        (12.5, 6),
        (6.25, 20),
    )
    for soaks, split in ((2, False), (3, False), (6, False), (2, True))
)


def chances(design: Design, farms: int, rng: np.random.Generator) -> Iterator[tuple[float, bool]]:
    """The chance that compare says of the leader in each farm, and whether it is truly the better."""
    prior = Prior()
    query = ComparisonQuery("substrate", measure_of("be"), against="b")
    for _ in range(farms):
        drawn = float(np.sqrt(prior.degrees * prior.soak_sd**2 / rng.chisquare(prior.degrees)))
        sigma = drawn if design.soak_sd is None else design.soak_sd
        effects = rng.normal(0, design.effects / 2**0.5, 2 + len(OWN_SOAKS))
        answer = compare(farm(_units(design, sigma, 60 + effects, rng)), query, SETTINGS)
        (found,) = (each for each in answer.pairs if each.pair.level == "a")
        assert found.leaning is not None
        said = chance_said(found.pair, found.leaning)
        yield max(said, 1 - said), bool((effects[0] > effects[1]) == (said > 0.5))


def _units(design: Design, sigma: float, means: NDArray[np.float64], rng: np.random.Generator) -> list[Container]:
    """A farm: soaks of a and b, each of one or split between them, and of four recipes beside."""
    recipes = [[0, 1]] * design.soaks if design.split else [[0], [1]] * design.soaks
    recipes = recipes + [[2 + at] for at, count in enumerate(OWN_SOAKS) for _ in range(count)]
    found = []
    for at, held in enumerate(recipes):
        of = rng.normal(0, sigma * ((1 - PART) if design.split else 1) ** 0.5)
        parts = rng.normal(0, sigma * (PART if design.split else 0) ** 0.5, len(held))
        cells = [{"substrate": "abcdef"[level]} for level in held]
        values = [float(means[level] + of + part) for level, part in zip(held, parts, strict=True)]
        found += soak_units(at, cells, values, CONTAINERS, CONTAINER_SD, rng)
    return found


def binned(found: list[tuple[float, bool]]) -> list[tuple[float, float, int]]:
    """Of each bin: what was said on average, the share that came true, and how many farms."""
    said, came = (np.array(each) for each in zip(*found, strict=True))
    return [_of(said, came, low, high) for low, high in BINS]


def _of(said: NDArray[np.float64], came: NDArray[np.bool_], low: float, high: float) -> tuple[float, float, int]:
    within = (said >= low) & ((said < high) | (high == 1.0))
    count = int(within.sum())
    return (float(said[within].mean()), float(came[within].mean()), count) if count else (low, float("nan"), 0)


def faults(design: Design, bins: list[tuple[float, float, int]]) -> list[str]:
    """What passes the limits."""
    told = [each for each in bins if each[2] >= LEAST_FARMS]
    off = [each for each in told if design.follows_prior and abs(each[1] - each[0]) > MOST_OFF]
    wrong = [each for each in told if each[0] > SURE and each[1] < LEAST_TRUE]
    return [f"{design.name}: {said:.0%} came true in {true:.0%}" for said, true, _ in (*off, *wrong)]


def main() -> int:
    """Simulate and print; 1 when a limit is passed."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--farms", type=int, default=4000)
    words.add_argument("--seed", type=int, default=7)
    given = words.parse_args()
    rng = np.random.default_rng(given.seed)
    passed: list[str] = []
    for design in DESIGNS:
        bins = binned(list(chances(design, given.farms, rng)))
        shown = "  ".join(f"{100 * said:.0f}:{100 * true:.0f} ({count})" for said, true, count in bins if count)
        print(f"{design.name:52} {shown}", flush=True)
        passed += faults(design, bins)
    print("\n".join(passed) or "all limits held")
    return 1 if passed else 0


if __name__ == "__main__":
    sys.exit(main())
