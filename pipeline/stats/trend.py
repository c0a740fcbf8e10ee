"""The slope of a value over an amount, with the batch as the unit of replication."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence

import numpy as np

from pipeline.stats.cluster_robust import Matrix, fit
from pipeline.stats.estimate import Estimate
from pipeline.stats.numbering import Places

SLOPE = "slope"
LEAST_ROWS = 100  # our choice, no source: so that a second rounding changes nothing


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
    amount = np.array(amounts, dtype=float) - middle
    scale = float(np.abs(amount).max()) if len(amount) else 0.0
    if not scale:
        return None
    names: list[Hashable] = ["all", *(others or {}), SLOPE]
    design = np.column_stack([np.ones(len(values)), *(others or {}).values(), amount / scale])
    chosen = independent(design)
    if chosen[-1] != len(names) - 1:
        return None
    found = fit(batches, design[:, chosen], values, [names[at] for at in chosen]).level(SLOPE)
    error = None if found.standard_error is None else found.standard_error / scale
    return Estimate(found.value / scale, error, found.degrees)


def independent(design: Matrix) -> list[int]:
    """Return the places of the columns that are no sum of those before, by their singular values.

    Asked of R of X = Q R, whose columns have the singular values of those of X and no more rows than there are columns;
    what is taken for rounding is what numpy takes for it in X, of few rows what it takes in LEAST_ROWS.
    """
    corner: Matrix = np.linalg.qr(design)[1]
    rounding = max(*design.shape, LEAST_ROWS) * np.finfo(float).eps
    chosen: list[int] = []
    for at in range(design.shape[1]):
        if np.linalg.matrix_rank(corner[: at + 1, [*chosen, at]], rtol=rounding) > len(chosen):
            chosen.append(at)
    return chosen
