"""The interval of a share lost, from the shares of soaks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

# What losses.sql tells of the soaks' shares, in %.
SHARES = ("mean_share", "sd_share", "least_share", "most_share")
LEAST_SOAKS = 3


def possible_share(soaks: int, alpha: float = 0.05) -> float:
    """Which share of containers may truly be affected where none of so many soaks was? 1 - alpha^(1/b).

    The exact one-sided binomial bound for soaks: at .05, 3 allow 63 %, 6 allow 39 %.
    """
    return float(1 - alpha ** (1 / soaks))


def share_interval(soaks: int, share: Mapping[str, Any], of_containers: bool) -> dict[str, Any]:
    """Between which limits does the mean share lost of soaks lie, at 95 %?

    low_pct, high_pct (in %, null without an interval) and why_no_interval (null with one). Soaks are the unit of
    replication: m -+ t(.975, b - 1) sd / sqrt(b) over the shares of b soaks, clipped to 0 and 100. Where none of b
    soaks is affected (or all are, wholly), zero spread is no evidence: a share of 1 - .05^(1/b) is still possible
    (exact binomial, one-sided). Not for fewer than three soaks, nor for containers, which share their soak's fate.
    Checked against: t table values; 1 - .05^(1/3) = 63 %, 1 - .05^(1/6) = 39 %.
    """
    if of_containers:
        return _none("containers of one soak are not independent")
    if soaks < LEAST_SOAKS:
        return _none("fewer than three soaks")
    least, most = share["least_share"], share["most_share"]
    possible = 100 * possible_share(soaks)
    if most == 0:
        return _some(0.0, possible)
    if least == 100:
        return _some(100 - possible, 100.0)
    if least == most:
        return _none("every soak lost the same share")
    from scipy.special import stdtrit

    half = float(stdtrit(soaks - 1, 0.975)) * share["sd_share"] / soaks**0.5
    return _some(max(0.0, share["mean_share"] - half), min(100.0, share["mean_share"] + half))


def _none(why: str) -> dict[str, Any]:
    return {"low_pct": None, "high_pct": None, "why_no_interval": why}


def _some(low: float, high: float) -> dict[str, Any]:
    return {"low_pct": low, "high_pct": high, "why_no_interval": None}
