"""Looking often: a test that may be looked at after every soak, and stopped whenever it says enough."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from math import exp, log

# By Ville's inequality a fair bet on no difference reaches 1/alpha with a chance of alpha at most: 20 for 5 %.
ENOUGH = 20.0
# The precision of the bet on the standardised effect, which is N(0, 1/PRECISION): an effect of one standard deviation
# is usual where splits tell anything. Our choice, by simulation (tests/calibrate_leaning.py).
PRECISION = 1.0


def e_values(contrasts: Sequence[float], precision: float = PRECISION) -> list[float]:
    """Return the e-value after each contrast, in order of time: how much a bet against "no difference" has won.

    contrasts: one per soak that holds both levels (or per pair of soaks), in any unit, independent, spread alike and
    roughly normal. With V the sum of squares and S the sum of the first n, c^2 = precision:
    e = sqrt(c^2 / (n + c^2)) (V / (V - S^2 / (n + c^2)))^(n/2): the likelihood ratio of a normal mixture over the
    standardised effect to no effect, the spread integrated out with its right Haar prior. It is a martingale where
    there is no effect, whatever the spread, so at all looks together it passes 1/alpha in at most alpha of cases
    (Ville 1939; Lai 1976, Ann. Stat. 4:265-280; Wang & Ramdas 2024, anytime-valid t-tests and confidence sequences).
    The first is always 1: one value tells no spread. Contrasts that are all 0 tell nothing.
    Checked against: numerical integration of both likelihoods (tests/test_sequential.py).
    """
    squares, sums = accumulate(value**2 for value in contrasts), accumulate(contrasts)
    return [_e_value(n, v, s, precision) for n, (v, s) in enumerate(zip(squares, sums, strict=True), 1)]


def _e_value(n: int, squares: float, total: float, precision: float) -> float:
    if not squares > 0:
        return 1.0
    left = 1 - total**2 / (squares * (n + precision))
    return exp((log(precision / (n + precision)) - n * log(left)) / 2)
