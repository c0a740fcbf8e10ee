"""Whether following next-soak pays: the mean true BE of 20 soaks, on ten types of farm.

`python -m tests.bench_next_soak [FARMS [SEED]]` prints, by type, the mean BE of five ways to grow and by how much
following is better, with its standard error; ends with 1 where following is not better than random, records and habit
on at least eight. All begin with the same records, then grow 20 soaks; what comes by a soak's own luck is left out of
the mean.

- follow: splits the soak as next-soak says when it is given the number of soaks still to come; where no split pays, it
  grows the recipe that leads. Of a split soak the rest of the recipe is what leads.
- random: each soak is split by a factor and two of its levels by the dice; the rest of the recipe is what leads.
- any: splits when following would, but by the dice: what the order of the splits is worth, apart from when to split.
  Shown beside, and the same as following where there is one split only.
- records: never splits. Each soak is the recipe that leads by all records so far, its own soaks among them.
- habit: never splits nor changes: the recipe that the farm began with.

All learn by the very function that the command uses; only the units' files are left out. Effects add up, seasons
and hands do not matter, and soaks differ as the model has it: by a common luck, and a quarter of its variance for each
part. How far levels differ and how much soaks do is not what the model takes them for, but in the type `usual`.

The types were chosen before anything was measured with them. Records begin as growers begin: one recipe for a long
time, and of each other level one soak; two types begin otherwise.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.recipes import RecipeCells
from pipeline.trial.next_soak import Leader, Split, weighed
from pipeline.trial.recipe_records import RecipeRecords, TriedFactor

SOAKS = 20
LEAST_BETTER = 8
RATES = (5.0, 8.0, 12.0, 18.0, 25.0)
NAMES = ("strain", "substrate", "supplement", "spawn_form", "kind")

Recipe = tuple[int, ...]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class FarmType:
    """A type of farm, and why it is here. levels: how many each factor has; effects: the SD of the difference of two
    levels; soak_sd, container_sd: in points of BE, as effects; habit: soaks of the first recipe in the records.
    begins: "trials" (of each other level one soak), "varied" (recipes by the dice), "packages" (two soaks in which all
    is different at once); rates: whether the first factor is the spawn rate, of which BE is a curve with one top.
    """

    name: str
    why: str
    levels: tuple[int, ...] = (2, 2, 2)
    effects: float = 12.0
    soak_sd: float = 10.0
    containers: int = 6
    habit: int = 6
    begins: str = "trials"
    rates: bool = False
    container_sd: float = 12.0


TYPES = (
    FarmType("usual", "one recipe for long, three other levels tried once"),
    FarmType("small effects", "most choices matter little", effects=6.0),
    FarmType("large effects", "large rooms, choices that matter much", effects=20.0, containers=16),
    FarmType("steady soaks", "soaks alike, recipes varied from the first", soak_sd=6.0, habit=8, begins="varied"),
    FarmType("unsteady soaks", "water, weather and straw differ", soak_sd=15.0),
    FarmType("one factor", "a single other strain, tried once", levels=(2,)),
    FarmType("many factors", "much was tried once", levels=(4, 3, 2, 2, 2)),
    FarmType("few containers", "four in a soak: two a part", containers=4),
    FarmType("spawn rates", "five rates with a top, and two strains", levels=(5, 2), rates=True),
    FarmType("packages", "two recipes in which all differs at once", begins="packages"),
)  # fmt: skip


@dataclass
class Farm:
    """The records of one invented farm so far, and what its levels truly give."""

    of: FarmType
    gives: Sequence[Floats]
    luck: np.random.Generator
    factors: tuple[TriedFactor, ...]
    values: list[float] = field(default_factory=list)
    soaks: list[int] = field(default_factory=list)
    rows: list[list[float]] = field(default_factory=list)
    sizes: list[int] = field(default_factory=list)
    squares: float = 0.0
    grown: int = 0

    def true(self, recipe: Recipe) -> float:
        """The BE that a recipe gives on average."""
        return 60 + sum(float(own[level]) for own, level in zip(self.gives, recipe, strict=True))

    def grow(self, parts: Sequence[Recipe]) -> float:
        """Grows a soak of one or two parts; its true BE."""
        size = self.of.containers // len(parts)
        # As many draws whether it is split or not, so that all ways of growing meet the same luck.
        soak, own = self.of.soak_sd * self.luck.standard_normal(), self.luck.standard_normal(2)
        noise = self.of.container_sd * self.luck.standard_normal((2, self.of.containers))
        for at, recipe in enumerate(parts):
            found = noise[at, :size]
            fate = 0.75**0.5 * soak + 0.5 * self.of.soak_sd * own[at]
            self.values.append(self.true(recipe) + fate + float(found.mean()))
            self.squares += float(((found - found.mean()) ** 2).sum())
            self.sizes.append(size)
            self.soaks.append(self.grown)
            self.rows.append([
                float(level == at) for level, many in zip(recipe, self.of.levels, strict=True) for at in range(many)
            ])  # fmt: skip
        self.grown += 1
        return float(np.mean([self.true(recipe) for recipe in parts]))

    def records(self) -> RecipeRecords:
        """What the command would read from the farm's files."""
        spread = self.squares / (sum(self.sizes) - len(self.sizes))
        sizes = np.array(self.sizes)
        cells = RecipeCells(np.array(self.values), np.array(self.soaks), np.array(self.rows), spread / sizes)
        return RecipeRecords(self.factors, cells, spread)


