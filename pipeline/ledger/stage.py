"""The stage: every row of every file, typed, in the ledger; and the statements that decide over it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from pipeline.farm.settings import Settings, whole
from pipeline.models.lineage import LEDGER
from pipeline.models.statements import statements_of
from schemas import pickings
from schemas.contract import BATCHES, INPUTS, Contract, Field, contract

if TYPE_CHECKING:
    import duckdb

    from pipeline.files.validate import ValidatedRows


class ArrowTable:
    """Hands a Polars frame to DuckDB through the Arrow C stream, without pyarrow."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self.frame = frame

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        return self.frame.__arrow_c_stream__(requested_schema)


def sql_type(each: Field) -> str:
    """Return how the ledger holds this column. Masses are decimals, so that sums are exact."""
    if each.type == "number":
        return "double" if each.decimals is None else f"decimal(18, {each.decimals})"
    return {"string": "varchar", "date": "date", "integer": "integer"}[each.type]


def _columns(table: Contract) -> list[tuple[str, str]]:
    columns = [("line", "ubigint")]
    columns += [(each.name, sql_type(each)) for each in table.fields]
    columns += [(f"{name}_text", "varchar") for name in table.columns_with_text]
    return [*columns, ("other_cells", "varchar"), ("faulty", "boolean")]


def _cells(table: Contract) -> str:
    """The columns in which two rows that say the same are equal: all cells of the file, also the unknown ones."""
    return ", ".join(f'"{name}"' for name in (*table.names, "other_cells"))


def create_stage(con: duckdb.DuckDBPyConnection) -> None:
    """Makes the empty stage: one table per input, the files, the findings on cells, and the rules on rows."""
    con.execute(
        "create table files (table_name varchar, file varchar, file_part ubigint primary key, content_hash varchar, "
        "rows_in integer, rows_blank integer, status varchar, problem varchar)"
    )
    # A row's line is its file's number and its own: see pipeline/files/validate.py.
    con.execute("create macro row_of(line) as (line & 4294967295)::integer")
    con.execute("create macro file_part_of(line) as line >> 32")
    for name in INPUTS:
        columns = ", ".join(f'"{column}" {kind}' for column, kind in _columns(contract(name)))
        con.execute(f"create table stage_{name} ({columns})")
        con.execute(
            f"create view rows_of_{name} as select s.*, f.file, row_of(s.line) as row "
            f"from stage_{name} as s inner join files as f on f.file_part = file_part_of(s.line)"
        )
        cells = _cells(contract(name))
        con.execute(f"create view cells_of_{name} as select line, hash({cells}) as cells from stage_{name}")
    con.execute(
        "create table cell_findings (table_name varchar, file varchar, row integer, column_name varchar, "
        "rule varchar, level varchar, value varchar)"
    )
    con.execute("create table row_rules (table_name varchar, rule varchar, column_name varchar, level varchar)")
    for name in INPUTS:
        for rule, notice in contract(name).row_rules.items():
            values = [name, rule, notice.get("column", ""), notice["level"]]
            con.execute("insert into row_rules values (?, ?, ?, ?)", values)


def drop_file(con: duckdb.DuckDBPyConnection, table: str, file: str) -> None:
    """Takes a file's rows off the stage."""
    from pipeline.files.validate import file_part

    con.execute(f"delete from stage_{table} where file_part_of(line) = ?", [file_part(table, file)])
    for listed_in in ("files", "cell_findings"):
        con.execute(f"delete from {listed_in} where table_name = ? and file = ?", [table, file])


def stage_files(con: duckdb.DuckDBPyConnection, validated: ValidatedRows) -> None:
    """Puts the rows of files of one table, and the findings on their cells, on the stage."""
    from pipeline.files.validate import file_part

    table = validated.raws[0].source.table
    names = [name for name, _ in _columns(contract(table))]
    listed = ", ".join(f'"{name}"' for name in names)
    incoming = con.from_arrow(ArrowTable(validated.frame))
    incoming.query("incoming", f"insert into stage_{table} select {listed} from incoming")
    columns = "file, row, column_name, rule, level, value"
    found = con.from_arrow(ArrowTable(validated.findings))
    found.query("found", f"insert into cell_findings select '{table}', {columns} from found")
    for raw in validated.raws:
        values = [
            table,
            raw.source.name,
            file_part(table, raw.source.name),
            raw.content_hash,
            raw.rows_in,
            raw.rows_blank,
        ]
        # How it stands is told once all files are on the stage: see pipeline/ledger/draft.py.
        con.execute("insert into files values (?, ?, ?, ?, ?, ?, 'present', '')", values)
        for notice in raw.notices:
            values = [notice.table, notice.file, notice.row, notice.column, notice.rule, notice.level, notice.value]
            con.execute("insert into cell_findings values (?, ?, ?, ?, ?, ?, ?)", values)


def _set_variables(con: duckdb.DuckDBPyConnection, new_flush_after_days: int) -> None:
    """Set what the decisions ask for by getvariable: a setting of the farm, and the bounds shared with the logbook."""
    variables = {
        "new_flush_after_days": new_flush_after_days,
        "least_pickings": pickings.LEAST_PICKINGS,
        "times_more": pickings.TIMES_MORE,
        "times_less": pickings.TIMES_LESS,
        "most_spawn_pct": contract(BATCHES).row_rules["spawn_above_40_pct"]["limit"],
    }
    for name, value in variables.items():
        con.execute(f"set variable {name} = {value}")
    con.execute(
        "set variable weight_slips = map(?::varchar[], ?::double[])", [[*pickings.SLIPS], [*pickings.SLIPS.values()]]
    )


def decide(con: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Decides over the whole stage what is loaded, set aside or waiting, and what is found.

    Raises AssertionError when a file's rows do not add up: that is a mistake of gillbook's, never of the data.
    """
    _set_variables(con, whole(settings, "new_flush_after_days"))
    for text in statements_of(LEDGER):
        con.execute(text)
    wrong = con.execute("select file from row_counts where rows_in <> loaded + set_aside + waiting + blank").fetchall()
    assert not wrong, f"rows in = loaded + set aside + waiting + blank does not hold for {wrong}"
