"""Levels compared where some batches are split and others are not: one fit to the cell means of all batches."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipeline.stats.estimate import Estimate
from pipeline.stats.numbering import Places, first_of_each, in_order, numbered, numbered_together

Matrix = NDArray[np.float64]

# Correlation that the fit takes two cells of one batch to have: a working value, which the standard error does not
# trust. Our choice, supported by simulation (tests/calibrate.py).
WORKING_CORRELATION = 0.5
ROUNDING = 1e-12  # of a fitted value


@dataclass(frozen=True)
class BatchBlock:
    """The batches that have equally many unlike rows of the design. A batch's cells of one row stand once, as their sum
    over the root of their number: only that is told of them (see fit). rows: one per batch, the places of its sums in
    the fit; kinds: one per batch, the place of its design among the unlike `designs` (sums x columns each); roots: of
    each design the roots of the numbers of cells; residuals: one row per batch.
    """

    rows: Places
    kinds: Places
    designs: Matrix
    roots: Matrix
    residuals: Matrix
    correlation: float

    @property
    def counts(self) -> Places:
        """How many batches have each design."""
        return np.bincount(self.kinds, minlength=len(self.designs))

    def weighted(self, rows: Matrix) -> Matrix:
        """Return the inverse of each design's working covariance, (1 - c) I + c u u' with the roots u, times rows (one
        per sum; designs x sums x any).
        """
        own = self.correlation / (1 - self.correlation + self.correlation * (self.roots**2).sum(1))
        shared = self.roots[:, None, :] @ rows
        found: Matrix = (rows - own[:, None, None] * self.roots[:, :, None] * shared) / (1 - self.correlation)
        return found


@dataclass(frozen=True)
class ClusterFit:
    """A fit to the cells of several batches: its coefficients, one per column of the design. sums: one per cell, the
    place of the sum that it is in; sizes: how many cells are in each sum.
    """

    names: tuple[Hashable, ...]
    coefficients: Matrix
    bread: Matrix  # (sum X' W X)^-1
    blocks: tuple[BatchBlock, ...]
    sums: Places
    sizes: Places

    @property
    def batches(self) -> int:
        """The number of batches."""
        return sum(len(each.rows) for each in self.blocks)

    @property
    def of_single_cells(self) -> bool:
        """Whether no batch has several cells."""
        return self.batches == len(self.sums)

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
        squares = sum(float((each.residuals**2).sum()) for each in self.blocks)
        error = (squares / degrees * float(at @ self.bread @ at)) ** 0.5
        return Estimate(robust.value, max(error, robust.standard_error or 0.0), float(degrees))

    def welch_degrees(self, weights: Sequence[float], groups: Places) -> float | None:
        """Return the degrees of freedom of the same sum with the spread that each group of cells showed, by Welch's
        way: (sum V)^2 / sum (V^2 / f), V what a group's residuals add to the squared error, f its cells less what the
        fit takes of them. groups: one entry per cell. None where batches have several cells, and without a spread.

        Of two groups and nothing beside them it is Welch's (1947). That it holds beside other columns is supported by
        simulation only (tests/calibrate_sites.py).
        """
        if not self.of_single_cells:
            return None
        (block,), (pulls,) = self.blocks, self._pulls
        own = (pulls @ np.asarray(weights, dtype=float))[block.kinds, 0] * block.residuals[:, 0]
        left = 1 - (block.designs @ self.bread * block.designs).sum(2)[block.kinds, 0]
        at = groups[block.rows[:, 0]]
        squares, free = np.bincount(at, own**2), np.bincount(at, left)
        shows = squares > 0
        if not shows.any():
            return None
        return float(squares.sum() ** 2 / (squares[shows] ** 2 / free[shows]).sum())

    def difference(self, level: Hashable, against: Hashable) -> Estimate:
        """Return by how much one level's coefficient lies above another's."""
        at = [float(name == level) - float(name == against) for name in self.names]
        return self.contrast(at)

    def level(self, name: Hashable) -> Estimate:
        """Return the coefficient of this level."""
        return self.contrast([float(each == name) for each in self.names])

    def row_weights(self, weights: Sequence[float]) -> Matrix:
        """Return by how much the sum of the coefficients times these weights rises with the value of each cell."""
        found = np.zeros(len(self.sizes))
        for own, each in zip(self._own_weights(weights), self.blocks, strict=True):
            found[each.rows] = own[each.kinds]
        return (found / np.sqrt(self.sizes))[self.sums]

    def batch_weights(self, weights: Sequence[float]) -> Matrix:
        """Return by how much it rises with the values of all cells of each batch."""
        found = zip(self._own_weights(weights), self.blocks, strict=True)
        return np.concatenate([(own * each.roots).sum(1)[each.kinds] for own, each in found])

    def _own_weights(self, weights: Sequence[float]) -> list[Matrix]:
        """By how much it rises with each sum, of each unlike design of each block."""
        at = (self.bread @ np.asarray(weights, dtype=float))[:, None]
        return [each.weighted(each.designs @ at)[:, :, 0] for each in self.blocks]

    @cached_property
    def _pulls(self) -> list[Matrix]:
        """A_j W_j X_j M of each unlike design of each block."""
        return [_pulled(each, self.bread) for each in self.blocks]

    def _kernel(self, pulls: Sequence[Matrix]) -> tuple[float, float]:
        """The trace, and the sum of squares, of the covariances K of the pulls of any two batches, where the working
        covariance Phi holds.

        K_ij = a_i' (I - H)_i Phi (I - H)_j' a_j = [i = j] a_j' Phi_j a_j - s_i' M s_j, with s_j = X_j' a_j and
        M = (X' W X)^-1. Summed over batches of one design at once, never batch by batch: with G = sum s s', the squares
        are sum own (own - 2 s' M s) + tr(M G M G).
        """
        trace, squares, together = 0.0, 0.0, np.zeros_like(self.bread)
        for pull, each in zip(pulls, self.blocks, strict=True):
            count, c = each.counts, each.correlation
            own = (1 - c) * (pull**2).sum(1) + c * (pull * each.roots).sum(1) ** 2
            sides = (each.designs * pull[:, :, None]).sum(1)
            shared = (sides @ self.bread * sides).sum(1)
            trace += float(count @ (own - shared))
            squares += float(count @ (own * (own - 2 * shared)))
            together += sides.T @ (sides * count[:, None])
        half = self.bread @ together
        return trace, squares + float((half * half.T).sum())


def _pulled(block: BatchBlock, bread: Matrix) -> Matrix:
    """A W X M of each unlike design. What lies beyond the columns of X and the roots, A leaves as it is and W X M has
    nothing of: so where there are fewer of these than sums, all is told in as many dimensions.
    """
    designs, roots = block.designs, block.roots
    if designs.shape[1] <= designs.shape[2] + 1:
        return adjustments(block, bread) @ block.weighted(designs) @ bread
    axes, _ = np.linalg.qr(np.concatenate([designs, roots[:, :, None]], axis=2))
    turned = axes.transpose(0, 2, 1)
    small = replace(block, designs=turned @ designs, roots=(turned @ roots[:, :, None])[:, :, 0])
    found: Matrix = axes @ (adjustments(small, bread) @ small.weighted(small.designs) @ bread)
    return found


def adjustments(block: BatchBlock, bread: Matrix) -> Matrix:
    """Return, of each unlike design, the matrix that enlarges a batch's residuals so that their squares are unbiased
    where the working covariance holds.

    A = D B^(-1/2) D with Phi = D D and B = D (Phi - X M X') D (Bell & McCaffrey 2002; Pustejovsky & Tipton 2018, J.
    Bus. Econ. Stat. 36:672-683, doi 10.1080/07350015.2016.1247004). The root is that of the pseudo-inverse: a batch
    that alone has a level has no residual to enlarge.
    """
    c, cells = block.correlation, (block.roots**2).sum(1)
    own, shared = np.eye(block.roots.shape[1]), block.roots[:, :, None] * block.roots[:, None, :]
    least = (1 - c) ** 0.5
    root = least * own + ((np.sqrt(1 - c + c * cells) - least) / cells)[:, None, None] * shared
    covariance = (1 - c) * own + c * shared
    taken = block.designs @ bread @ block.designs.transpose(0, 2, 1)
    values, vectors = np.linalg.eigh(root @ (covariance - taken) @ root)
    positive = values > 1e-10 * cells[:, None]
    inverse = np.where(positive, 1 / np.sqrt(np.where(positive, values, 1.0)), 0.0)
    turned = root @ vectors
    enlarged: Matrix = (turned * inverse[:, None, :]) @ turned.transpose(0, 2, 1)
    return enlarged


def fit(
    batches: Sequence[Hashable] | Places,
    design: Matrix,
    values: Sequence[float] | Matrix,
    names: Sequence[Hashable],
    correlation: float = WORKING_CORRELATION,
    kinds: Places | None = None,
) -> ClusterFit:
    """Return the generalised least squares fit with one working correlation within batches.

    batches, values: one entry per cell; design: one column per name, one row per cell; with kinds (one per cell, the
    place of its row) one row per kind. Cells of one batch with one row enter by their sum alone: the working covariance
    and the design treat them alike, so how they differ among themselves moves no coefficient, and the CR2 weights are
    the same for all of them. Raises numpy.linalg.LinAlgError where the columns are not independent.
    """
    observed = np.asarray(values, dtype=float)
    if kinds is None:
        design, kinds = np.unique(design, axis=0, return_inverse=True)
        kinds = kinds.reshape(-1).astype(np.int64)
    codes = _numbered(batches)
    # With the first of each numpy sorts by merging: quick where most batches have one cell, and so stand in order.
    keys, _, sums, sizes = np.unique(
        codes * len(design) + kinds, return_index=True, return_inverse=True, return_counts=True
    )
    of_batch, of_kind = keys // len(design), keys % len(design)
    roots = np.sqrt(sizes)
    found = np.bincount(sums, observed) / roots
    blocks = [_block(rows, design, of_kind, sizes, found, correlation) for rows in _by_size(of_batch)]
    normal, gave = np.zeros((len(names), len(names))), np.zeros(len(names))
    for each in blocks:
        weighted = each.weighted(each.designs)
        normal += (each.designs.transpose(0, 2, 1) @ weighted * each.counts[:, None, None]).sum(0)
        together = [np.bincount(each.kinds, column, len(each.designs)) for column in each.residuals.T]
        gave += (weighted * np.column_stack(together)[:, :, None]).sum((0, 1))
    bread: Matrix = np.linalg.inv(normal).astype(float)
    coefficients: Matrix = bread @ gave
    left = found - (design @ coefficients)[of_kind] * roots
    # What is left of rounding alone is nothing: where all cells agree there is no spread.
    left[np.abs(left) <= ROUNDING * roots * (np.abs(design) @ np.abs(coefficients))[of_kind]] = 0.0
    fitted = tuple(replace(each, residuals=left[each.rows]) for each in blocks)
    return ClusterFit(tuple(names), coefficients, bread, fitted, sums, sizes)


def _numbered(batches: Sequence[Hashable] | Places) -> Places:
    """The number of each cell's batch, from 0, in the order in which they come."""
    if isinstance(batches, np.ndarray):
        own = numbered(batches)
        return in_order(first_of_each(own), own)[1]
    place: dict[Hashable, int] = {}
    return np.array([place.setdefault(batch, len(place)) for batch in batches], dtype=np.int64)


def _by_size(of_batch: Places) -> list[Places]:
    """The places of the sums of each batch: one array per number of sums that batches have, one row per batch.
    of_batch: one per sum, rising.
    """
    counts = np.bincount(of_batch)
    starts = np.cumsum(counts) - counts
    return [starts[counts == size][:, None] + np.arange(size) for size in np.unique(counts)]


def _block(
    rows: Places, design: Matrix, kinds: Places, sizes: Places, observed: Matrix, correlation: float
) -> BatchBlock:
    """The block of these batches, its residuals the observed sums until they are fitted."""
    own = numbered_together((*kinds[rows].T, *sizes[rows].T), len(rows))
    first = first_of_each(own)
    of_kind, of_root = kinds[rows[first]], np.sqrt(sizes[rows[first]])
    return BatchBlock(rows, own, design[of_kind] * of_root[:, :, None], of_root, observed[rows], correlation)


def mixed(
    batches: Sequence[Hashable] | Places,
    levels: Sequence[Hashable],
    values: Sequence[float] | Matrix,
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
    place = {name: at for at, name in enumerate(names)}
    kinds = np.array([place[level] for level in levels], dtype=np.int64)
    return fit(batches, np.eye(len(names)), values, names, correlation, kinds)
