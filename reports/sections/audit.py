"""The last audit of the ledger: when it was made, what did not hold, and what cannot be judged yet."""

from __future__ import annotations

from collections.abc import Sequence

from reports.figures import Day, Name, Sentence, count, several
from reports.month import Month
from reports.section import Section, made
from reports.tables import MANY_CELLS, Cell, Head, PageTable
from schemas.audit_outcome import FaultyRow, Outcome
from schemas.phrases import counted

# Faulty rows named for each expectation; out/audit.json has more. Our choice, no source.
ROWS_NAMED = 3
# The beginning of a ledger's id, which is a hash: long enough to tell two of a farm apart. Our choice, no source.
ID_SHOWN = 12
AGAIN = "A deep check makes one anew."


def sentence(month: Month) -> Sentence:
    """Return how the last audit of the ledger ended."""
    if month.audit is None:
        return ("No audit of the ledger was made; a deep check makes one.",)
    held, undecided = count(month, "audit_held"), count(month, "audit_undecided")
    return (
        "On ",
        Day(month.audit.run_on),
        " the ledger was audited: ",
        held,
        " of ",
        *several(count(month, "audit_expectations"), "expectation"),
        " held, with ",
        *several(count(month, "audit_errors"), "error"),
        " and ",
        *several(count(month, "audit_warnings"), "warning"),
        *(("; ", undecided, " cannot be judged yet.") if undecided.value else (".",)),
    )


def notes(month: Month) -> list[Sentence]:
    """Return whether the audit is still of this ledger, and what it means."""
    if month.audit is None:
        return []
    found: list[Sentence] = []
    if month.audit_is_stale:
        found.append((f"It is out of date: files or settings have changed since. {AGAIN}",))
    if month.audit.failed("error"):
        found.append(("An error is in the ledger, not in the files: the deep check shows where.",))
    found.append(
        (
            "Of the ledger ",
            Name(month.audit.ledger_id[:ID_SHOWN]),
            ", states as of ",
            Day(month.audit.as_of),
            ". Great Expectations, an engine that is not gillbook's, holds the loaded rows against the same contracts. "
            "Bands in print and the farm's own months only ever warn.",
        )
    )
    return found


def tables(month: Month) -> Sequence[PageTable | None]:
    """Return the tables of what did not hold, and of what cannot be judged yet."""
    outcomes = month.audit.outcomes if month.audit else ()
    failed = [
        (Name(each.expectation), Name(each.severity), _found(each), Name(each.source))
        for each in outcomes
        if each.failed
    ]
    undecided = [(Name(each.expectation), Name(each.why_undecided)) for each in outcomes if each.held is None]
    return (
        _table("failed", "Expectations that did not hold", ("Expectation", "Severity", "Found", "Source"), failed),
        _table("undecided", "Expectations that cannot be judged yet", ("Expectation", "Why"), undecided),
    )


def _table(name: str, caption: str, titles: Sequence[str], rows: Sequence[tuple[Cell, ...]]) -> PageTable | None:
    heads = tuple(Head(title, "", False) for title in titles)
    return (
        PageTable(f"table-{name}", caption, heads, tuple(rows), len(rows) * len(heads) > MANY_CELLS) if rows else None
    )


def _found(each: Outcome) -> Name:
    """Return what was found instead: a number of the whole table, or rows."""
    if each.observed is not None:
        kilograms = each.unit == "g"
        value = each.observed / 1000 if kilograms else each.observed
        when = f"{each.rows[0].value}: " if each.rows else ""
        return Name(f"{when}{value:.{2 if kilograms else 1}f} {'kg' if kilograms else each.unit}".rstrip())
    rows = counted(each.faulty, "row")
    if each.already_reported == each.faulty:
        return Name(f"{rows}, listed under Rows to mend")
    places = "; ".join(_place(row) for row in each.rows[:ROWS_NAMED])
    return Name(f"{rows}: {places}" + ("; ..." if len(each.rows) > ROWS_NAMED else ""))


def _place(row: FaultyRow) -> str:
    where = f"{row.file}, row {row.row}" if row.row else row.file
    return f"{where} ({row.value})" if row.value is not None else where


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made("audit", "Audit of the ledger", sentence(month), notes(month), (), tables(month))
