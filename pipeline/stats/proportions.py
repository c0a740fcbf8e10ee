"""Limits of shares, with the soak as the unit of replication: no spread between soaks is no evidence of none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from pipeline.stats.estimate import Limits, t_critical

LEAST_SOAKS = 3


class NoInterval(StrEnum):
    """Why a share has no interval."""

    CONTAINERS = "containers of one soak are not independent"
    FEW_SOAKS = "fewer than three soaks"
    NO_SPREAD = "every soak lost the same share"


@dataclass(frozen=True)
class SoakShares:
    """The shares (in %) of several soaks, in brief; None where there are too few soaks to have one."""

    soaks: int
    mean: float | None
    sd: float | None
    least: float | None
    most: float | None


def possible_share(soaks: int, alpha: float = 0.05) -> float:
    """Return the share that is still possible where none of so many soaks is affected: 1 - alpha^(1/soaks).

    The exact one-sided binomial bound for soaks: at .05, 3 allow 63 %, 6 allow 39 %.
    """
    return float(1 - alpha ** (1 / soaks))


def share_interval(shares: SoakShares) -> Limits | NoInterval:
    """Return the limits (in %, at confidence.LEVEL) of the mean share lost, or why there are none.

    Soaks are the unit of replication: m -+ t(.975, b - 1) sd / sqrt(b) over the shares of b soaks, clipped to 0 and
    100. Where none of b soaks is affected (or all are, wholly), zero spread is no evidence: a share of 1 - .05^(1/b) is
    still possible (exact binomial, one-sided). Not for fewer than three soaks, nor for containers, which share their
    soak's fate.
    Checked against: t table values; 1 - .05^(1/3) = 63 %, 1 - .05^(1/6) = 39 %.
    """
    if shares.soaks < LEAST_SOAKS:
        return NoInterval.FEW_SOAKS
    possible = 100 * possible_share(shares.soaks)
    if shares.most == 0:
        return 0.0, possible
    if shares.least == 100:
        return 100 - possible, 100.0
    if shares.least == shares.most or shares.mean is None or shares.sd is None:
        return NoInterval.NO_SPREAD
    half = t_critical(shares.soaks - 1) * shares.sd / shares.soaks**0.5
    return max(0.0, shares.mean - half), min(100.0, shares.mean + half)


def share_limits(values: Sequence[float], limits: Limits | None) -> Limits | None:
    """Return the limits (in %) of the mean share of soaks. values: the soaks' shares; limits: from their spread.

    Clipped to 0 and 100. Where all soaks have 0 (or all have 100) the bound of possible_share is the limit, from three
    soaks on; where they all have another share, there is none.
    """
    if limits is not None:
        return max(0.0, limits[0]), min(100.0, limits[1])
    if len(values) < LEAST_SOAKS:
        return None
    bound = 100 * possible_share(len(values))
    if max(values) == 0:
        return 0.0, bound
    return (100 - bound, 100.0) if min(values) == 100 else None
