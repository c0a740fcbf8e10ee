"""What an audit found: one outcome per expectation, as data that the report can quote."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any


@dataclass(frozen=True)
class FaultyRow:
    """A row that breaks an expectation: its file, its row as the spreadsheet shows it, and the value found there.

    `beside`: what the value was held against, where that differs from row to row.
    """

    file: str
    row: int
    value: str | None
    beside: str | None = None


@dataclass(frozen=True)
class Outcome:
    """One expectation and whether it held (None: undecided). See schemas/results/expectations.json."""

    table: str
    column: str
    rule: str
    expectation: str
    severity: str
    held: bool | None
    looked_at: int = 0
    faulty: int = 0
    already_reported: int = 0
    observed: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str = ""
    source: str = ""
    why_undecided: str = ""
    fix: str = ""
    rows: tuple[FaultyRow, ...] = ()

    @property
    def of_whole_table(self) -> bool:
        """Whether it is about a whole table rather than about rows: then it has a source."""
        return bool(self.source)

    @property
    def failed(self) -> bool:
        """Whether it could be judged, and did not hold."""
        return self.held is False


@dataclass(frozen=True)
class Audit:
    """The outcomes of one audit: of which ledger, run on which day, with states as of which day."""

    ledger_id: str
    run_on: date
    as_of: date
    outcomes: tuple[Outcome, ...]

    def failed(self, severity: str) -> int:
        """Return how many expectations of this severity did not hold."""
        return sum(1 for each in self.outcomes if each.failed and each.severity == severity)

    @property
    def held(self) -> int:
        """How many expectations held."""
        return sum(1 for each in self.outcomes if each.held)

    @property
    def undecided(self) -> int:
        """How many expectations cannot be judged yet."""
        return sum(1 for each in self.outcomes if each.held is None)


def audit_record(audit: Audit) -> dict[str, object]:
    """Return the audit as it is written to JSON: days in ISO form, one record per expectation."""
    return {
        "ledger_id": audit.ledger_id,
        "run_on": audit.run_on.isoformat(),
        "as_of": audit.as_of.isoformat(),
        "expectations": [outcome_record(each) for each in audit.outcomes],
    }


def outcome_record(each: Outcome) -> dict[str, object]:
    """Return one outcome as a record of the `expectations` contract; empty texts are null."""
    record = {**vars(each), "rows": [vars(row) for row in each.rows]}
    return {key: None if value == "" else value for key, value in record.items()}


def read_audit(record: Mapping[str, Any]) -> Audit:
    """Return the audit that was written as this JSON.

    Raises KeyError, TypeError or ValueError for anything else.
    """
    outcomes = tuple(_read_outcome(each) for each in record["expectations"])
    run_on, as_of = (date.fromisoformat(record[key]) for key in ("run_on", "as_of"))
    return Audit(str(record["ledger_id"]), run_on, as_of, outcomes)


TEXTS = ("column", "unit", "source", "why_undecided", "fix")


def _read_outcome(record: Mapping[str, Any]) -> Outcome:
    rows = tuple(FaultyRow(**row) for row in record["rows"])
    return Outcome(**{**record, **{key: record[key] or "" for key in TEXTS}, "rows": rows})
