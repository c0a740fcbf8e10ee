"""The result tables of trace, outlook and trial on the demo farm, for tests of what all result tables promise."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import duckdb

from pipeline.outlook.tables import Wanted, outlook
from pipeline.trace.trace import Asked as Traced
from pipeline.trace.trace import trace
from pipeline.trial.tables import Asked as Tried
from pipeline.trial.tables import trial


def ahead_tables(
    con: duckdb.DuckDBPyConnection, settings: Mapping[str, Any], as_of: date
) -> dict[str, list[dict[str, Any]]]:
    """Every result table that trace, outlook and trial tell, by its contract's name."""
    ahead = outlook(con, settings, as_of, 4, Wanted(30.0, date(2026, 11, 25)))
    planned = trial(con, settings, as_of, Tried("spawn_form", "grain,sawdust", soaks=4))
    return {
        **trace(con, settings, as_of, Traced(spawn_lot="GG-5")),
        "outlook": ahead.weeks,
        "outlook_batches": ahead.batches,
        "outlook_past": ahead.past,
        "outlook_need": ahead.need,
        "trial_spread": planned.spread,
        "trial_designs": planned.designs,
        "trial_portions": planned.portions,
    }