Choice = Callable[[Sequence[Split], np.random.Generator, int], Split | None]


def follow(splits: Sequence[Split], dice: np.random.Generator, left: int) -> Split | None:
    """The split that pays most over the soaks that are left; none where none pays."""
    return splits[0] if left and splits[0].pays(left) > 0 else None


def at_random(splits: Sequence[Split], dice: np.random.Generator, left: int) -> Split | None:
    """Any of the splits."""
    return splits[int(dice.integers(len(splits)))]


def any_of_them(splits: Sequence[Split], dice: np.random.Generator, left: int) -> Split | None:
    """Any of the splits, where one pays."""
    return at_random(splits, dice, left) if follow(splits, dice, left) else None


def by_records(splits: Sequence[Split], dice: np.random.Generator, left: int) -> Split | None:
    """No split: each soak what leads."""
    return None


CHOICES: Mapping[str, Choice | None] = {
    "follow": follow, "random": at_random, "any": any_of_them, "records": by_records, "habit": None,
}  # fmt: skip


RIVALS = ("random", "records", "habit")


def begun(of: FarmType, seed: int) -> Farm:
    """A farm with the records it begins with."""
    dice = np.random.default_rng(seed)
    gives = [dice.normal(0, of.effects / 2**0.5, many) for many in of.levels]
    if of.rates:
        gives[0] = curve(of, dice)
    names = ("spawn_rate", *NAMES) if of.rates else NAMES
    factors = tuple(
        TriedFactor(name, tuple(f"{at}" for at in range(many)), RATES if name == "spawn_rate" else (None,) * many)
        for name, many in zip(names, of.levels, strict=False)
    )
    farm = Farm(of, gives, np.random.default_rng(seed + 1), factors)
    for recipe in beginning(of, dice):
        farm.grow([recipe])
    return farm


def curve(of: FarmType, dice: np.random.Generator) -> Floats:
    """What spawn rates give: a parabola of the rate's logarithm, its top anywhere among them, its depth by effects."""
    far = np.log(np.array(RATES)) - dice.uniform(np.log(RATES[0]), np.log(RATES[-1]))
    found: Floats = -abs(dice.normal(2 * of.effects, of.effects / 2)) * (far / np.log(RATES[-1] / RATES[0])) ** 2
    return found


