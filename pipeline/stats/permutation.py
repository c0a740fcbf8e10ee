"""Shuffling batches: how often would chance alone deal them out as unevenly? Shown only where it can tell anything."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product
from math import comb

EVIDENCE = 0.05
# More arrangements than these are not counted out; the t test is all there is then. A tenth of a second.
MOST = 50_000
SLACK = 1e-9  # sums that differ by rounding only are alike


@dataclass(frozen=True)
class Shuffled:
    """How many of all arrangements are at least as uneven, as a share (p), and the least share that the design allows
    (floor).
    """

    p: float
    floor: float

    @property
    def shown(self) -> float | None:
        """What may be shown as evidence? None where no outcome at all could fall below .05 (R6)."""
        return self.p if self.floor <= EVIDENCE else None


def shuffle(values: Sequence[float], against: Sequence[float]) -> Shuffled | None:
    """How uneven is this deal of batches among all deals? The exact two-sided permutation test of the difference of
    means. None for more than 50,000 deals.

    floor: 1 / deals, twice that for sides of equal size (2v2 .33, 3v3 .10, 2v4 .067).
    Checked against: R combn and coin::oneway_test(distribution = "exact") on nlme::RatPupWeight.
    """
    number, everything = len(values), [*values, *against]
    deals = comb(len(everything), number)
    if not number or not against or deals > MOST:
        return None
    middle = sum(everything) / len(everything)
    centred = [value - middle for value in everything]
    seen = abs(sum(centred[:number]))
    slack = SLACK * max(1e-300, *map(abs, centred))
    extreme = sum(abs(sum(deal)) >= seen - slack for deal in combinations(centred, number))
    floor = (2 if number * 2 == len(everything) else 1) / deals
    return Shuffled(extreme / deals, floor)


def flip(differences: Sequence[float]) -> Shuffled | None:
    """How uneven are these differences within batches among all ways to turn their signs? Exact, two-sided. None for
    more than 50,000 ways.

    floor: 2 / 2^batches, so below .05 from 6 batches on.
    Checked against: R, all sign vectors, on nlme::Machines and nlme::Oats.
    """
    number = len(differences)
    if not number or 2**number > MOST:
        return None
    seen = abs(sum(differences))
    slack = SLACK * max(1e-300, *map(abs, differences))
    ways = product((1, -1), repeat=number)
    extreme = sum(
        abs(sum(sign * value for sign, value in zip(signs, differences, strict=True))) >= seen - slack for signs in ways
    )
    return Shuffled(extreme / 2**number, 2 / 2**number)
