"""Simulated farms through the code of compare: how often does it raise a false alarm, how often do intervals cover?

Run as a script (`python -m tests.calibrate [FARMS [SEED]]`, from the folder above) for 8,000 farms a design: it prints
a table and exits with 1 when a limit is passed. The tests run a few hundred. y = level + soak + container, six
containers a soak, total SD 1; where soaks are started in months that levels never share, half of the soak's variance is
the month's. The seed is an argument.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from pipeline.compare.confounding import by_clusters, counted_clusters
from pipeline.compare.design import DesignCell
from pipeline.compare.factors import CHOICES, CLUSTERS
from pipeline.compare.pairs import Pair, family, judged, levels_of, pairs_of
from pipeline.compare.sides import sides_of
from pipeline.models.compared_units import MONTH
from pipeline.stats.estimate import two_sided_p
from pipeline.stats.two_levels import welch_degrees

CONTAINERS = 6
MOST_ALARMS, LEAST_COVERAGE = 0.065, 0.94  # our limits, at a nominal 5 % and 95 %
NAMES = "ABCD"
WHOLE = Fraction(1)

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Design:
    """How many soaks each level has alone, how many hold all of them, the soak's share of the variance, by how much
    the soaks of each level vary more. chance: containers are not measured, but affected or not, with this chance.
    months: the soaks of each level are started in so many months of its own.
    """

    name: str
    alone: tuple[int, ...]
    split: int = 0
    icc: float = 0.5
    sds: tuple[float, ...] = ()
    chance: float = 0.0
    months: int = 0


DESIGNS = (
    *(Design(f"{n}v{n}, ICC {icc}", (n, n), icc=icc) for n in (2, 3) for icc in (0.2, 0.5, 0.8)),
    Design("4v4", (4, 4)),
    Design("6v6", (6, 6)),
    Design("4v4, SD 3:1", (4, 4), sds=(3, 1)),
    Design("2v5", (2, 5)),
    Design("2v5, small arm 2x as variable", (2, 5), sds=(2, 1)),
    Design("some split: 2 of 2+2+2", (2, 2), split=2),
    Design("some split: 3 of 1+4+3", (1, 4), split=3),
    Design("all split, 3", (0, 0), split=3),
    Design("all split, 6", (0, 0), split=6),
    Design("three levels, 4 each", (4, 4, 4)),
    Design("four levels, 3 to 6", (3, 4, 5, 6)),
    Design("three levels, 4 split", (0, 0, 0), split=4),
    Design("three levels, some split", (2, 2, 3), split=3),
    Design("losses of 20 %, 6v6", (6, 6), chance=0.2),
    Design("losses of 20 %, 4v8", (4, 8), chance=0.2),
    Design("6v6 in 3 months of their own", (6, 6), months=3),
    Design("8v8 in 4 months of their own", (8, 8), months=4),
    Design("3v3 in 3 months of their own", (3, 3), months=3),
)


@dataclass(frozen=True)
class Done:
    """How a design did: false alarms (of any pair) of gillbook and of containers as if independent; intervals (of all
    pairs) that hold the truth; alarms where the first two levels differ by 1 SD. All as shares.
    """

    name: str
    farms: int
    alarms: float
    naive: float
    coverage: float
    power: float

    @property
    def passes(self) -> bool:
        """Does it keep the limits?"""
        return self.alarms <= MOST_ALARMS and self.coverage >= LEAST_COVERAGE

    def __str__(self) -> str:
        told = f"{self.name:32}{self.farms:6}{100 * self.alarms:9.1f}{100 * self.coverage:9.1f}{_whole(self.power):>8}"
        return f"{told}{_whole(self.naive):>12}" + ("" if self.passes else "   passes a limit")


def _whole(share: float) -> str:
    return "-" if np.isnan(share) else f"{100 * share:.0f}"


HEADING = f"{'design':32}{'farms':>6}{'alarms %':>9}{'cover %':>9}{'power':>8}{'naive %':>12}"


@dataclass(frozen=True)
class Part:
    """The containers of a soak at one level, and in which month it was started ("": months do not matter)."""

    soak: str
    level: str
    values: Numbers
    month: str = ""


def containers(design: Design, rng: np.random.Generator) -> list[Part]:
    """One farm. Split soaks share their containers among the levels."""
    sds = design.sds or (1.0,) * len(design.alone)
    levels = range(len(design.alone))
    lots = [[level] for level in levels for _ in range(design.alone[level])] + [list(levels)] * design.split
    of_month = rng.normal(0, (design.icc / 2) ** 0.5, (len(design.alone), max(design.months, 1)))
    found = []
    for at, held in enumerate(lots):
        soak = rng.normal(0, (design.icc / 2 if design.months else design.icc) ** 0.5)
        for level in held:
            own = rng.normal(0, (1 - design.icc) ** 0.5, max(CONTAINERS // len(held), 1))
            month = at % design.months if design.months else 0
            values = sds[level] * (soak + (of_month[level, month] if design.months else 0)) + own
            if design.chance:
                values = np.where(values < _threshold(design.chance), 100.0, 0.0)
            found.append(Part(f"soak {at}", NAMES[level], values, f"{NAMES[level]}{month}" if design.months else ""))
    return found


def _threshold(chance: float) -> float:
    from scipy.special import ndtri

    return float(ndtri(chance))


def cell(part: Part, shift: float) -> DesignCell:
    """A cell of which nothing but its value and its month matters here."""
    value = float(part.values.mean()) + shift
    shares = (
        {name: {part.month if name == MONTH else "": WHOLE} for name in (*CHOICES, *CLUSTERS)} if part.month else {}
    )
    return DesignCell(part.soak, part.level, value, value, 1.0, (part.soak,), CONTAINERS, 0, 0, None, shares, {})


def told(farm: list[Part], shift: float = 0.0) -> list[Pair]:
    """What does the code behind the command say of this farm? shift: added to the first level."""
    names = list(dict.fromkeys(part.level for part in farm))
    cells = [cell(part, shift * (part.level == NAMES[0])) for part in farm]
    pairs = pairs_of(levels_of(cells, sorted(names)))
    if any(part.month for part in farm):
        pairs = [by_clusters(pair, counted_clusters(sides_of(pair), (MONTH,))) for pair in pairs]
    together = family([pair for pair in pairs if pair.has_interval], every_pair=True)
    return [judged(pair, together) for pair in pairs]


def naive_alarm(farm: list[Part]) -> bool:
    """Would a test of the first two levels that takes containers as independent (Welch) raise an alarm?"""
    first, second = (np.concatenate([part.values for part in farm if part.level == name]) for name in NAMES[:2])
    spreads = float(first.var(ddof=1)), float(second.var(ddof=1))
    error = (spreads[0] / len(first) + spreads[1] / len(second)) ** 0.5
    if not error > 0:
        return False
    degrees = welch_degrees(spreads, (len(first), len(second)))
    return two_sided_p(float(first.mean() - second.mean()) / error, degrees) < 0.05


def run(design: Design, count: int, seed: int) -> Done:
    """How does the design do over so many farms?"""
    rng = np.random.default_rng(seed)
    # A difference of 1 SD means nothing where containers are affected or not.
    alarms, naive, power, covered = 0, 0, np.nan if design.chance else 0.0, []
    for _ in range(count):
        farm = containers(design, rng)
        pairs = told(farm)
        alarms += any(pair.p is not None and pair.p < 0.05 for pair in pairs)
        naive += naive_alarm(farm)
        # Where no level differs, every difference is 0 in truth.
        covered += [low <= 0 <= high for pair in pairs if pair.limits for low, high in [pair.limits]]
        power += any(pair.p is not None and pair.p < 0.05 and _of_first_two(pair) for pair in told(farm, 1.0))
    return Done(design.name, count, alarms / count, naive / count, float(np.mean(covered)), power / count)


def _of_first_two(pair: Pair) -> bool:
    return {pair.level, pair.against} == set(NAMES[:2])


def everything(count: int, seed: int = 7) -> Iterator[Done]:
    """Every design, `count` farms each."""
    for design in DESIGNS:
        yield run(design, count, seed)


def main(count: int = 8000, seed: int = 7) -> int:
    """Runs all designs; 0 when every one keeps the limits."""
    started, passed = time.perf_counter(), True
    print(f"{HEADING}\n{'':32}{'':6}{'':9}{'':9}{'':8}{'(containers)':>12}")
    for done in everything(count, seed):
        print(done, flush=True)
        passed = passed and done.passes
    print(f"{time.perf_counter() - started:.0f} s; limits: alarms {MOST_ALARMS:.1%}, coverage {LEAST_COVERAGE:.0%}")
    return 0 if passed else 1


if __name__ == "__main__":
    sys.exit(main(*(int(each) for each in sys.argv[1:])))