def beginning(of: FarmType, dice: np.random.Generator) -> list[Recipe]:
    """The recipes of the soaks before the first choice."""
    first = tuple(many // 2 if at == 0 and of.rates else 0 for at, many in enumerate(of.levels))
    if of.begins == "varied":
        return [tuple(int(dice.integers(many)) for many in of.levels) for _ in range(of.habit)]
    if of.begins == "packages":
        return [first] * of.habit + [tuple(1 for _ in of.levels)] * 2
    trials = [
        (*first[:at], level, *first[at + 1 :])
        for at, many in enumerate(of.levels)
        for level in range(many)
        if level != first[at]
    ]
    return [first] * of.habit + trials


def mean_be(of: FarmType, choice: Choice | None, seed: int) -> float:
    """The mean true BE of 20 soaks of one farm, grown by one way to choose."""
    farm, dice = begun(of, seed), np.random.default_rng(seed + 2)
    first = beginning(of, np.random.default_rng(seed))[0]
    given = []
    for left in reversed(range(SOAKS)):
        if choice is None:
            given.append(farm.true(first))
            continue
        splits, leaders = weighed(farm.records(), max(of.containers // 2, 2), left)
        given.append(farm.grow(parts_of(farm.factors, leaders, choice(splits, dice, left))))
    return float(np.mean(given))


def parts_of(factors: Sequence[TriedFactor], leaders: Sequence[Leader], split: Split | None) -> list[Recipe]:
    """The recipes of the coming soak: what leads, or the two parts of a split."""
    leading = {each.factor: each.level for each in leaders}
    named = [leading | {split.factor: level} for level in (split.level, split.against)] if split else [leading]
    return [tuple(each.levels.index(part[each.name]) for each in factors) for part in named]


@dataclass(frozen=True)
class Compared:
    """The mean BE of each way over so many farms, and by how much following is better, with its standard error."""

    of: FarmType
    means: Mapping[str, float]
    better: Mapping[str, tuple[float, float]]

    @property
    def wins(self) -> bool:
        """Whether following is better than splitting at random and than never splitting, either way."""
        return all(self.better[name][0] > 0 for name in RIVALS)

    @property
    def wins_clearly(self) -> bool:
        """Whether it is so by two standard errors."""
        return all(self.better[name][0] > 2 * self.better[name][1] for name in RIVALS)

    def __str__(self) -> str:
        means = "".join(f"{mean:8.1f}" for mean in self.means.values())
        better = "".join(f"{by:+9.2f} ({error:.2f})" for by, error in self.better.values())
        return f"{self.of.name:15}{means}{better}"


def run(of: FarmType, count: int, seed: int) -> Compared:
    """Return how all ways do on the same farms."""
    gave = {
        name: np.array([mean_be(of, choice, seed + 10 * at) for at in range(count)]) for name, choice in CHOICES.items()
    }
    apart = {name: gave["follow"] - own for name, own in gave.items() if name != "follow"}
    better = {name: (float(d.mean()), float(d.std(ddof=1) / count**0.5)) for name, d in apart.items()}
    return Compared(of, {name: float(each.mean()) for name, each in gave.items()}, better)


def main(count: int = 200, seed: int = 1) -> int:
    """Runs all types; 0 when following is better on enough of them."""
    print(
        f"{'':15}" + "".join(f"{name:>8}" for name in CHOICES) + "".join(f"{'- ' + n:>16}" for n in list(CHOICES)[1:])
    )
    won = clearly = 0
    for of in TYPES:
        done = run(of, count, seed)
        print(done, flush=True)
        won += done.wins
        clearly += done.wins_clearly
    verdict = "held" if won >= LEAST_BETTER else "not held"
    print(
        f"{verdict}: better than random, records and habit on {won} of {len(TYPES)} types of farm, by two standard "
        f"errors on {clearly} ({count} farms a type, seed {seed})"
    )
    return 0 if won >= LEAST_BETTER else 1


if __name__ == "__main__":
    sys.exit(main(*(int(each) for each in sys.argv[1:])))
