"""The names that hold a letter which nobody sees, so that each looks like another name and is none."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.models.view import Ledger


@dataclass(frozen=True)
class UnseenName:
    """A cell with such a name, and where it stands."""

    table_name: str
    file: str
    row: int
    column: str
    name: str


def unseen_names(ledger: Ledger) -> list[UnseenName]:
    """Return them, by file and row."""
    return [UnseenName(*row) for row in ledger.tuples("unseen_names")]
