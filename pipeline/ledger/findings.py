"""What the ledger found in the rows, as findings in the contracts' words, roots first."""

from __future__ import annotations

from collections import Counter
from datetime import date
from typing import TYPE_CHECKING

from pipeline.ledger.backups import missing_file_findings
from pipeline.models.statements import rows
from schemas.contract import BATCHES, FILLINGS, Field, contract
from schemas.finding import LEVELS, Finding, finding, with_waiting

if TYPE_CHECKING:
    import duckdb

    from pipeline.models.view import Models

_PARENTS = (BATCHES, FILLINGS)


def ledger_findings(ledger: Models, as_of: date) -> list[Finding]:
    """Return what was found in the rows and files of an open ledger: see read_findings."""
    return read_findings(ledger.connection, as_of)


def read_findings(con: duckdb.DuckDBPyConnection, as_of: date) -> list[Finding]:
    """Return what was found in the rows and files, as of a day. Roots with the most rows waiting come first, then by
    severity, file and row. Dates after `as_of` are among them; the ledger itself never depends on a day.
    """
    found = [_finding(row) for row in rows(con, "listed_findings")]
    found += _future(con, as_of)
    found += missing_file_findings(con)
    waiting = Counter(each.waits_for for each in found if each.waits_for)
    # One row of a sheet may stand for a batch, a filling and a picking, of which one is waited for.
    roots = {(each.file, each.row) for each in found if each.table in _PARENTS and each.level == "set_aside"}
    found = [
        with_waiting(each, waiting[each.file, each.row])
        if each.table in _PARENTS and (each.level == "set_aside" or (each.file, each.row) not in roots)
        else each
        for each in found
    ]
    return sorted(found, key=_severity)


def _severity(each: Finding) -> tuple[int, int, str, int, str]:
    return (-each.waiting, LEVELS.index(each.level), each.file, each.row, each.column)


def _finding(row: tuple[str, str, int, str, str, str, str | None, str | None, str | None, int | None]) -> Finding:
    table, file, number, column, rule, level, value, detail, waits_file, waits_row = row
    if value and rule in contract(table).row_rules and column:
        value = _plain(value, contract(table).field(column))
    waits_for = (waits_file, waits_row) if waits_file is not None and waits_row is not None else None
    return finding(contract(table), file, number, column, rule, level, value, detail, waits_for)


def _plain(value: str, each: Field) -> str:
    """Return this number as a grower would write it. Without the zeros that the ledger's decimals end with."""
    return value.rstrip("0").rstrip(".") if each.type == "number" and "." in value else value


def _future(con: duckdb.DuckDBPyConnection, as_of: date) -> list[Finding]:
    found = []
    for table, file, row, column, value in rows(con, "future_days", as_of=as_of):
        level = contract(table).row_rules["future"]["level"]
        found.append(finding(contract(table), file, row, column, "future", level, value, as_of.isoformat()))
    return found
