"""Running the audit: each input table as loaded, the ledger as a whole, and whole tables against their bands."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING

from pipeline.audit.compiled import EQUAL, as_read_suite, suite
from pipeline.audit.engine import load_engine, verdicts
from pipeline.audit.expected import Expected, Tested
from schemas.audit_outcome import Audit, FaultyRow, Outcome
from schemas.contract import INPUTS, contract
from schemas.steps import STEPS

if TYPE_CHECKING:
    import pandas as pd  # type: ignore[import-untyped]

    from pipeline.models.view import LedgerView, Models
    from schemas.finding import Finding

# Of the rows that break an expectation, so many are told one by one. Our choice, no source.
ROWS_TOLD = 200
Place = tuple[str, int, str, str]


def audit(view: LedgerView, from_rows: Sequence[Finding], run_on: date) -> Audit:
    """The loaded ledger against its contracts, and whole tables against what is expected of them, as of the view's day.

    `from_rows`: what was found in the rows as they were read; what is among it is counted as known. `run_on`: today.
    """
    from pipeline.audit.whole import whole_outcomes
    from pipeline.models.measures import ledger_id

    known = _known_places(from_rows)
    STEPS.at("Auditing the ledger: loading Great Expectations")
    load_engine()
    outcomes: list[Outcome] = []
    for name in INPUTS:
        STEPS.at(f"Auditing the ledger: {name}")
        outcomes += table_outcomes(view, name, known)
    STEPS.at("Auditing the ledger: whole tables")
    outcomes += [*ledger_outcomes(view), *whole_outcomes(view)]
    return Audit(ledger_id(view), run_on, view.query.as_of, tuple(outcomes))


def _known_places(from_rows: Sequence[Finding]) -> set[Place]:
    """Return the places (file, row, column, rule) of which the checks of a refresh have told. A cell that was not used
    is missing since.
    """
    rules = {"warning": None, "dropped": "required"}
    return {
        (each.file, each.row, each.column, rules[each.level] or each.rule) for each in from_rows if each.level in rules
    }


def table_outcomes(ledger: Models, name: str, known: Collection[Place] = ()) -> list[Outcome]:
    """Return whether the loaded rows of this input table keep its contract. `told`: places (file, row, column, rule) of
    which the screen has told the same.
    """
    from pipeline.audit.loaded import frame, referred

    table, rows = contract(name), frame(ledger, contract(name))
    expected = [*suite(table, rows.columns, referred(ledger)), *as_read_suite(table, rows.columns)]
    found = zip(expected, verdicts(rows, expected), strict=True)
    return [_outcome(each, verdict, rows, known) for each, verdict in found]


def ledger_outcomes(ledger: Models) -> list[Outcome]:
    """Return whether the ledger holds each column as its contract has it, and whether the rows of each file add up."""
    from pipeline.audit.loaded import types_frame

    typed = Expected(
        "ledger",
        "",
        "held_as",
        "error",
        "Every column of the contracts is there, of its type",
        EQUAL,
        {"column_A": "held", "column_B": "contract", "ignore_row_if": "neither"},
        shown="held",
        beside="contract",
    )
    added = Expected(
        "ledger",
        "",
        "rows_add_up",
        "error",
        "In each file: rows in = loaded + set aside + waiting + blank",
        EQUAL,
        {"column_A": "rows_in", "column_B": "accounted_for", "ignore_row_if": "neither"},
        shown="rows_in",
        beside="accounted_for",
    )
    types, counts = types_frame(ledger), ledger.frame("row_balance")
    types["file"], types["row"] = types["table"] + "." + types["column"], 0
    pairs = ((typed, types), (added, counts))
    return [_outcome(each, verdicts(rows, [each])[0], rows, ()) for each, rows in pairs]


def _outcome(each: Expected, verdict: Tested, rows: pd.DataFrame, known: Collection[Place]) -> Outcome:
    files, numbers = rows["file"], rows["row"]
    places = [(str(files[at]), int(numbers[at])) for at in verdict.faulty]
    # What a constraint refuses is never taken as told: the screen may have warned of the cell as it was read.
    known_here = [each.severity == "warning" and (*place, each.column, each.rule) in known for place in places]
    new = [at for at, already in zip(verdict.faulty, known_here, strict=True) if not already]
    return Outcome(
        table=each.table,
        column=each.column,
        rule=each.rule,
        expectation=each.words,
        severity=each.severity,
        held=verdict.held,
        looked_at=verdict.looked_at,
        faulty=len(places),
        already_reported=sum(known_here),
        rows=tuple(_faulty_row(each, rows, at) for at in new[:ROWS_TOLD]),
    )


def _faulty_row(each: Expected, rows: pd.DataFrame, at: int) -> FaultyRow:
    value = _text(rows[each.shown][at]) if each.shown else None
    beside = _text(rows[each.beside][at]) if each.beside else None
    return FaultyRow(str(rows["file"][at]), int(rows["row"][at]), value, beside)


def _text(value: object) -> str | None:
    """Return this value as a grower would write it. None for a missing one."""
    import pandas as pd

    if pd.isna(value):
        return None
    if isinstance(value, datetime):
        return value.date().isoformat()
    if isinstance(value, float):
        return repr(float(value)).removesuffix(".0")
    return str(value)
