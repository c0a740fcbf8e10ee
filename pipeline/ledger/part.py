"""Deciding anew only for the part of the farm that a change touches.

Whether a row counts, and where it belongs, hangs on rows that name the same batch, container or day of inoculation. So
the rows of the batches that a change touches, and what these hang on, are put on a stage of their own in memory; the
same models decide over it as over the whole; and what they say of the part's rows takes the place of what was said
before. What hangs on all rows (the usual weight of a picking, an entry that stands twice, after how many days a new
flush begins), and the few rows of the books, are decided over the whole ledger.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.farm.settings import Settings
from pipeline.ledger.stage import check_balance, create_stage, set_bounds, set_flush_rule
from pipeline.models.lineage import DECIDED, LEDGER, order
from pipeline.models.statements import in_memory, insert_part, rows, run
from schemas.contract import BATCHES, BOOKS, FILLINGS, HARVESTS, OBSERVATIONS

if TYPE_CHECKING:
    import duckdb

# A smaller farm is decided whole at least as quickly; and so is a change of more than one row in so many.
LEAST_ROWS, ONE_ROW_IN = 20_000, 10
# Decided before the rule for blank flushes can be known; the other tables stand when the models are through.
BEFORE_FLUSH_RULE = ("filling_shares", "picking_days")
# The tables of which the part's lines are not called line.
LINE_OF = {"closings": "batch_line", "picked_flushes": "batch_line", "picking_days": "place_line"}
# Decided of the books alone; of the books beside the pickings, where any are sold; and over the whole ledger.
OF_BOOKS = (*BOOKS, *(f"repeats_of_{table}" for table in BOOKS), "price_faults", "rejected_books", "warn_promises")
OF_SALES = ("found_in_books", "warn_sales")
OF_FARM = ("findings", "found_in_farm", "row_counts", "warn_entries", "warn_ph", "warn_weights")


def decide_part(con: duckdb.DuckDBPyConnection, settings: Settings) -> bool:
    """Decide for the part that the rows noted by changes.note_before and note_after touch. Return whether it was done:
    else the part is too large, or another rule for blank flushes holds now, and all is to be decided.

    Raises AssertionError as `decide` does.
    """
    run(con, "changed_rows")
    ((changed, rows_in, changed_in_books, sales),) = rows(con, "part_size")
    if rows_in < LEAST_ROWS or changed * ONE_ROW_IN > rows_in:
        return False
    _stage_part(con)
    set_bounds(con, settings)
    if not _decide_part(con, settings):
        return False
    for table in (*DECIDED, *LINE_OF):
        if table not in BEFORE_FLUSH_RULE:
            _replace(con, table)
    # Where no book changed, what was decided of them stands; and what was found in them, unless something is sold.
    books = (*OF_BOOKS, *OF_SALES) if changed_in_books or sales else ()
    for name in order(LEDGER):
        if name in OF_FARM or name in books:
            run(con, name)
    check_balance(con)
    return True


def _stage_part(con: duckdb.DuckDBPyConnection) -> None:
    """Puts the rows of the part, and those that they hang on, on the stage in memory."""
    for name in ("named_together", "moved_containers", "part_batches", "part_containers"):
        run(con, name)
    with in_memory(con):
        create_stage(con)
    for table in (HARVESTS, OBSERVATIONS, FILLINGS, BATCHES, "files"):
        run(con, f"take_{table}")


def _decide_part(con: duckdb.DuckDBPyConnection, settings: Settings) -> bool:
    """Decides over the part's stage; returns whether the rule for blank flushes is the one by which all was decided."""
    ((days,),) = rows(con, "new_flush_after")
    for name in order(LEDGER):
        if name == "gap_counts":
            with in_memory(con):
                run(con, "part_lines")
            for table in BEFORE_FLUSH_RULE:
                _replace(con, table)
            run(con, name)
            if set_flush_rule(con, settings) != days:
                return False
            run(con, "flush_rule")
        elif name not in (*OF_FARM, *OF_BOOKS, *OF_SALES):
            with in_memory(con):
                run(con, name)
    return True


def _replace(con: duckdb.DuckDBPyConnection, table: str) -> None:
    """Puts what was decided of the part's rows in the place of what was said of them before."""
    run(con, f"drop_decided_{table}")
    insert_part(con, table, LINE_OF.get(table, "line"))
