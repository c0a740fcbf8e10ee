"""The flushes of each group with their decline: the plain sums of the measures, and the estimates beside them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from pipeline.growth.decline import Resolved, decline_gave, decline_per_flush, decline_started, too_early
from pipeline.models import measures
from pipeline.models.flush_rule import DerivedShare, unsure_groups
from pipeline.models.resolved_flushes import ResolvedFlushes, resolved_flushes
from pipeline.models.unit_arrays import numbered
from pipeline.stats.ratio import Ratio
from schemas.contract import contract

if TYPE_CHECKING:
    from pipeline.models.view import LedgerView
    from schemas.result_rows import ResultRow, ResultRows

ONE_SOAK = "fewer than two soaks"
NOTHING_PICKED = "flush 1 gave nothing yet"
# Flush 1 against itself.
ITSELF: ResultRow = {"decline_started": 1.0, "decline_gave": 1.0}


def flushes(view: LedgerView) -> ResultRows:
    """How the flushes follow each other. One record per group and flush, with the columns of the `flushes` contract,
    estimates included.
    """
    unsure = unsure_groups(view)
    estimated = {
        (*called.values(), flush): record
        for called, flush, record in (
            (called, flush, _estimates(resolved, flush, oldest, unsure[(*called.values(),)].why))
            for called, by_flush, oldest in _groups_resolved(view)
            for flush, resolved in by_flush.items()
        )
    }
    nothing = dict.fromkeys(each.name for each in contract("flushes").fields if each.estimated)
    undated = {"why_no_decline": "no day of inoculation"}
    return [
        {**row, **nothing, **estimated.get((*(row[name] for name in view.query.by), row["flush"]), undated)}
        for row in measures.flushes(view)
    ]


def declines(view: LedgerView) -> ResultRows:
    """By how much each flush gives less than the one before. One record per group, with the columns of the `declines`
    contract.
    """
    unsure = unsure_groups(view)
    return [
        {**called, **_per_flush(by_flush, oldest, unsure[(*called.values(),)])}
        for called, by_flush, oldest in _groups_resolved(view)
    ]


def _groups_resolved(
    view: LedgerView,
) -> list[tuple[dict[str, str], dict[int, Resolved], dict[int, float]]]:
    """Per group: what it is called, its containers by flush, and the oldest age (days) by flush at which that flush was
    ever told on the farm. Containers that gave nothing in either flush add to no sum.
    """
    table = resolved_flushes(view)
    if not len(table):
        return []
    oldest = _oldest_resolved(table)
    found = []
    for group, called in view.groups().items():
        own = table.where(table.group_id == group)
        if len(own):
            found.append((called, {flush: _resolved(own, flush) for flush in oldest}, oldest))
    return found


def _oldest_resolved(table: ResolvedFlushes) -> dict[int, float]:
    tells = ((table.fresh_g > 0) | (table.fresh_g_first > 0)) & ~np.isnan(table.resolved_age)
    return {
        int(flush): float(np.max(table.resolved_age[tells & (table.flush == flush)], initial=0.0))
        for flush in np.unique(table.flush)
    }


def _resolved(own: ResolvedFlushes, flush: int) -> Resolved:
    of = own.where(own.flush == flush)
    return Resolved(numbered(of.soak_no), of.age, of.resolved_age, of.fresh_g, of.fresh_g_first)


def _estimates(resolved: Resolved, flush: int, oldest: Mapping[int, float], unsure: str | None) -> ResultRow:
    if flush == 1:
        return dict(ITSELF) if resolved.first.any() else {"why_no_decline": NOTHING_PICKED}
    why = unsure or too_early(resolved, oldest[flush])
    if why:
        return {"why_no_decline": why}
    started, gave = decline_started(resolved), decline_gave(resolved)
    if started.value is None:
        return {"why_no_decline": NOTHING_PICKED}
    return {
        **_named("decline_started", started),
        **_named("decline_gave", gave),
        "why_no_decline": None if started.soaks > 1 else ONE_SOAK,
    }


def _named(name: str, ratio: Ratio) -> ResultRow:
    return {name: ratio.value, f"{name}_low": ratio.low, f"{name}_high": ratio.high}


def _per_flush(by_flush: Mapping[int, Resolved], oldest: Mapping[int, float], unsure: DerivedShare) -> ResultRow:
    estimated = [
        (flush, decline_started(resolved))
        for flush, resolved in by_flush.items()
        if flush > 1 and not unsure.why and not too_early(resolved, oldest[flush])
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
