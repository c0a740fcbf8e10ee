"""The confidence levels of all intervals, each said once. In the texts of contracts they stand as {level} and
{report_level}.
"""

from __future__ import annotations

LEVEL = 0.95  # of every interval, unless another is asked: common practice, no source
# Of comparisons that are looked at again and again (the report, compare without a factor): 95 % would become 88 % by
# the sixth look.
STANDING_LEVEL = 0.99


def percent(level: float) -> str:
    """Return a level as a sentence says it: "99 %"."""
    return f"{100 * level:.0f} %"
