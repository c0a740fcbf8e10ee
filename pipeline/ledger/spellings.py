"""Words of the grower's own that are written in several ways, so that they count as several."""

from __future__ import annotations

from typing import TYPE_CHECKING

from schemas.contract import contract
from schemas.finding import Finding
from schemas.phrases import counted
from schemas.spellings import Spellings, spellings

if TYPE_CHECKING:
    from pipeline.models.view import Models, Row


def spelling_findings(ledger: Models) -> list[Finding]:
    """Return a finding for each spelling but the usual one, where it stands first, with the lines that join them."""
    columns: dict[tuple[str, str], dict[str, Row]] = {}
    for row in ledger.records("spellings"):
        columns.setdefault((row["table_name"], row["column_name"]), {})[row["word"]] = row
    return [
        _finding(rows[other], rows[each.usual], each)
        for rows in columns.values()
        for each in spellings({word: row["cells"] for word, row in rows.items()})
        for other in each.others
    ]


def _finding(row: Row, usual: Row, of: Spellings) -> Finding:
    table, column = row["table_name"], row["column_name"]
    line = joining_line(row["word"], of.usual)
    title = contract(table).field(column).title.lower()
    return Finding(
        table=table,
        file=row["file"],
        row=row["row"],
        column=column,
        rule="two_spellings",
        level="warning",
        value=row["word"],
        message=(
            f'({counted(row["cells"], "row")}) is written "{of.usual}" in {counted(usual["cells"], "other row")}, '
            f"and counts as another {title}"
        ),
        expected="one spelling",
        fix=f"Write it one way; or join them in farm.toml, under [words.{column}]: {line}",
    )


def joining_line(other: str, usual: str) -> str:
    """Return the line of farm.toml that reads one spelling as another."""
    import json

    return f"{json.dumps(other.lower(), ensure_ascii=False)} = {json.dumps(usual, ensure_ascii=False)}"
