"""Adding to an empty stage from several threads at once, in whole groups of rows."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from threading import get_ident
from typing import TYPE_CHECKING

import polars as pl

from pipeline.ledger.stage import add_rows, note_files

if TYPE_CHECKING:
    import duckdb

    from pipeline.files.validate import ValidatedRows
    from pipeline.ledger.intake import Taken

# So many rows a table of the ledger holds together (DuckDB's own number). Groups that are not full are put together by
# the last checkpoint: at ten million pickings an eighth of the time of a first refresh, and a seventh of the ledger.
GROUP_ROWS = 122_880
# A larger file is put on the stage part by part.
MOST_ROWS = 2 * GROUP_ROWS


class StageWriter:
    """A connection on which one thread adds to the stage. The rows of a table that fill no group wait for those of the
    next files, or until another table comes.
    """

    def __init__(self, con: duckdb.DuckDBPyConnection) -> None:
        self._con = con
        self._table = ""
        self._rest: list[pl.DataFrame] = []

    def stage(self, validated: ValidatedRows) -> None:
        """Put these rows on the stage, or keep them back, and note what was found in them."""
        table = validated.raws[0].source.table
        if table != self._table:
            self.finish()
        self._table = table
        self._rest.append(validated.frame)
        height = sum(frame.height for frame in self._rest)
        # One group at least is kept back, for fewer rows would be written when all is committed, by one thread alone.
        whole = (height // GROUP_ROWS - 1) * GROUP_ROWS
        if whole > 0:
            rows = pl.concat(self._rest)
            self._rest = [rows.slice(whole)]
            add_rows(self._con, table, rows.head(whole))
        note_files(self._con, validated)

    def finish(self) -> None:
        """Put on the stage what was kept back."""
        if self._rest:
            add_rows(self._con, self._table, pl.concat(self._rest))
            self._rest = []


class StageWriters:
    """Writers for as many threads as there are connections, each of which keeps its own."""

    def __init__(self, connections: Sequence[duckdb.DuckDBPyConnection]) -> None:
        self._writers = [StageWriter(each) for each in connections]
        self._free = iter(self._writers)
        self._of_thread: dict[int, StageWriter] = {}

    def stage(self, taken: Taken) -> Taken:
        """Put a portion on the stage, and let go of its rows. One with what is wrong is not: no ledger comes of it."""
        if taken.validated is None or taken.problems:
            return taken
        thread = get_ident()
        if thread not in self._of_thread:
            self._of_thread[thread] = next(self._free)
        self._of_thread[thread].stage(taken.validated)
        return taken.without_rows()

    def finish(self, at_once: bool = True) -> None:
        """Put on the stage what was kept back, by all at once or, where others are busy meanwhile, one by one."""
        with ThreadPoolExecutor(len(self._writers) if at_once else 1) as pool:
            list(pool.map(lambda each: each.finish(), self._writers))
