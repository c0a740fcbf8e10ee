"""Levels compared where some batches are split and others are not: one fit to the cell means of all batches."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.estimate import Estimate

Matrix = NDArray[np.float64]
Places = NDArray[np.int64]

# Correlation that the fit takes two cells of one batch to have: a working value, which the standard error does not
# trust. Our choice, supported by simulation (tests/calibrate.py).
WORKING_CORRELATION = 0.5


@dataclass(frozen=True)
class BatchBlock:
    """The batches that have equally many cells. rows: one per batch, the places of its cells in the fit; kinds: one per
    batch, the place of its design among the unlike `designs` (cells x columns each); residuals: one row per batch;
    covariance, weight: the working covariance of the cells of one batch, and its inverse.
    """

    rows: Places
    kinds: Places
    designs: Matrix
    residuals: Matrix
    covariance: Matrix
    weight: Matrix


@dataclass(frozen=True)
class ClusterFit:
    """A fit to the cells of several batches: its coefficients, one per column of the design."""

    names: tuple[Hashable, ...]
    coefficients: Matrix
    bread: Matrix  # (sum X' W X)^-1
    blocks: tuple[BatchBlock, ...]

    @property
    def batches(self) -> int:
        """The number of batches."""
        return sum(len(each.rows) for each in self.blocks)

    @property
    def of_single_cells(self) -> bool:
        """Whether no batch has several cells."""
        return all(each.rows.shape[1] == 1 for each in self.blocks)

    def contrast(self, weights: Sequence[float]) -> Estimate:
        """Return the sum of the coefficients times these weights (one each), with the CR2 standard error and
        Satterthwaite degrees of freedom.

        The error is 0 where the residuals are; there are no degrees of freedom where no batch shows a spread.
        """
        at = np.asarray(weights, dtype=float)
        value = float(at @ self.coefficients)
        # What the residuals of each batch add to the value: its adjusted weights, sum over batches squared.
        pulls = [pulls @ at for pulls in self._pulls]
        squares = sum(
            float((((pull[each.kinds] * each.residuals).sum(1)) ** 2).sum())
            for pull, each in zip(pulls, self.blocks, strict=True)
        )
        trace, kernel_squares = self._kernel(pulls)
        if not trace > 1e-12 * float(at @ self.bread @ at):
            return Estimate(value)
        return Estimate(value, squares**0.5, trace**2 / kernel_squares)

    def pooled(self, weights: Sequence[float]) -> Estimate:
        """Return the same sum with the larger of its CR2 and its model-based standard error, and residual degrees of
        freedom: for designs that leave Satterthwaite's too few. For batches of one cell each.

        SE^2 = s^2 c' (X' W X)^-1 c with s^2 = r' W r / (n - p). Of designs that mix another factor 3:1 to 10:1, false
        alarms are 2 to 4.7 % (nominal 5), also where the batches of one side or label spread twice as much, as long as
        no side has over twice as many batches; with 8 against 1 of them up to 10 % (3,000 farms each). CR2 with
        residual degrees: 7 to 19 %.
        """
        at = np.asarray(weights, dtype=float)
        degrees = self.batches - len(self.names)
        robust = self.contrast(weights)
        if degrees < 1:
            return robust
        squares = sum(float((each.residuals @ each.weight * each.residuals).sum()) for each in self.blocks)
        error = (squares / degrees * float(at @ self.bread @ at)) ** 0.5
        return Estimate(robust.value, max(error, robust.standard_error or 0.0), float(degrees))

    def difference(self, level: Hashable, against: Hashable) -> Estimate:
        """Return by how much one level's coefficient lies above another's."""
        at = [float(name == level) - float(name == against) for name in self.names]
        return self.contrast(at)

    def level(self, name: Hashable) -> Estimate:
        """Return the coefficient of this level."""
        return self.contrast([float(each == name) for each in self.names])

    def row_weights(self, weights: Sequence[float]) -> Matrix:
        """Return by how much the sum of the coefficients times these weights rises with the value of each cell."""
        at = self.bread @ np.asarray(weights, dtype=float)
        found = np.zeros(sum(each.rows.size for each in self.blocks))
        for each in self.blocks:
            found[each.rows] = (each.designs @ at @ each.weight)[each.kinds]
        return found

    @cached_property
    def _pulls(self) -> list[Matrix]:
        """A_j W_j X_j M of each unlike design of each block."""
        return [adjustments(each, self.bread) @ each.weight @ each.designs @ self.bread for each in self.blocks]

    def _kernel(self, pulls: Sequence[Matrix]) -> tuple[float, float]:
        """The trace, and the sum of squares, of the covariances K of the pulls of any two batches, where the working
        covariance Phi holds.

        K_ij = a_i' (I - H)_i Phi (I - H)_j' a_j = [i = j] a_j' Phi_j a_j - s_i' M s_j, with s_j = X_j' a_j and
        M = (X' W X)^-1. Summed over batches of one design at once, never batch by batch: with G = sum s s', the squares
        are sum own (own - 2 s' M s) + tr(M G M G).
        """
        trace, squares, together = 0.0, 0.0, np.zeros_like(self.bread)
        for pull, each in zip(pulls, self.blocks, strict=True):
            count = np.bincount(each.kinds, minlength=len(each.designs))
            own = (pull @ each.covariance * pull).sum(1)
            sides = (each.designs * pull[:, :, None]).sum(1)
            shared = (sides @ self.bread * sides).sum(1)
            trace += float(count @ (own - shared))
            squares += float(count @ (own * (own - 2 * shared)))
            together += sides.T @ (sides * count[:, None])
        half = self.bread @ together
        return trace, squares + float((half * half.T).sum())


def adjustments(block: BatchBlock, bread: Matrix) -> Matrix:
    """Return, of each unlike design, the matrix that enlarges a batch's residuals so that their squares are unbiased
    where the working covariance holds.

    A = D' B^(-1/2) D with Phi = D' D and B = D (Phi - X M X') D' (Bell & McCaffrey 2002; Pustejovsky & Tipton 2018, J.
    Bus. Econ. Stat. 36:672-683, doi 10.1080/07350015.2016.1247004). The root is that of the pseudo-inverse: a batch
    that alone has a level has no residual to enlarge.
    """
    root = np.linalg.cholesky(block.covariance).T
    taken = block.designs @ bread @ block.designs.transpose(0, 2, 1)
    values, vectors = np.linalg.eigh(root @ (block.covariance - taken) @ root.T)
    positive = values > 1e-10 * float(np.trace(block.covariance))
    inverse = np.where(positive, 1 / np.sqrt(np.where(positive, values, 1.0)), 0.0)
    enlarged: Matrix = root.T @ (vectors * inverse[:, None, :]) @ vectors.transpose(0, 2, 1) @ root
    return enlarged


def fit(
    batches: Sequence[Hashable],
    design: Matrix,
    values: Sequence[float] | Matrix,
    names: Sequence[Hashable],
    correlation: float = WORKING_CORRELATION,
    kinds: Places | None = None,
) -> ClusterFit:
    """Return the generalised least squares fit with one working correlation within batches.

    batches, values: one entry per cell; design: one column per name, one row per cell; with kinds (one per cell, the
    place of its row) one row per kind. Raises numpy.linalg.LinAlgError where the columns are not independent.
    """
    observed = np.asarray(values, dtype=float)
    if kinds is None:
        design, kinds = np.unique(design, axis=0, return_inverse=True)
        kinds = kinds.reshape(-1).astype(np.int64)
    blocks = [_block(rows, design, kinds, observed, correlation) for rows in _by_size(batches)]
    normal, gave = np.zeros((len(names), len(names))), np.zeros(len(names))
    for each in blocks:
        count = np.bincount(each.kinds, minlength=len(each.designs))
        weighted = each.designs.transpose(0, 2, 1) @ each.weight
        normal += ((weighted @ each.designs) * count[:, None, None]).sum(0)
        gave += (weighted[each.kinds] @ observed[each.rows][:, :, None]).sum(0)[:, 0]
    bread: Matrix = np.linalg.inv(normal).astype(float)
    coefficients: Matrix = bread @ gave
    left = observed - (design @ coefficients)[kinds]
    fitted = tuple(replace(each, residuals=left[each.rows]) for each in blocks)
    return ClusterFit(tuple(names), coefficients, bread, fitted)


def _by_size(batches: Sequence[Hashable]) -> list[Places]:
    """The places of the cells of each batch: one array per number of cells that batches have, one row per batch."""
    if len(set(batches)) == len(batches):
        return [np.arange(len(batches), dtype=np.int64)[:, None]]
    place: dict[Hashable, int] = {}
    codes = np.array([place.setdefault(batch, len(place)) for batch in batches], dtype=np.int64)
    rows, counts = np.argsort(codes, kind="stable"), np.bincount(codes)
    starts = np.cumsum(counts) - counts
    return [rows[starts[counts == size][:, None] + np.arange(size)] for size in dict.fromkeys(counts.tolist())]


def _block(rows: Places, design: Matrix, kinds: Places, observed: Matrix, correlation: float) -> BatchBlock:
    """The block of these batches, its residuals the observed values until they are fitted."""
    size = rows.shape[1]
    every, own = np.unique(kinds[rows], axis=0, return_inverse=True)
    covariance = np.full((size, size), correlation) + (1 - correlation) * np.eye(size)
    weight: Matrix = np.linalg.inv(covariance).astype(float)
    return BatchBlock(rows, own.reshape(-1).astype(np.int64), design[every], observed[rows], covariance, weight)


def mixed(
    batches: Sequence[Hashable],
    levels: Sequence[Hashable],
    values: Sequence[float],
    correlation: float = WORKING_CORRELATION,
) -> ClusterFit:
    """Return the fit of one coefficient per level to cells of which some batches have several and others one.

    batches, levels, values: one entry per cell. Generalised least squares on cell means with a working correlation of
    .5 within batches, the CR2 standard error and Bell and McCaffrey's (Satterthwaite) degrees of freedom: see
    adjustments. It reduces to the paired t for complete splits, and to Welch's standard error with Bell and McCaffrey's
    degrees for batches that have one level each. Below 2 degrees of freedom it supports no verdict.
    Checked against: R gls and clubSandwich (coef_test, CR2, Satterthwaite) on nlme::Machines with cells left out.
    """
    names = list(dict.fromkeys(levels))
    design = np.array([[float(level == name) for name in names] for level in levels])
    return fit(batches, design, values, names, correlation)
