"""A quadratic through points: a curve with its band for the eye, and where its top lies, if that is known."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.stats.distributions import f_above
from pipeline.stats.estimate import t_critical
from schemas.confidence import LEVEL

Numbers = NDArray[np.float64]
Names = ArrayLike  # one per point: the block (soak) that it belongs to
ROUNDING = 1e-9  # what is left of a column, as a share of it, that may be rounding


@dataclass(frozen=True)
class QuadraticFit:
    """y = block + slope x + bend x^2: the two coefficients, their covariance, and the degrees of freedom left."""

    slope: float
    bend: float
    covariance: Numbers
    degrees: int


@dataclass(frozen=True)
class Optimum:
    """Where the quadratic turns, with Fieller's limits. bounded False: the limits enclose what is excluded, so nothing
    is known.
    """

    at: float
    low: float
    high: float
    bounded: bool
    is_top: bool


def quadratic(x: Numbers, y: Numbers, block: Names | None = None) -> QuadraticFit | None:
    """Return the nearest quadratic, with a level of its own for each block (soak); without blocks one for all.

    Ordinary least squares. None where the points do not determine it (too few rates within the blocks, or no degree of
    freedom left).
    Checked against R's lm on nlme::Oats and datasets::CO2, blocks as there.
    """
    within = _Within.of(x, block)
    height = within.taken(y)
    design, scale = within.scaled(np.column_stack([x, x**2]))
    degrees = len(x) - within.blocks - 2
    if degrees < 1 or int(np.linalg.matrix_rank(design, tol=ROUNDING)) < 2:
        return None
    coefficients, *_ = np.linalg.lstsq(design, height, rcond=None)
    rest = height - design @ coefficients
    covariance = np.linalg.inv(design.T @ design) * float(rest @ rest) / degrees / np.outer(scale, scale)
    slope, bend = (coefficients / scale).tolist()
    return QuadraticFit(slope, bend, covariance, degrees)


def optimum(fit: QuadraticFit, level: float = LEVEL) -> Optimum:
    """Return where the quadratic turns, with its limits. Fieller 1954 (J. R. Stat. Soc. B 16:175-185).

    The values of x at which slope + 2 bend x does not differ from 0: the roots of (slope + 2 bend x)^2 = t^2 x its
    variance. Bounded only where the bend itself differs from 0. A delta-method interval would cover 47-90 %
    (simulated). Checked against R: Oats (not bounded), CO2 (bounded).
    """
    t2 = t_critical(fit.degrees, level) ** 2
    (slope_slope, slope_bend), (_, bend_bend) = fit.covariance.tolist()
    square = 4 * (fit.bend**2 - t2 * bend_bend)
    linear = 4 * (fit.slope * fit.bend - t2 * slope_bend)
    constant = fit.slope**2 - t2 * slope_slope
    inside = linear**2 - 4 * square * constant
    at = -fit.slope / (2 * fit.bend)
    if inside < 0 or square == 0:
        return Optimum(at, -math.inf, math.inf, False, fit.bend < 0)
    ends = sorted((-linear + sign * math.sqrt(inside)) / (2 * square) for sign in (1, -1))
    return Optimum(at, ends[0], ends[1], square > 0, fit.bend < 0)


def misfit_p(x: Numbers, y: Numbers, block: Names | None = None) -> float:
    """Return the probability that points of a true quadratic lie at least as far off it at the tested x.

    Lack-of-fit F test against a level for each x (Draper & Smith, Applied Regression Analysis, 2.1); 1 where no degree
    of freedom is left.
    """
    within = _Within.of(x, block)
    height = within.taken(y)
    levels = np.unique(x)
    curved, curved_left = _rest(within, np.column_stack([x, x**2]), height)
    free, free_left = _rest(within, (x[:, None] == levels).astype(np.float64), height)
    more = curved_left - free_left
    if free_left < 1 or more < 1 or free <= 0:
        return 1.0
    return f_above((curved - free) / more / (free / free_left), more, free_left)


@dataclass(frozen=True)
class _Within:
    """Which block each point belongs to. What is left of columns when each block's mean is taken off has the slopes and
    the residuals of a fit with a level for each block (Frisch & Waugh 1933, Econometrica 1:387-401), without a column a
    block.
    """

    place: NDArray[np.intp]
    sizes: Numbers

    @classmethod
    def of(cls, x: Numbers, block: Names | None) -> _Within:
        names = np.zeros(len(x)) if block is None else np.asarray(block)
        _, place, sizes = np.unique(names, return_inverse=True, return_counts=True)
        return cls(place, sizes.astype(np.float64))

    @property
    def blocks(self) -> int:
        return len(self.sizes)

    def taken(self, columns: Numbers) -> Numbers:
        """The columns less their mean in the point's block."""
        sums = np.zeros((self.blocks, *columns.shape[1:]))
        np.add.at(sums, self.place, columns)
        return np.asarray(columns - (sums.T / self.sizes).T[self.place])

    def scaled(self, columns: Numbers) -> tuple[Numbers, Numbers]:
        """The columns less their means in blocks, each of length 1, and the lengths they had. A column that varies
        within no block is 0.
        """
        left = self.taken(columns)
        length = np.sqrt((left**2).sum(axis=0))
        varies = length > ROUNDING * np.sqrt((columns**2).sum(axis=0))
        length[~varies] = 1
        return np.where(varies, left / length, 0.0), length


def _rest(within: _Within, columns: Numbers, height: Numbers) -> tuple[float, int]:
    """The sum of squares that a least-squares fit within blocks leaves, and the degrees of freedom left."""
    design, _ = within.scaled(columns)
    coefficients, _, rank, _ = np.linalg.lstsq(design, height, rcond=ROUNDING)
    rest = height - design @ coefficients
    return float(rest @ rest), len(height) - within.blocks - int(rank)


@dataclass(frozen=True)
class CurveBand:
    """A curve with a band around it, one entry per place."""

    x: Numbers
    y: Numbers
    low: Numbers
    high: Numbers


def band(x: Numbers, y: Numbers, soak: Names, places: int = 41, level: float = LEVEL) -> CurveBand | None:
    """Return the quadratic through the points, with a band for its mean at each place. A picture only.

    Least squares; the band at each place is t(soaks - 1) times a standard error summed by soak (CR1: Liang & Zeger
    1986, Biometrika 73:13-22). None below four soaks, or where the points determine no quadratic.
    """
    names, place = np.unique(np.asarray(soak), return_inverse=True)
    design = np.column_stack([np.ones(len(x)), x, x**2])
    if len(names) < 4 or int(np.linalg.matrix_rank(design)) < 3 or len(x) < 5:
        return None
    inverse = np.linalg.inv(design.T @ design)
    coefficients = inverse @ design.T @ y
    scores = np.zeros((len(names), 3))
    np.add.at(scores, place, design * (y - design @ coefficients)[:, None])
    soaks, points = len(names), len(x)
    grown = soaks / (soaks - 1) * (points - 1) / (points - 3)
    covariance = grown * inverse @ scores.T @ scores @ inverse
    at = np.linspace(float(x.min()), float(x.max()), places)
    basis = np.column_stack([np.ones(places), at, at**2])
    middle = basis @ coefficients
    half = t_critical(soaks - 1, level) * np.sqrt(np.maximum(((basis @ covariance) * basis).sum(axis=1), 0))
    return CurveBand(at, middle, middle - half, middle + half)
