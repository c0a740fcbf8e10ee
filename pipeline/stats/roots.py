"""Where a falling or rising function is 0."""

from __future__ import annotations

from collections.abc import Callable

MOST_STEPS = 60  # some ten are needed


def root(off: Callable[[float], float], low: float, high: float, near: float) -> float:
    """Return where `off` is 0, or nearer to it than `near`: above `low`; `high` is doubled until it lies behind.

    False position, the end that stays halved (the Illinois way: Dowell & Jarratt 1971, BIT 11:168-174).
    """
    at_low, at_high = off(low), off(high)
    for _ in range(MOST_STEPS):
        if (at_high > 0) != (at_low > 0):
            break
        low, at_low, high = high, at_high, 2 * high
        at_high = off(high)
    middle, moved = high, 0  # which end moved last: -1 low, 1 high
    for _ in range(MOST_STEPS):
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        at_middle = off(middle)
        if abs(at_middle) < near:
            break
        if (at_middle > 0) == (at_low > 0):
            low, at_low, at_high = middle, at_middle, at_high / 2 if moved < 0 else at_high
            moved = -1
        else:
            high, at_high, at_low = middle, at_middle, at_low / 2 if moved > 0 else at_low
            moved = 1
    return middle
