"""The confidence level of all intervals, said once. In the texts of contracts it stands as {level}."""

from __future__ import annotations

LEVEL = 0.95  # of every interval, unless another is asked: common practice, no source


def percent(level: float) -> str:
    """Return a level as a sentence says it: "95 %"."""
    return f"{100 * level:.0f} %"
