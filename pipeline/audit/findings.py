"""What the audit found, in the grower's words: findings, as the screen's."""

from __future__ import annotations

from dataclasses import replace

from pipeline.audit.whole import band, shown_number
from schemas.answers import CANNOT_TELL
from schemas.audit_outcome import Audit, FaultyRow, Outcome
from schemas.contract import HARVESTS, contract
from schemas.finding import CELL_RULES, Finding, finding

# A row that a constraint refuses has no business in the ledger, whatever its file says.
REBUILD = (
    "The files are the record: delete ledger.duckdb, and it is made anew from them. "
    "If this comes back, it is a mistake of gillbook's."
)
# Where a finding of a whole table stands: in no row and no file.
WHOLE = "The farm"
# Rules of the audit that no contract words: (what is wrong, what was expected). {beside}: what it was held against.
OWN_RULES = {
    "refused": ("this row is loaded, but was set aside or never read", "a row that was read and can be counted"),
    "as_read": ("is in the ledger where {beside} was read", "what was read from the row"),
    "held_as": ("is how the ledger holds this column, not {beside}", "the type that the contract gives it"),
    "rows_add_up": ("rows were read, but {beside} are accounted for", "rows in = loaded + set aside + waiting + blank"),
}


def findings(audit: Audit) -> list[Finding]:
    """Return what the grower should hear of the audit. What did not hold, row by row where rows are at fault, and what
    is undecided. Rows of which the screen has told the same are left out.
    """
    return [found for each in audit.outcomes for found in _text(each)]


def _text(each: Outcome) -> list[Finding]:
    if each.held:
        return []
    if not each.of_whole_table:
        return [_of_row(each, row) for row in each.rows]
    return _of_months(each) if each.faulty else [_of_whole(each)]


def _of_row(each: Outcome, row: FaultyRow) -> Finding:
    level = "error" if each.severity == "error" else "warning"
    if each.rule in OWN_RULES:
        message, expected = (text.replace("{beside}", f'"{row.beside}"') for text in OWN_RULES[each.rule])
        return Finding(
            each.table, row.file, row.row, each.column, each.rule, level, row.value, message, expected, REBUILD
        )
    table = contract(each.table)
    # The contract words a broken constraint as what sets a row aside, and a broken expectation as a warning.
    worded = "set_aside" if level == "error" and each.rule in CELL_RULES else level
    detail = row.beside or "another row"
    found = finding(table, row.file, row.row, each.column, each.rule, worded, row.value, detail)
    return replace(found, level=level, fix=REBUILD) if level == "error" else found


def _of_months(each: Outcome) -> list[Finding]:
    message = "has no picking, though months before and after it have"
    return [
        Finding(HARVESTS, HARVESTS, 0, "", each.rule, "warning", row.value, message, "a picking", each.fix)
        for row in each.rows
    ]


def _of_whole(each: Outcome) -> Finding:
    """The finding on one number of a whole table: what it is, of how many, and where it was expected."""
    if each.held is None:
        message = f"{each.expectation}; {CANNOT_TELL}: {each.why_undecided}"
        return Finding(each.table, WHOLE, 0, "", each.rule, "notice", None, message, "", "Nothing to do.")
    title = each.expectation.partition(":")[0]
    unit = "kg" if each.unit == "g" else each.unit
    found = shown_number(each.observed or 0.0, each.unit)
    month = f" ({each.rows[0].value})" if each.rows else ""
    expected = band(each.low, each.high, each.unit)
    message = f"{title}{month} is {found} {unit}, expected {expected} (looked at {each.looked_at})"
    return Finding(each.table, WHOLE, 0, "", each.rule, "warning", None, message, expected, each.fix)
