"""What a trial is planned from: the finished containers of a farm, the names that are taken, the usual batch."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.models.view import LedgerView


@dataclass(frozen=True)
class TrialUnit:
    """A finished container with a dry mass of its own. soak_key: its soak, or its own batch; recipe: what was put in;
    be_pct: its biological efficiency, all flushes.
    """

    soak_key: str
    batch: str
    substrate: str
    strain: str
    recipe: str
    be_pct: float


def trial_units(view: LedgerView) -> list[TrialUnit]:
    """Return the finished containers at the view's day, in the order of soaks, batches and containers."""
    return [TrialUnit(*row) for row in view.tuples("trial_units")]


def batch_names(view: LedgerView) -> list[str]:
    """Return the names that batches and soaks have, which a new one may not have."""
    return [str(name) for (name,) in view.tuples("batch_names")]


def usual_containers(view: LedgerView) -> float | None:
    """Return how many fillings a batch usually has: the median, None without fillings."""
    ((containers,),) = view.tuples("usual_containers")
    return None if containers is None else float(containers)
