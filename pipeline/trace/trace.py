"""A trace: what hangs together with a lot, a soak, a batch, a container or a day; and what is nowhere to be found."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from pipeline.models.lost_shares import interval_columns
from schemas.contract import contract
from schemas.finding import WrongRequest, nearest

if TYPE_CHECKING:
    from pipeline.models.view import LedgerView, Rows

TABLES = ("trace_batches", "trace_containers", "trace_pickings", "trace_losses", "trace_rejected")
# The rest of the same time: inoculated so many days before or after a traced batch. Our choice, no source.
NEAR_DAYS = 28
# What can be asked for by name.
NAMED = ("spawn_lot", "soak", "batch", "container")
CALLED = {"spawn_lot": "spawn lot", "soak": "soak", "batch": "batch", "container": "container"}


@dataclass(frozen=True)
class TraceQuery:
    """What is traced: each None is not asked for; several must all hold."""

    spawn_lot: str | None = None
    soak: str | None = None
    batch: str | None = None
    container: str | None = None
    picked: date | None = None

    @property
    def names(self) -> dict[str, str]:
        """The names that are asked for, by their column."""
        return {name: value for name in NAMED if (value := getattr(self, name)) is not None}


def trace(view: LedgerView, query: TraceQuery) -> dict[str, Rows]:
    """What hangs together with what is asked, at the view's day: the tables in TABLES, by name (see their contracts).

    Raises WrongRequest when nothing is asked, and when neither a loaded row nor one set aside fits.
    """
    if not query.names and query.picked is None:
        raise WrongRequest("Name what to trace: --spawn-lot, --soak, --batch, --container or --picked.")
    view.set_variables(**{f"trace_{name}": getattr(query, name) for name in NAMED}, trace_picked=query.picked)
    view.set_variables(near_days=NEAR_DAYS)
    found = {name: view.records(name) for name in TABLES}
    for record in found["trace_losses"]:
        record.update(interval_columns(record, of_containers=False))
    if not found["trace_containers"] and not found["trace_rejected"]:
        raise WrongRequest(_nowhere(view, query))
    return {name: [{key: row[key] for key in contract(name).names} for row in rows] for name, rows in found.items()}


def _nowhere(view: LedgerView, query: TraceQuery) -> str:
    """Which of the names is in no row, and what may have been meant."""
    as_of = view.query.as_of
    known: dict[str, list[str]] = {name: [] for name in NAMED}
    for row in view.records("trace_names"):
        known[row["kind"]].append(row["name"])
    for name, value in query.names.items():
        if value in known[name]:
            continue
        # Names are looked up as the grower wrote them, whatever their case.
        folded = {each.lower().replace(" ", "_"): each for each in known[name]}
        close = nearest(value, tuple(folded))
        hint = f" Did you mean {folded[close]}?" if close else ""
        option = f"--{name.replace('_', '-')}"
        return f"{option} {value}: no {CALLED[name]} is called so as of {as_of}.{hint}"
    if query.picked is not None and not query.names:
        return f"--picked {query.picked}: nothing was picked on that day, and no row set aside is of it."
    return f"No container fits all of what was asked as of {as_of}. Ask for less at once."
