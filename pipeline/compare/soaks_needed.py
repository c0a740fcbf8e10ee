"""How many more soaks would show a difference that counts, if they spread as a pair's do."""

from __future__ import annotations

from bisect import bisect_left

from pipeline.compare.pairs import LEAST_FOR_A_VERDICT, Pair, split_alone
from pipeline.stats.multiple import Family
from pipeline.stats.power import POWER, power
from pipeline.stats.two_levels import DesignKind, bell_mccaffrey_degrees
from schemas.phrases import counted

MOST = 60  # soaks of a level, or split ones, beyond which no number is named: our choice, no source

Numbers = tuple[int, int]


def more_soaks(pair: Pair, together: Family, difference: float) -> Numbers | None:
    """Return how many more soaks of each level (or split ones, counted for both) would show this difference in 4 of 5
    such farms; fewest of all, and first of the level that has fewer. None for more than 60 in all, or without a spread.

    The spread per soak is taken as this pair's own: v = SE^2 / (1/nA + 1/nB) between soaks, SE^2 b within, and that of
    the differences where some soaks hold both; so it is as unsure as that spread is.
    """
    if pair.varies is DesignKind.BOTH and pair.split >= LEAST_FOR_A_VERDICT:
        pair = split_alone(pair)
    error = pair.estimate.standard_error
    if not error or not difference > 0:
        return None
    apart = pair.varies is DesignKind.BETWEEN
    have = (len(pair.first), len(pair.second))
    per_soak = error**2 / (1 / have[0] + 1 / have[1])
    if not apart:
        soaks = len({*pair.first.soaks, *pair.second.soaks})
        have, per_soak = (soaks, soaks), error**2 * soaks / 2
    steps = range(max(0, MOST - max(have)) + abs(have[0] - have[1]) + 1)
    at = bisect_left(steps, True, key=lambda step: _shows(_after(have, step), per_soak, apart, together, difference))
    if at == len(steps):
        return None
    now = _after(have, at)
    return now[0] - have[0], now[1] - have[1]


def _after(have: Numbers, steps: int) -> Numbers:
    """The soaks after so many steps: one more of the level that has fewer, or of each."""
    low, high = sorted(have)
    low += steps
    high = max(low, high)
    return (low, high) if have[0] <= have[1] else (high, low)


def _shows(now: Numbers, per_soak: float, apart: bool, together: Family, difference: float) -> bool:
    """Whether so many soaks would show it. Within soaks the difference of one has a variance of twice `per_soak`."""
    if min(now) < LEAST_FOR_A_VERDICT:
        return False
    degrees = bell_mccaffrey_degrees(now) if apart else float(now[0] - 1)
    error = (per_soak * (1 / now[0] + 1 / now[1])) ** 0.5
    return power(difference / error, degrees, together.critical(degrees)) >= POWER


def enough_soaks(pair: Pair, together: Family, difference: float, unit: str) -> str:
    """Return the soaks that would show a difference that counts, on top of what there are; where these would have shown
    it, those that would show as little as was found.
    """
    more = more_soaks(pair, together, difference)
    shown = difference
    if more == (0, 0):
        shown = abs(pair.estimate.value)
        more = more_soaks(pair, together, shown)
    to_show = f"to show {shown:.2g} {unit}"
    apart = pair.varies is DesignKind.BETWEEN
    if more is None:
        return f"{_instead(pair)} take over {MOST} soaks of each {to_show}"
    if not apart:
        return f"Split about {counted(more[0], 'more soak')} between {pair.level} and {pair.against} {to_show}"
    if more[0] == more[1]:
        return f"Start about {counted(more[0], 'more soak')} of each {to_show}{_best(pair)}"
    named = [
        f"{counted(count, 'more soak')} of {level}"
        for count, level in zip(more, (pair.level, pair.against), strict=True)
        if count
    ]
    return f"Start about {' and '.join(named)} {to_show}{_best(pair)}"


def _best(pair: Pair) -> str:
    """How these soaks would show it best."""
    if pair.alternate:
        return f", in pairs of the same week, one of {pair.level} and one of {pair.against} (gillbook trial)"
    return f"; or split soaks between {pair.level} and {pair.against}, far fewer (gillbook trial)"


def _instead(pair: Pair) -> str:
    """What to do where no number of soaks that a farm starts would show it."""
    if pair.varies is DesignKind.BETWEEN and not pair.alternate:
        return f"Split soaks between {pair.level} and {pair.against} (gillbook trial): unsplit, it would"
    return "Choose by cost and work: it would"
