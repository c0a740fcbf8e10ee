"""A quadratic through points: a curve with its band for the eye, and where its top lies, if that is known."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.stats.estimate import t_critical
from schemas.confidence import LEVEL

Numbers = NDArray[np.float64]
Names = ArrayLike  # one per point: the block (soak) that it belongs to


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
    design = np.column_stack([_columns(block if block is not None else np.zeros(len(x))), x, x**2])
    rank = int(np.linalg.matrix_rank(design))
    degrees = len(x) - rank
    if rank < design.shape[1] or degrees < 1:
        return None
    coefficients, *_ = np.linalg.lstsq(design, y, rcond=None)
    rest = y - design @ coefficients
    covariance = np.linalg.inv(design.T @ design) * float(rest @ rest) / degrees
    return QuadraticFit(float(coefficients[-2]), float(coefficients[-1]), covariance[-2:, -2:], degrees)


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
    from scipy.special import fdtrc

    blocks = _columns(block if block is not None else np.zeros(len(x)))
    curved, curved_left = _rest(np.column_stack([blocks, x, x**2]), y)
    free, free_left = _rest(np.column_stack([blocks, _columns(x)]), y)
    more = curved_left - free_left
    if free_left < 1 or more < 1 or free <= 0:
        return 1.0
    return float(fdtrc(more, free_left, (curved - free) / more / (free / free_left)))


def _columns(names: Names) -> Numbers:
    found, place = np.unique(np.asarray(names), return_inverse=True)
    return np.asarray(np.eye(len(found))[place])


def _rest(design: Numbers, y: Numbers) -> tuple[float, int]:
    """The sum of squares that a least-squares fit leaves, and the degrees of freedom left."""
    coefficients, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    rest = y - design @ coefficients
    return float(rest @ rest), len(y) - int(rank)


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
