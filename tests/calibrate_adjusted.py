"""Pairs whose recipes are mixed unevenly, through the code of compare: false alarms and coverage, plain and adjusted.

`python -m tests.calibrate_adjusted [FARMS [SEED]]` prints a table for 2,000 farms a design (soaks SD 10 points of BE,
containers SD 12, six a soak) and ends with 1 where alarms pass 6.5 % or coverage falls below 93 %. The plain estimate
is shown beside it. Effects are additive, and nothing drifts.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from pipeline.compare.comparison import compare
from pipeline.compare.measures import measure_of
from pipeline.compare.pairs import Pair, family, judged
from pipeline.compare.query import ComparisonQuery
from tests.simulated_units import SETTINGS, Container, farm, soak_units

SOAK_SD, CONTAINER_SD, CONTAINERS = 10.0, 12.0, 6
MOST_ALARMS, LEAST_COVERAGE = 0.065, 0.93

Recipe = Mapping[str, str]


def recipes(**counts: int) -> list[Recipe]:
    """Soaks by their recipes: a_g=5 is five soaks of substrate a with strain g; a third letter is the spawn form."""
    names = ("substrate", "strain", "spawn_form")
    return [dict(zip(names, key.split("_"), strict=False)) for key, count in counts.items() for _ in range(count)]


@dataclass(frozen=True)
class Design:
    """A kind of farm: the recipe of each soak; what each label of strain and spawn form adds, in points; split: soaks
    that hold both substrates, by their recipes aside from it; true: what substrate a truly gives more than b;
    interplay: what it gives beside that with strain g.
    """

    name: str
    soaks: Sequence[Recipe]
    effects: Mapping[str, float] = field(default_factory=lambda: {"g": 20.0})
    split: Sequence[tuple[Recipe, Recipe]] = ()
    true: float = 0.0
    interplay: float = 0.0


BOTH = ({"substrate": "a", "strain": "g"}, {"substrate": "b", "strain": "g"})
DESIGNS = (
    Design("5:1 against 1:5", recipes(a_g=5, a_p=1, b_g=1, b_p=5)),
    Design("5:2 against 2:5", recipes(a_g=5, a_p=2, b_g=2, b_p=5)),
    Design("4:2 against 2:4", recipes(a_g=4, a_p=2, b_g=2, b_p=4)),
    Design("8:4 against 4:8", recipes(a_g=8, a_p=4, b_g=4, b_p=8)),
    Design("3:2 against 2:3", recipes(a_g=3, a_p=2, b_g=2, b_p=3)),
    Design("6:2 against 3:3", recipes(a_g=6, a_p=2, b_g=3, b_p=3)),
    Design("4:2 against 2:4, true 20 opposed", recipes(a_g=2, a_p=4, b_g=4, b_p=2), true=20.0),
    Design("10:3 against 2:4", recipes(a_g=10, a_p=3, b_g=2, b_p=4)),
    Design("three strains", recipes(a_g=4, a_p=2, a_q=2, b_g=2, b_p=4, b_q=2), {"g": 20.0, "q": -10.0}),
    Design("strain and form", recipes(a_g_s=4, a_p_t=2, a_g_t=2, b_g_s=2, b_p_t=3, b_p_s=3), {"g": 20.0, "s": 10.0}),
    Design("a third level shows the strain", recipes(a_g=4, b_p=4, c_g=4, c_p=4)),
    Design("a third level, both uneven", recipes(a_g=4, a_p=2, b_g=2, b_p=4, c_g=3, c_p=3)),
    Design("some split", recipes(a_g=3, a_p=2, b_g=2, b_p=3), split=(BOTH, BOTH)),
    Design("small imbalance, 9:8 against 8:9", recipes(a_g=9, a_p=8, b_g=8, b_p=9)),
)  # fmt: skip


@dataclass(frozen=True)
class Done:
    """How a design did, as shares of its farms: pairs with an interval, alarms (a direction where none is true; where
    one is, the other way), intervals that hold the truth; and the same of the plain estimate. interplay: farms where
    the difference is said to go with the labels of another factor.
    """

    name: str
    farms: int
    answered: float
    alarms: float
    coverage: float
    plain_alarms: float
    plain_coverage: float
    power: float
    interplay: float

    @property
    def passes(self) -> bool:
        """Whether it keeps the limits."""
        return self.alarms <= MOST_ALARMS and self.coverage >= LEAST_COVERAGE and self.interplay <= MOST_ALARMS

    def __str__(self) -> str:
        shares = (
            self.answered, self.alarms, self.coverage, self.power, self.plain_alarms, self.plain_coverage,
            self.interplay,
        )  # fmt: skip
        return f"{self.name:38}{self.farms:6}" + "".join(f"{100 * share:9.1f}" for share in shares)


HEADING = f"{'design':38}{'farms':>6}" + "".join(
    f"{name:>9}" for name in ("answer %", "alarms", "cover", "shown", "plain a.", "plain c.", "interpl.")
)


def units(design: Design, dice: np.random.Generator) -> list[Container]:
    """One farm of this design; its soaks in an order by the dice."""
    soaks: list[Sequence[Recipe]] = [*((each,) for each in design.soaks), *design.split]
    found = []
    for at, which in enumerate(dice.permutation(len(soaks)).tolist()):
        of = SOAK_SD * dice.standard_normal()
        cells = [dict(each) for each in soaks[which]]
        means = [60 + of + _of_substrate(each, design) + _added(each, design) for each in cells]
        found += soak_units(at, cells, means, CONTAINERS // len(cells), CONTAINER_SD, dice)
    return found


def _of_substrate(recipe: Recipe, design: Design) -> float:
    return (recipe["substrate"] == "a") * (design.true + design.interplay * (recipe["strain"] == "g"))


def _added(recipe: Recipe, design: Design) -> float:
    return sum(design.effects.get(label, 0.0) for name, label in recipe.items() if name != "substrate")


def plain(pair: Pair) -> Pair:
    """The same pair without adjusting."""
    from tests.two_levels_by_batch import difference_of

    ours, theirs = ({cell.soak: cell.value or 0.0 for cell in side} for side in (pair.first, pair.second))
    from dataclasses import replace

    return judged(replace(pair, estimate=difference_of(ours, theirs), adjusted=()), family([pair], True))


def run(design: Design, count: int, seed: int) -> Done:
    """Return how the design does over so many farms."""
    dice = np.random.default_rng(seed)
    query = ComparisonQuery("substrate", measure_of("be"), against="b")
    alarms, covered, shown, plain_alarms, plain_covered, apart = [], [], [], [], [], []
    for _ in range(count):
        answer = compare(farm(units(design, dice)), query, SETTINGS)
        found = next(each for each in answer.pairs if each.pair.level == "a")
        apart.append(any(each.differs for each in found.interplays))
        before = plain(found.pair)
        if before.limits:
            plain_alarms.append(_wrong(before.limits, design.true))
            plain_covered.append(before.limits[0] <= design.true <= before.limits[1])
        if found.judgement.stopped and found.judgement.stopped[0].rule != "R7":
            continue
        assert found.pair.limits is not None
        low, high = found.pair.limits
        alarms.append(found.judgement.direction.is_shown and _wrong((low, high), design.true))
        covered.append(low <= design.true <= high)
        shown.append(found.judgement.direction.is_shown)
    shares = (float(np.mean(each or [np.nan])) for each in (alarms, covered, plain_alarms, plain_covered, shown, apart))
    wrong, held, plain_wrong, plain_held, power, said = shares
    return Done(design.name, count, len(alarms) / count, wrong, held, plain_wrong, plain_held, power, said)


def _wrong(limits: tuple[float, float], true: float) -> bool:
    """Whether limits leave 0 on a side where the truth does not lie."""
    low, high = limits
    return (low > 0 and true <= 0) or (high < 0 and true >= 0)


def main(count: int = 2000, seed: int = 11) -> int:
    """Runs all designs; 0 when every one keeps the limits."""
    print(HEADING)
    passed = True
    for design in DESIGNS:
        done = run(design, count, seed)
        print(done, flush=True)
        passed = passed and done.passes
    return 0 if passed else 1


if __name__ == "__main__":
    sys.exit(main(*(int(each) for each in sys.argv[1:])))
