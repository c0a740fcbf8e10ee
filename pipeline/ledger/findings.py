"""What the ledger found in the rows, as findings in the contracts' words, roots first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from pipeline.ledger.backups import missing_file_findings
from pipeline.models.statements import rows
from schemas.contract import BATCHES, FILLINGS, PROMISES, Field, contract
from schemas.finding import LEVELS, VALUE_SHOWN, Finding, finding, shortened, with_waiting

if TYPE_CHECKING:
    import duckdb

    from pipeline.models.view import Models

_PARENTS = (BATCHES, FILLINGS)
# More findings of a kind in one file than this are listed by their first few: our choice, no source.
MOST_ALIKE, FIRST_ALIKE = 1000, 10
# A spreadsheet opens so many letters at once, and a mail takes them: our choice, no source.
MOST_LETTERS = 9_000_000
# So many letters of one cell stand in a list; --json has all of them: our choice, no source.
MOST_OF_A_CELL = 1000


def ledger_findings(ledger: Models, as_of: date) -> list[Finding]:
    """Return what was found in the rows and files of an open ledger: see read_findings."""
    return read_findings(ledger.connection, as_of)


def grouped_findings(ledger: Models, as_of: date) -> list[Finding]:
    """Return what was found as ledger_findings does, but of MOST_ALIKE of a kind in one file the first FIRST_ALIKE."""
    con = ledger.connection
    listed = [
        replace(_finding(row[:-1]), like_it=row[-1])
        for row in rows(con, "grouped_findings", most=MOST_ALIKE, shown=FIRST_ALIKE)
    ]
    return _with_others(con, [*listed, *grouped([*_future(con, as_of), *_past(con, as_of)])])


def read_findings(con: duckdb.DuckDBPyConnection, as_of: date) -> list[Finding]:
    """Return what was found in the rows and files, as of a day. Roots with the most rows waiting come first, then by
    severity, file and row. Dates after `as_of` are among them; the ledger itself never depends on a day.
    """
    listed = [_finding(row) for row in rows(con, "listed_findings")]
    return _with_others(con, [*listed, *_future(con, as_of), *_past(con, as_of)])


def grouped(found: Sequence[Finding], most: int = MOST_ALIKE) -> list[Finding]:
    """Return the findings, of more than `most` of a kind in one file the first FIRST_ALIKE: the last of these says how
    many are like it.
    """
    kinds: dict[tuple[str, str, str, str, str], list[Finding]] = {}
    for each in found:
        kinds.setdefault((each.table, each.file, each.column, each.rule, each.level), []).append(each)
    left: list[Finding] = []
    for alike in kinds.values():
        more = sum(each.like_it for each in alike)
        if len(alike) <= max(most, FIRST_ALIKE):
            left += alike
            continue
        first = alike[:FIRST_ALIKE]
        left += [replace(each, like_it=0) for each in first[:-1]]
        left.append(replace(first[-1], like_it=len(alike) - FIRST_ALIKE + more))
    return left


def fitting(found: Sequence[Finding]) -> list[Finding]:
    """Return these findings as a list of at most MOST_LETTERS, with cells of at most MOST_OF_A_CELL: where they are
    more, fewer of a kind, then shorter cells.
    """
    left = [replace(each, value=each.value and shortened(each.value, MOST_OF_A_CELL)) for each in found]
    for most in (MOST_ALIKE, FIRST_ALIKE):
        if _letters(left) > MOST_LETTERS:
            left = grouped(left, most)
    if _letters(left) > MOST_LETTERS:
        left = [replace(each, value=each.value and each.value[:VALUE_SHOWN]) for each in left]
    return left


def _letters(found: Sequence[Finding]) -> int:
    return sum(len(str(cell)) + 1 for each in found for cell in each.record().values())


def _with_others(con: duckdb.DuckDBPyConnection, found: list[Finding]) -> list[Finding]:
    """Return these findings with those on missing files, and with how many rows wait for each; the worst first."""
    found = [*found, *missing_file_findings(con)]
    waiting = {(file, row): count for file, row, count in rows(con, "waiting_counts")}
    # One row of a sheet may stand for a batch, a filling and a picking, of which one is waited for.
    roots = {(each.file, each.row) for each in found if each.table in _PARENTS and each.level == "set_aside"}
    found = [
        with_waiting(each, waiting.get((each.file, each.row), 0))
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


def _past(con: duckdb.DuckDBPyConnection, as_of: date) -> list[Finding]:
    of_promises, day = contract(PROMISES), as_of.isoformat()
    level = of_promises.row_rules["past"]["level"]
    return [
        finding(of_promises, file, row, "due_on", "past", level, value, day)
        for file, row, value in rows(con, "past_promises", as_of=as_of)
    ]
