"""The result tables of a trace, and the names that can be traced."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipeline.models.lost_shares import interval_columns
from pipeline.models.view import LedgerView
from schemas.result_rows import ResultRows, in_columns

TRACE_TABLES = ("trace_batches", "trace_containers", "trace_pickings", "trace_losses", "trace_rejected")
# What can be traced by name.
TRACED_KINDS = ("spawn_lot", "soak", "batch", "container")


@dataclass(frozen=True)
class TraceQuery:
    """What is traced: each None does not matter; several must all hold."""

    spawn_lot: str | None = None
    soak: str | None = None
    batch: str | None = None
    container: str | None = None
    picked: date | None = None

    @property
    def names(self) -> dict[str, str]:
        """The names that are traced, by their kind."""
        every = zip(TRACED_KINDS, (self.spawn_lot, self.soak, self.batch, self.container), strict=True)
        return {kind: name for kind, name in every if name is not None}


def trace_tables(view: LedgerView, query: TraceQuery, near_days: int) -> dict[str, ResultRows]:
    """Return the tables in TRACE_TABLES, by name, in the columns of their contracts. near_days: how far from a traced
    batch another is inoculated at most to be near it.
    """
    names = {f"trace_{kind}": query.names.get(kind) for kind in TRACED_KINDS}
    view.set_variables(**names, trace_picked=query.picked, near_days=near_days)
    found = {name: view.records(name) for name in TRACE_TABLES}
    for record in found["trace_losses"]:
        record.update(interval_columns(record, of_containers=False))
    return {name: in_columns(name, rows) for name, rows in found.items()}


def traced_names(view: LedgerView) -> dict[str, list[str]]:
    """Return the names that can be traced at the view's day, by their kind."""
    known: dict[str, list[str]] = {kind: [] for kind in TRACED_KINDS}
    for kind, name in view.tuples("trace_names"):
        known[kind].append(name)
    return known
