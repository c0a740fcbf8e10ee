"""The flushes of each group with their decline: the plain sums of the measures, and the estimates beside them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import TYPE_CHECKING

from pipeline.growth.decline import decline_per_flush
from pipeline.growth.declines_of_groups import FlushOfGroup, declines_of_groups
from pipeline.models import measures
from pipeline.models.flush_rule import DerivedShare, unsure_groups
from pipeline.models.known_flushes import KnownFlushes, known_flushes
from schemas.contract import contract
from schemas.result_rows import labels_of, whole_of

if TYPE_CHECKING:
    from pipeline.models.view import LedgerView
    from schemas.result_rows import ResultRow, ResultRows

ONE_SOAK = "fewer than two soaks"
NOTHING_PICKED = "flush 1 gave nothing yet"


def flushes(view: LedgerView) -> ResultRows:
    """How the flushes follow each other. One record per group and flush, with the columns of the `flushes` contract,
    estimates included.
    """
    return flushes_and_declines(view)[0]


def declines(view: LedgerView) -> ResultRows:
    """By how much each flush gives less than the one before. One record per group, with the columns of the `declines`
    contract.
    """
    return [*flushes_and_declines(view)[1]]


def flushes_and_declines(view: LedgerView, known: KnownFlushes | None = None) -> tuple[ResultRows, Iterator[ResultRow]]:
    """Both of them: what they share is read and estimated once; the records of `declines` when they are asked for.
    known: the view's flushes, where they were read.
    """
    sums = measures.flushes(view)
    unsure = unsure_groups(view, sums)
    estimated = declines_of_groups((known or known_flushes(view)).flushes())
    groups = {tuple(called.values()): group for group, called in view.groups().items() if group in estimated}
    for called, row in zip(labels_of(sums, view.query.by), sums, strict=True):
        # Into the rows themselves, of which a large farm has 85,000.
        row.update(_estimates(whole_of(row, "flush"), estimated.get(groups.get(called, -1), {}), unsure[called].why))
    return sums, (
        {**dict(zip(view.query.by, called, strict=True)), **_per_flush(estimated[group], unsure[called])}
        for called, group in groups.items()
    )


def _estimates(flush: int, of_group: Mapping[int, FlushOfGroup], unsure: str | None) -> ResultRow:
    """The estimated columns of a flush of a group."""
    found = of_group.get(flush)
    if found is None:
        return _not_known("no day of inoculation")
    if flush == 1:
        return _itself() if found.first_gave else _not_known(NOTHING_PICKED)
    why, started, gave = unsure or found.why, found.started, found.gave
    if why:
        return _not_known(why)
    if started is None or gave is None or started.value is None:
        return _not_known(NOTHING_PICKED)
    return {
        "decline_started": started.value,
        "decline_started_low": started.low,
        "decline_started_high": started.high,
        "decline_gave": gave.value,
        "decline_gave_low": gave.low,
        "decline_gave_high": gave.high,
        "why_no_decline": None if started.soaks > 1 else ONE_SOAK,
    }


@cache
def _not_known(why: str | None) -> ResultRow:
    return {**dict.fromkeys(each.name for each in contract("flushes").fields if each.estimated), "why_no_decline": why}


@cache
def _itself() -> ResultRow:
    """Flush 1 against itself."""
    return {**_not_known(None), "decline_started": 1.0, "decline_gave": 1.0}


def _per_flush(of_group: Mapping[int, FlushOfGroup], unsure: DerivedShare) -> ResultRow:
    estimated = [
        (flush, each.started)
        for flush, each in of_group.items()
        if flush > 1 and not unsure.why and not each.why and each.started is not None
    ]
    found = decline_per_flush(estimated)
    why = unsure.why
    if not why and found is None:
        why = "no flush after the first is told yet"
    elif found and found.low is None:
        why = ONE_SOAK
    return {
        "soaks": found.soaks if found else 0,
        "flushes_used": found.flushes if found else 0,
        "decline_per_flush_pct": found.pct if found else None,
        "decline_per_flush_low_pct": found.low if found else None,
        "decline_per_flush_high_pct": found.high if found else None,
        "why_no_decline": why,
        "derived_pct": None if unsure.share is None else 100 * unsure.share,
    }
