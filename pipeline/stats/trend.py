"""The slope of a value over an amount, with the batch as the unit of replication."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence

import numpy as np

from pipeline.stats.cluster_robust import Matrix, Places, fit
from pipeline.stats.estimate import Estimate

SLOPE = "slope"


def slope(
    batches: Sequence[Hashable] | Places,
    amounts: Sequence[float] | Matrix,
    values: Sequence[float] | Matrix,
    others: Mapping[Hashable, Matrix] | None = None,
) -> Estimate | None:
    """Return by how much the value rises with one unit of the amount, within batches and between them.

    batches, amounts, values: one entry per cell; others: further columns, by name, that are held alike.
    Generalised least squares with the working correlation, the CR2 standard error and the Satterthwaite degrees of
    freedom of cluster_robust. None where the amount does not vary, or only together with the others.
    Checked against: R lm on nlme::Oats (golden record "log dose slope"), where every block has every dose.
    """
    middle = float(np.mean(amounts))
    names: list[Hashable] = ["all"]
    columns = [np.ones(len(values))]
    for name, column in (others or {}).items():
        if np.linalg.matrix_rank(np.column_stack([*columns, column])) > len(columns):
            names.append(name)
            columns.append(column)
    amount = np.array(amounts, dtype=float) - middle
    scale = float(np.abs(amount).max()) if len(amount) else 0.0
    if not scale or np.linalg.matrix_rank(np.column_stack([*columns, amount / scale])) == len(columns):
        return None
    design = np.column_stack([*columns, amount / scale])
    found = fit(batches, design, values, [*names, SLOPE]).level(SLOPE)
    error = None if found.standard_error is None else found.standard_error / scale
    return Estimate(found.value / scale, error, found.degrees)
