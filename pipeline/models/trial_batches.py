"""What a trial is planned from: the finished containers of a farm, the names that are taken, the usual batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.models.view import LedgerView


@dataclass(frozen=True)
class TrialBatch:
    """A batch with finished containers of a dry mass of their own. soak_key: its soak, or itself; recipe: what was put
    in; be_pct: the biological efficiency of each container, all flushes.
    """

    soak_key: str
    batch: str
    substrate: str
    strain: str
    recipe: str
    be_pct: Sequence[float]


def trial_batches(view: LedgerView) -> list[TrialBatch]:
    """Return the batches with containers that are finished at the view's day, in the order of soaks and batches."""
    return [TrialBatch(*row) for row in view.tuples("trial_batches")]


def batch_names(view: LedgerView) -> list[str]:
    """Return the names that batches and soaks have, which a new one may not have."""
    return [str(name) for (name,) in view.tuples("batch_names")]


def usual_containers(view: LedgerView) -> float | None:
    """Return how many fillings a batch usually has: the median, None without fillings."""
    ((containers,),) = view.tuples("usual_containers")
    return None if containers is None else float(containers)
