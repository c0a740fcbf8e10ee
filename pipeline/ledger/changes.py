"""What a refresh changes: which rows came and went with their files, and which were freed or held by other files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pipeline.ledger.backups import Key
from pipeline.models.statements import rows, run

if TYPE_CHECKING:
    import duckdb

BEFORE, AFTER = -1, 1


@dataclass(frozen=True)
class RowChange:
    """Rows of one file: `added` and `gone` since the refresh before (a changed row is one of each), `moved` those of
    the gone that came in other files of the table; `freed` and `held` those, by row number, that are loaded now and
    were not before, and the other way round: they mean something of a file that stayed as it was.
    """

    added: int = 0
    gone: int = 0
    moved: int = 0
    freed: int = 0
    held: int = 0


def note_before(con: duckdb.DuckDBPyConnection, touched: Mapping[Key, int]) -> None:
    """Notes what is in the ledger before it is changed: the fate of all rows, and of the files that may change the rows
    from this one on.
    """
    for name in ("row_versions", "held_rows", "held_before"):
        run(con, name)
    _note_rows(con, touched, BEFORE)


def note_after(con: duckdb.DuckDBPyConnection, touched: Mapping[Key, int]) -> None:
    """Notes these rows as they are now on the stage."""
    _note_rows(con, touched, AFTER)


def _note_rows(con: duckdb.DuckDBPyConnection, touched: Mapping[Key, int], side: int) -> None:
    from pipeline.files.validate import file_part

    for (table, file), first in touched.items():
        part = file_part(table, file)
        run(con, f"add_row_versions_{table}", side=side, file=file, file_part=part, first_line=(part << 32) + first)


def row_changes(con: duckdb.DuckDBPyConnection) -> dict[Key, RowChange]:
    """Return what changed from note_before to note_after, for each file with a change."""
    found = {
        (table, file): RowChange(added, gone, moved) for table, file, added, gone, moved in rows(con, "came_and_went")
    }
    for table, file, freed, held in rows(con, "freed_and_held"):
        found[table, file] = replace(found.get((table, file), RowChange()), freed=freed, held=held)
    return found
