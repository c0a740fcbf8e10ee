"""What a refresh changes: which rows came and went with their files, and which were freed or held by other files."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pipeline.ledger.backups import Key

if TYPE_CHECKING:
    import duckdb

BEFORE, AFTER = -1, 1
_HELD = "select distinct table_name, file, row from findings where level in ('set_aside', 'waiting')"


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


def note_before(con: duckdb.DuckDBPyConnection, keys: Iterable[Key]) -> None:
    """Notes what is in the ledger before it is changed: the rows of the files that may change, the fate of all rows."""
    con.execute(
        "create or replace temp table moved_cells (side integer, table_name varchar, file varchar, "
        "cells ubigint, times bigint)"
    )
    con.execute("create or replace temp table held_before as " + _HELD)
    _note_cells(con, keys, BEFORE)


def _note_cells(con: duckdb.DuckDBPyConnection, keys: Iterable[Key], side: int) -> None:
    from pipeline.files.validate import file_part

    for table, file in keys:
        con.execute(
            f"insert into moved_cells select ?, ?, ?, cells, count(*) from cells_of_{table} "
            "where file_part_of(line) = ? group by cells",
            [side, table, file, file_part(table, file)],
        )


def row_changes(con: duckdb.DuckDBPyConnection, keys: Iterable[Key]) -> dict[Key, RowChange]:
    """Return what changed since note_before, for each file with a change. `keys`: files that may have others now."""
    _note_cells(con, keys, AFTER)
    found = {
        (table, file): RowChange(added, gone, moved)
        for table, file, added, gone, moved in con.execute(_CAME_AND_WENT).fetchall()
    }
    for table, file, freed, held in con.execute(_FREED_AND_HELD).fetchall():
        found[table, file] = replace(found.get((table, file), RowChange()), freed=freed, held=held)
    return found


_CAME_AND_WENT = """
with deltas as (
    select table_name, file, cells, sum(side * times) as delta from moved_cells group by table_name, file, cells
),
came as (
    select table_name, cells, sum(delta) as times from deltas where delta > 0 group by table_name, cells
)
select
    deltas.table_name,
    deltas.file,
    sum(greatest(deltas.delta, 0))::bigint as added,
    sum(greatest(-deltas.delta, 0))::bigint as gone,
    sum(least(greatest(-deltas.delta, 0), coalesce(came.times, 0)))::bigint as moved
from deltas
left join came on came.table_name = deltas.table_name and came.cells = deltas.cells
group by deltas.table_name, deltas.file
"""
_FREED_AND_HELD = f"""
select
    coalesce(b.table_name, a.table_name) as table_name,
    coalesce(b.file, a.file) as file,
    count(*) filter (where a.row is null) as freed,
    count(*) filter (where b.row is null) as held
from held_before as b
full join ({_HELD}) as a on a.table_name = b.table_name and a.file = b.file and a.row = b.row
where a.row is null or b.row is null
group by all
"""
