"""Exact permutation tests of batches, shown only where their smallest possible p could be evidence at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb

from schemas.confidence import LEVEL

EVIDENCE = round(1 - LEVEL, 9)  # .05: the p below which a permutation test counts as evidence
# More arrangements than these are not counted out; the t test is all there is then. A tenth of a second.
MOST = 50_000
SLACK = 1e-9  # sums that differ by rounding only are alike


@dataclass(frozen=True)
class Permutation:
    """p: the share of all arrangements that are at least as uneven; floor: the least share that the design allows."""

    p: float
    floor: float

    @property
    def evidence(self) -> float | None:
        """The p where it may be shown as evidence; None where no outcome at all could fall below .05."""
        return self.p if self.floor <= EVIDENCE else None


def shuffle(values: Sequence[float], against: Sequence[float]) -> Permutation | None:
    """Return the exact two-sided permutation test of the difference of two means. None for more than 50,000 deals.

    floor: 1 / deals, twice that for sides of equal size (2v2 .33, 3v3 .10, 2v4 .067).
    Checked against: R combn and coin::oneway_test(distribution = "exact") on nlme::RatPupWeight.
    """
    number, every = len(values), len(values) + len(against)
    if number in (0, every):
        return None
    # Two of them on either side are the fewest ways but for one alone: large numbers of ways take long to count.
    if (1 < number < every - 1 and comb(every, 2) > MOST) or (deals := comb(every, number)) > MOST:
        return None
    everything = [*values, *against]
    middle = sum(everything) / len(everything)
    centred = [value - middle for value in everything]
    seen = abs(sum(centred[:number]))
    slack = SLACK * max(1e-300, *map(abs, centred))
    extreme = sum(abs(sum(deal)) >= seen - slack for deal in combinations(centred, number))
    floor = (2 if number * 2 == len(everything) else 1) / deals
    return Permutation(extreme / deals, floor)


def flip(differences: Sequence[float]) -> Permutation | None:
    """Return the exact two-sided test of turning the signs of differences within batches. None for more than 50,000
    ways.

    floor: 2 / 2^batches, so below .05 from 6 batches on.
    Checked against: R, all sign vectors, on nlme::Machines and nlme::Oats.
    """
    number = len(differences)
    if not number or 2**number > MOST:
        return None
    import numpy as np

    slack = SLACK * max(1e-300, *map(abs, differences))
    # The sums of all ways: each difference doubles them. The first keeps its sign, for the other half is the same.
    ways = np.array(differences[:1])
    for difference in differences[1:]:
        ways = np.concatenate([ways + difference, ways - difference])
    extreme = np.count_nonzero(np.abs(ways) >= abs(ways[0]) - slack)
    return Permutation(int(extreme) / len(ways), 1 / len(ways))
