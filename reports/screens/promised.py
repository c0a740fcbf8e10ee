"""What is promised for the next days, as Today shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from reports.words import visible
from schemas.promise_words import advice, chance_words
from schemas.result_rows import Row, Rows, day_of, number_of, text_of


@dataclass(frozen=True)
class Promised:
    """What is due (due_on, buyer, strain, promised_kg); rows of `promise_chances`, or why no chance can be told; and
    what is said of strains that no batch has.
    """

    due: Rows
    chances: Rows
    why_not: str
    unknown_strains: Sequence[str] = ()


def promised_lines(promised: Promised, today: date) -> list[dict[str, object]]:
    """Return the lines of what is due: to whom, how much, how likely, and what helps; now: whether it is due today."""
    return [_line(row, today) for row in promised.chances or promised.due]


def _line(row: Row, today: date) -> dict[str, object]:
    kg, due = number_of(row, "promised_kg"), day_of(row, "due_on")
    known = "chance_pct" in row
    return {
        "due_on": "today" if due == today else f"{due:%a} {due}",
        "now": due == today,
        "buyer": text_of(row, "buyer"),
        "strain": text_of(row, "strain"),
        "kg": f"{kg:.2f}",
        "grams": f"{1000 * kg:.10g}",
        "chance": f"Chance {chance_words(row)}" if known else "",
        "advice": visible(advice(row)) if known else "",
        "begin": known and row["more_containers"] is not None,
    }
