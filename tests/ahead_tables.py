"""The result tables of trace, outlook, trial and plan on the demo farm, for tests of what all result tables promise."""

from __future__ import annotations

from datetime import date
from typing import Any

from pipeline.models.trace_tables import TraceQuery
from pipeline.models.view import Ledger, Query
from pipeline.outlook.tables import Wanted, outlook
from pipeline.planning.promise_tables import check_promises
from pipeline.planning.tables import PlanQuery, plan
from pipeline.trace.trace import trace
from pipeline.trial.tables import TrialQuery, trial


def ahead_tables(ledger: Ledger, as_of: date) -> dict[str, list[dict[str, Any]]]:
    """Every result table that trace, outlook, trial and plan tell, by its contract's name."""
    ahead = outlook(ledger, as_of, 4, Wanted(30.0, date(2026, 11, 25)))
    planned = trial(ledger.view(Query(as_of)), TrialQuery("spawn_form", "grain,sawdust", soaks=4))
    backwards = plan(ledger, as_of, PlanQuery(4.0, count=2))
    promised = check_promises(ledger, as_of, weeks=2)
    return {
        **trace(ledger.view(Query(as_of)), TraceQuery(spawn_lot="GG-7")),
        "outlook": ahead.weeks,
        "outlook_batches": ahead.batches,
        "outlook_by_batch": ahead.by_batch,
        "outlook_past": ahead.past,
        "outlook_need": ahead.need,
        "trial_spread": planned.spread,
        "trial_designs": planned.designs,
        "trial_portions": planned.portions,
        "plan_starts": backwards.starts,
        "plan_weeks": backwards.weeks,
        "plan_containers": backwards.containers,
        "promise_chances": promised.chances,
        "promise_room": promised.room,
    }
