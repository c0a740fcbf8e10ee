"""A trace: what hangs together with a lot, a soak, a batch, a container or a day; and what is nowhere to be found."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.models.trace_tables import TraceQuery, trace_tables, traced_names
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean

if TYPE_CHECKING:
    from pipeline.models.view import LedgerView
    from schemas.result_rows import ResultRows

# The rest of the same time: inoculated so many days before or after a traced batch. Our choice, no source.
NEAR_DAYS = 28
CALLED = {"spawn_lot": "spawn lot", "soak": "soak", "batch": "batch", "container": "container"}


def trace(view: LedgerView, query: TraceQuery) -> dict[str, ResultRows]:
    """What hangs together with what is traced, at the view's day: the tables in TRACE_TABLES, by name.

    Raises WrongRequest when nothing is named, and when neither a loaded row nor one set aside fits.
    """
    if not query.names and query.picked is None:
        raise WrongRequest("Name what to trace: --spawn-lot, --soak, --batch, --container or --picked.")
    found = trace_tables(view, query, NEAR_DAYS)
    if not found["trace_containers"] and not found["trace_rejected"]:
        raise WrongRequest(_nowhere(view, query))
    return found


def _nowhere(view: LedgerView, query: TraceQuery) -> str:
    """Which of the names is in no row, and what may have been meant."""
    as_of = view.query.as_of
    known = traced_names(view)
    for name, value in query.names.items():
        if value in known[name]:
            continue
        hint = did_you_mean(value, known[name], any_case=True)
        option = f"--{name.replace('_', '-')}"
        return f"{option} {value}: no {CALLED[name]} is called so as of {as_of}.{hint}"
    if query.picked is not None and not query.names:
        return f"--picked {query.picked}: nothing was picked on that day, and no row set aside is of it."
    return f"No container fits all of what was asked as of {as_of}. Ask for less at once."
