"""Whether following next-soak pays: mean BE over 20 soaks: following it, splitting at random, and never splitting.

`python -m tests.bench_next_soak [FARMS [SEED]]` prints, for ten kinds of farms, the mean BE of each and the differences
with their standard errors; ends with 1 where following is not better than both on at least eight. All begin with the
same four soaks, each of one recipe by the dice, and grow for the rest what next-soak names for meanwhile. Effects are
additive.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.models.compared_units import ComparedUnit
from pipeline.trial.next_soak import NextSoak, Split, next_soak
from tests.simulated_units import SETTINGS, farm, soak_units

SOAKS, BEGUN, CONTAINERS = 20, 4, 6
LEAST_BETTER = 8
FACTORS = {"substrate": "ab", "strain": "gp", "spawn_form": "xy"}

Recipe = dict[str, str]
Choice = Callable[[NextSoak, np.random.Generator, int], Split | None]


@dataclass(frozen=True)
class Kind:
    """A kind of farm: how much the levels of its factors differ (SD of the difference), its soaks and containers (SD),
    all in points of BE; factors: how many may differ.
    """

    effects: float
    soak_sd: float
    factors: int = 2
    container_sd: float = 12.0


KINDS = (
    Kind(12, 10), Kind(12, 6), Kind(12, 15), Kind(20, 10), Kind(20, 15), Kind(6, 6),
    Kind(12, 10, 1), Kind(20, 15, 1), Kind(12, 10, 3), Kind(20, 10, 3),
)  # fmt: skip


def follow(found: NextSoak, dice: np.random.Generator, left: int) -> Split | None:
    """The split that pays most over the soaks that are left; none where none pays."""
    best = found.splits[0] if found.splits else None
    return best if best and best.pays(left) > 0 else None


def at_random(found: NextSoak, dice: np.random.Generator, left: int) -> Split | None:
    """Any of the splits."""
    return found.splits[int(dice.integers(len(found.splits)))] if found.splits else None


def never(found: NextSoak, dice: np.random.Generator, left: int) -> Split | None:
    """No split: each soak what leads."""
    return None


CHOICES: Mapping[str, Choice] = {"follow": follow, "random": at_random, "never": never}


def mean_be(kind: Kind, choice: Choice, seed: int) -> float:
    """The mean true BE of 20 soaks of one farm, its soaks' own luck left out."""
    dice = np.random.default_rng(seed)
    names = list(FACTORS)[: kind.factors]
    gives = {name: dice.normal(0, kind.effects / 2**0.5, 2) for name in names}
    luck = np.random.default_rng(seed + 1)
    begun = [{name: FACTORS[name][(at >> place) % 2] for place, name in enumerate(names)} for at in range(BEGUN)]
    rows: list[ComparedUnit] = []
    given = []
    for at in range(SOAKS):
        split: Split | None = None
        if at < BEGUN:
            parts = [begun[at]]
        else:
            found = next_soak(farm(rows), SETTINGS, max(SOAKS - at - 1, 1))
            leading: Recipe = {name: FACTORS[name][0] for name in names}
            leading |= {factor: level for factor, level, _ in found.meanwhile}
            split = choice(found, dice, max(SOAKS - at - 1, 1))
            parts = [leading | {split.factor: level} for level in (split.level, split.against)] if split else [leading]
        true = [60 + sum(gives[name][FACTORS[name].index(part[name])] for name in names) for part in parts]
        given.append(float(np.mean(true)))
        soak = kind.soak_sd * luck.standard_normal()
        own = kind.soak_sd / 2 * luck.standard_normal(2) if split else [0.0]
        means = [each + (0.75**0.5 if split else 1) * soak + extra for each, extra in zip(true, own, strict=False)]
        rows += soak_units(at, parts, means, CONTAINERS // len(parts), kind.container_sd, luck)
    return float(np.mean(given))


@dataclass(frozen=True)
class Compared:
    """The mean BE of each choice over so many farms, and by how much following is better, with its standard error."""

    kind: Kind
    means: Mapping[str, float]
    better: Mapping[str, tuple[float, float]]

    @property
    def wins(self) -> bool:
        """Whether following is better than both."""
        return all(by > 0 for by, _ in self.better.values())

    def __str__(self) -> str:
        kind = self.kind
        named = f"{kind.factors} factors, effects {kind.effects:g}, soak SD {kind.soak_sd:g}"
        means = "".join(f"{mean:9.2f}" for mean in self.means.values())
        return f"{named:38}{means}" + "".join(f"{by:9.2f} ({error:.2f})" for by, error in self.better.values())


def run(kind: Kind, count: int, seed: int) -> Compared:
    """Return how the three do on the same farms."""
    gave = {
        name: np.array([mean_be(kind, choice, seed + 10 * at) for at in range(count)])
        for name, choice in CHOICES.items()
    }
    apart = {name: gave["follow"] - gave[name] for name in ("random", "never")}
    better = {name: (float(d.mean()), float(d.std(ddof=1) / count**0.5)) for name, d in apart.items()}
    return Compared(kind, {name: float(each.mean()) for name, each in gave.items()}, better)


def main(count: int = 200, seed: int = 1) -> int:
    """Runs all kinds; 0 when following is better on enough of them."""
    print(f"{'kind of farm':38}" + "".join(f"{name:>9}" for name in CHOICES) + f"{'- random':>16}{'- never':>16}")
    won = 0
    for kind in KINDS:
        done = run(kind, count, seed)
        print(done, flush=True)
        won += done.wins
    print(f"better than both on {won} of {len(KINDS)}")
    return 0 if won >= LEAST_BETTER else 1


if __name__ == "__main__":
    sys.exit(main(*(int(each) for each in sys.argv[1:])))
