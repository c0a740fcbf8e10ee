"""Two levels held against each other by the names of their batches, with the project's estimators."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping

import numpy as np

from pipeline.stats.estimate import Estimate
from pipeline.stats.two_levels import DesignKind, between, both_ways, design_by_counts, within


def design_of(levels: Collection[Collection[Hashable]]) -> DesignKind:
    """Return where the levels vary. levels: the batches of each level, every batch of a level once."""
    return design_by_counts([len(batches) for batches in levels], len({batch for own in levels for batch in own}))


def difference_of(
    values: Mapping[str, float], against: Mapping[str, float], group: Mapping[str, str] | None = None
) -> Estimate:
    """Return by how much one level lies above the other, by the method of the design that the batches make.

    values, against: one value per batch at each level. group: what stands for several batches as their unit of
    replication (a month, a lot); without an entry a batch stands for itself.
    """
    design = design_of((values, against))
    if group is not None or design is DesignKind.BOTH:
        place: dict[str, int] = {}
        batches = [
            np.array([place.setdefault((group or {}).get(batch, batch), len(place)) for batch in own], dtype=np.int64)
            for own in (values, against)
        ]
        return both_ways((batches[0], [*values.values()]), (batches[1], [*against.values()]))
    if design is DesignKind.BETWEEN:
        return between(list(values.values()), list(against.values()))
    return within([value - against[batch] for batch, value in values.items()])
