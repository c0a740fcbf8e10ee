"""Whether a weight is like what its container gave: one rule, for `weigh` and for the weigh page.

What is usual is told from the container's own last pickings, its fill, and what each flush of the farm gives. It is
asked at the scale alone, where the bucket still stands; `check` has the wider rule of the farm (schemas/pickings.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

# So many times what is usual, or more, is asked about, and so many times less. Chosen by the invented farm (550 first
# pickings of a flush): 4 asks about 0.5 % of them, with 98.5 % of lost and 97.6 % of added digits; 3 about 2 %; 8 finds
# 63 % of lost digits. What comes later in a flush is its rest, in the middle half of what is usual, so it may be
# smaller: 4 would ask about 3.9 % of 153, 8 asks about none, with 99 % of lost digits (tests/test_own_weights.py).
TIMES_OFF, TIMES_LESS_OF_REST = 4, 8
# So many of the last pickings of a container tell what it gives: ours. More would be slow to follow a container that
# changes; one alone may be a slip itself.
LAST_PICKINGS = 3
LIKE_BEFORE = "{weight} is unlike what {container} gave ({before}): about {usual} is usual in flush {flush}"
LIKE_ITS_FILL = "{weight} is unlike a container of its fill: about {usual} is usual in flush {flush}"


class Given(NamedTuple):
    """What one picking of a container gave: its flush, from 1, and its weight in g."""

    flush: int
    weight_g: float


def usual_of_flushes(before: Sequence[Given], most_g: float, shares: Sequence[float]) -> list[float]:
    """Return what one picking of a container usually is, in g, one number a flush from 1 on; the last one holds for
    later flushes too. Empty where nothing is known.

    before: its pickings, the latest last. most_g: the most that one picking of its fill can be. shares: the farm's
    median picking over that most, of flush 1, 2 ... (models/weight_shares.py); empty where too few are known, and its
    own pickings are then compared as they are.
    """
    plain = [share * most_g for share in shares] or [1.0]
    own = sorted(weight / of_flush(plain, flush) for flush, weight in before[-LAST_PICKINGS:])
    if not own:
        return plain if shares else []
    level = (own[(len(own) - 1) // 2] + own[len(own) // 2]) / 2
    return [level * usual for usual in plain]


def of_flush(usual: Sequence[float], flush: int) -> float:
    """Return the number of this flush: the last one's, where it is beyond them."""
    return usual[min(flush, len(usual)) - 1]


def unlike_own(weight_g: float, usual_g: float, rest: bool) -> bool:
    """Whether this weight is to be asked about. rest: its flush was picked before."""
    times_less = TIMES_LESS_OF_REST if rest else TIMES_OFF
    return not usual_g / times_less < weight_g < usual_g * TIMES_OFF
