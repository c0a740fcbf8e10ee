"""The promise of a trial: what `trial` says it will find, and what `compare` then says, on simulated farms.

`python -m tests.calibrate_trial [FARMS [SEED]]` prints, for 2,000 trials a design, the share of directions that compare
gives and that trial promised, and the same for "worth it"; ends with 1 where any is more than 5 points off. Spawn, lime
and hours are weighed with 1 % of noise, which must refuse nothing.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from pipeline.compare.comparison import compare
from pipeline.compare.measures import measure_of
from pipeline.compare.query import ComparisonQuery
from pipeline.models.compared_units import SPAWN_RATE
from pipeline.trial import design as planned
from pipeline.trial.spread import Component, Spread
from schemas.contract import Varies
from tests.simulated_units import SETTINGS, Container, farm, soak_units

MOST_OFF = 0.05
SMALLEST = 10.0
WELL_KNOWN = 1000  # degrees of freedom, from which nothing is inflated


@dataclass(frozen=True)
class Case:
    """A trial: soaks a level (or split), containers of a batch, the true difference, levels; SDs in points of BE."""

    split: bool
    soaks: int
    difference: float
    levels: int = 2
    containers: int = 6
    soak_sd: float = 10.0
    container_sd: float = 12.0

    @property
    def name(self) -> str:
        """What it is called in the table."""
        how = "split" if self.split else "a level"
        return f"{self.soaks:2} {how:8} {self.levels} levels, true {self.difference:g}, soak SD {self.soak_sd:g}"


CASES = (
    Case(False, 3, 30), Case(False, 4, 20), Case(False, 6, 20), Case(False, 8, 20, soak_sd=15), Case(False, 12, 10),
    Case(False, 5, 30, 3), Case(True, 3, 20), Case(True, 4, 15), Case(True, 6, 20, soak_sd=15), Case(True, 8, 10),
    Case(True, 12, 10), Case(True, 6, 20, 3),
)  # fmt: skip


def known_spread(case: Case) -> Spread:
    """The spread of this farm, known well: a quarter of the soaks' variance is that of their parts."""
    variances = (case.soak_sd**2, case.soak_sd**2 / 4, case.container_sd**2)
    return Spread(*(Component(each, WELL_KNOWN, each) for each in variances), False)


def promised(case: Case) -> planned.Design:
    """What trial says of this design."""
    found = planned.designs(
        known_spread(case), Varies.BATCH, case.levels, case.difference, case.containers, case.soaks, SMALLEST
    )
    return next(each for each in found if each.split == case.split and each.test.soaks == case.soaks)


def done(case: Case, design: planned.Design, dice: np.random.Generator) -> list[Container]:
    """One such trial: the first level gives more by the difference, the others alike."""
    levels = list(range(case.levels))
    held = [levels] * case.soaks if case.split else [[level] for _ in range(case.soaks) for level in levels]
    found = []
    for at, of in enumerate(held):
        part = case.soak_sd / 2 if case.split else 0.0
        soak = dice.normal(0, (case.soak_sd**2 - (0 if not case.split else part**2)) ** 0.5)
        means = [60 + soak + dice.normal(0, part) + (case.difference if level == 0 else 0) for level in of]
        cells = [{"substrate": "abc"[level], **_weighed(dice)} for level in of]
        found += soak_units(at, cells, means, design.containers, case.container_sd, dice)
    return found


def _weighed(dice: np.random.Generator) -> dict[str, str]:
    """What goes into a part, weighed to a percent."""
    usual = {SPAWN_RATE: 10.0, "treatment_h": 18.0, "lime_g_per_l": 6.0, "spawn_kg": 1.0}
    return {name: f"{value * (1 + 0.01 * dice.standard_normal()):.4f}" for name, value in usual.items()}


@dataclass(frozen=True)
class Kept:
    """Of the first two levels: shares of directions and of "worth it" that were promised, and that were said."""

    name: str
    promised: float
    said: float
    promised_worth: float
    said_worth: float
    refused: float

    @property
    def off(self) -> float:
        """How far what was said lies from the promise, at most."""
        return max(abs(self.promised - self.said), abs(self.promised_worth - self.said_worth))

    def __str__(self) -> str:
        shares = (self.promised, self.said, self.promised_worth, self.said_worth, self.refused)
        return f"{self.name:46}" + "".join(f"{100 * share:10.1f}" for share in shares)


def run(case: Case, count: int, seed: int) -> Kept:
    """Return how the promise stands to what is said over so many trials."""
    dice = np.random.default_rng(seed)
    design = promised(case)
    query = ComparisonQuery("substrate", measure_of("be"))
    said = worth = refused = 0
    for _ in range(count):
        answer = compare(farm(done(case, design, dice)), query, SETTINGS)
        (pair,) = (each for each in answer.pairs if {each.pair.level, each.pair.against} == {"a", "b"})
        said += pair.judgement.direction.is_shown
        worth += pair.judgement.worth == "worth it"
        refused += any(each.rule in ("R3", "R4") for each in pair.judgement.stopped)
    return Kept(case.name, design.power, said / count, design.power_worth, worth / count, refused / count)


def main(count: int = 2000, seed: int = 3) -> int:
    """Runs all cases; 0 when every promise is kept."""
    print(f"{'design':46}" + "".join(f"{name:>10}" for name in ("promised", "said", "worth p.", "worth s.", "refused")))
    passed = True
    for case in CASES:
        kept = run(case, count, seed)
        print(kept, flush=True)
        passed = passed and kept.off <= MOST_OFF and kept.refused == 0
    return 0 if passed else 1


if __name__ == "__main__":
    sys.exit(main(*(int(each) for each in sys.argv[1:])))
