"""What a monthly report is made of: the result tables of one month, and what was found in the rows behind them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

from schemas.answers import answered
from schemas.audit_outcome import Audit
from schemas.finding import Finding
from schemas.result_rows import Rows


@dataclass(frozen=True, eq=False)
class Month:
    """One month as it was known on the day `as_of`. A month is only itself: its sections are made once.

    `month` is its first day; `tables` holds result tables by name (rows as their contracts in schemas/results say;
    flushes and days also by `substrate`, losses by `substrate` and `treatment`), any of which may be empty;
    `findings` are lost entries, rows set aside, waiting, dropped cells, warnings and notices; `missing` the cells
    that would make more numbers possible. `audit` is the last audit of the ledger, None if there was none;
    `audit_is_stale` says that it was of another ledger than these tables. `why_no_outlook`: why the table `outlook`
    has no row, None where it has. `currency`: what the farm's money is called, "" where nothing says so.
    `of_span`: these are the tables of a year or other days, which nothing else lists.
    """

    farm_name: str | None
    month: date
    as_of: date
    late_from: str
    tables: Mapping[str, Rows]
    findings: Sequence[Finding]
    missing: Sequence[Finding]
    audit: Audit | None = None
    audit_is_stale: bool = False
    why_no_outlook: str | None = None
    currency: str = ""
    of_span: bool = False

    def rows(self, table: str) -> Rows:
        """Return the rows of this result table; none where it was not given."""
        return self.tables.get(table, ())

    @property
    def over(self) -> bool:
        """Whether the month is over on the as-of day."""
        return self.as_of + timedelta(days=1) >= first_day(self.month, -1)

    def place(self, months_before: int = 0) -> int | None:
        """Return the row of `months` that holds this month, or one that many months before it; None if no row does."""
        wanted = f"{first_day(self.month, months_before):%Y-%m}"
        found = [at for at, row in enumerate(self.rows("months")) if row["month"] == wanted]
        return found[0] if found else None

    def rows_found(self, level: str) -> int:
        """Return how many rows of the files have a finding of this level."""
        return len({(each.file, each.row) for each in self.findings if each.level == level})

    def pairs(self, measure: str) -> Sequence[int]:
        """Return the numbers of the rows of `compared_pairs` of this measure."""
        return [at for at, row in enumerate(self.rows("compared_pairs")) if row["measure"] == measure]

    def levels(self, measure: str) -> Sequence[int]:
        """Return the numbers of the rows of `compared_levels` of this measure."""
        return [at for at, row in enumerate(self.rows("compared_levels")) if row["measure"] == measure]

    def pair_is_decided(self, at: int) -> bool:
        """Whether this row of `compared_pairs` has an answer: a difference holds, or none matters."""
        row = self.rows("compared_pairs")[at]
        return answered(str(row["direction"]), str(row["worth"]))

    @cached_property
    def counts(self) -> Mapping[str, int]:
        """The counts that the page prints beside those of the result tables."""
        return {
            "rows_set_aside": self.rows_found("set_aside"),
            "rows_waiting": self.rows_found("waiting"),
            "entries_lost": sum(each.level == "lost" for each in self.findings),
            "rows_dropped": self.rows_found("dropped"),
            "rows_warning": self.rows_found("warning"),
            "missing": len(self.missing),
            "pairs_compared": len(self.pairs("be")),
            "pairs_decided": sum(1 for at in self.pairs("be") if self.pair_is_decided(at)),
            "audit_expectations": len(self.audit.outcomes) if self.audit else 0,
            "audit_held": self.audit.held if self.audit else 0,
            "audit_errors": self.audit.failed("error") if self.audit else 0,
            "audit_warnings": self.audit.failed("warning") if self.audit else 0,
            "audit_undecided": self.audit.undecided if self.audit else 0,
        }


def first_day(month: date, months_before: int) -> date:
    """Return the first day of the month that lies this many months before (negative: after)."""
    years, at = divmod(month.year * 12 + month.month - 1 - months_before, 12)
    return date(years, at + 1, 1)
