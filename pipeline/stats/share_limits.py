"""Shares of containers: no spread at all between soaks is no evidence that there is none."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.stats.proportions import possible_share


def share_limits(values: Sequence[float], limits: tuple[float, float] | None) -> tuple[float, float] | None:
    """Between which limits does the mean share lie, in %? values: the soaks' shares; limits: from their spread.

    Clipped to 0 and 100. Where all soaks have 0 (or all have 100) the bound of possible_share is the limit, from three
    soaks on; where they all have another share, there is none.
    """
    if limits is not None:
        return max(0.0, limits[0]), min(100.0, limits[1])
    if len(values) < 3:
        return None
    bound = 100 * possible_share(len(values))
    if max(values) == 0:
        return 0.0, bound
    return (100 - bound, 100.0) if min(values) == 100 else None
