"""The stage: every row of every file, typed, in the ledger; and the statements that decide over it."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import TYPE_CHECKING

import polars as pl

from pipeline.farm.prices import exact_or_none, per_kg
from pipeline.farm.settings import Settings, whole
from pipeline.files.validate import file_part
from pipeline.models.lineage import LASTING, LEDGER, STAGE, order, outdated, read_last
from pipeline.models.statements import rows, run, set_variable, statement, statements_of
from schemas import pickings
from schemas.answers import FileStatus, FlushSource
from schemas.contract import BATCHES, HARVESTS, contract

if TYPE_CHECKING:
    from collections.abc import Container

    import duckdb

    from pipeline.files.validate import ValidatedRows
    from pipeline.ledger.backups import Key

# What is noted of a finding on a cell, each with its type.
CELL_FINDING = {
    "table_name": pl.String,
    "file": pl.String,
    "row": pl.Int32,
    "column_name": pl.String,
    "rule": pl.String,
    "level": pl.String,
    "value": pl.String,
}


class ArrowTable:
    """Hands a Polars frame to DuckDB through the Arrow C stream, without pyarrow."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self.frame = frame

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        return self.frame.__arrow_c_stream__(requested_schema)


def create_stage(con: duckdb.DuckDBPyConnection) -> None:
    """Makes the empty stage: one table per input, the files, the findings on cells, and the rules on rows."""
    for text in statements_of(STAGE):
        con.execute(text)


def drop_file(con: duckdb.DuckDBPyConnection, table: str, file: str) -> None:
    """Takes a file's rows off the stage."""
    run(con, f"drop_rows_{table}", file_part=file_part(table, file))
    _forget_file(con, table, file)


def _forget_file(con: duckdb.DuckDBPyConnection, table: str, file: str) -> None:
    for name in ("drop_file", "drop_cell_findings"):
        run(con, name, table_name=table, file=file)


def stage_files(con: duckdb.DuckDBPyConnection, validated: ValidatedRows, known: Container[Key]) -> None:
    """Puts the rows of files of one table, and the findings on their cells, on the stage. Of files that are `known`, on
    which these stand as they were, only what changed is written; of those that only grew, there is nothing else.
    """
    table = validated.raws[0].source.table
    before = [raw.source.name for raw in validated.raws if (table, raw.source.name) in known and not raw.first]
    if before:
        con.from_arrow(ArrowTable(validated.frame)).query("incoming", statement(f"arriving_{table}"))
        run(con, f"drop_changed_{table}", file_parts=[file_part(table, file) for file in before])
        run(con, f"add_changed_{table}")
    else:
        add_rows(con, table, validated.frame)
    for file in before:
        _forget_file(con, table, file)
    note_files(con, validated)


def add_rows(con: duckdb.DuckDBPyConnection, table: str, frame: pl.DataFrame) -> None:
    """Puts validated rows of this table on the stage."""
    con.from_arrow(ArrowTable(frame)).query("incoming", statement(f"add_rows_{table}"))


def note_files(con: duckdb.DuckDBPyConnection, validated: ValidatedRows) -> None:
    """Notes what was found in the cells of these files; and the files themselves, where no more rows of them follow."""
    table = validated.raws[0].source.table
    found = _cell_findings(validated)
    if not found.is_empty():
        con.from_arrow(ArrowTable(found)).query("found", statement("add_cell_findings"))
    for raw in () if validated.more else validated.raws:
        if raw.first:
            run(con, "drop_file", table_name=table, file=raw.source.name)
        # How it stands is noted once all files are on the stage: see pipeline/ledger/draft.py.
        add_file(con, table, raw.source.name, raw.content_hash, raw.rows_in, raw.rows_blank)


def _cell_findings(validated: ValidatedRows) -> pl.DataFrame:
    """The findings on the cells of these files, and on the files themselves."""
    table = validated.raws[0].source.table
    of_cells = validated.findings.with_columns(pl.lit(table).alias("table_name")).select(*CELL_FINDING)
    of_files = [
        (each.table, each.file, each.row, each.column, each.rule, each.level, each.value)
        for raw in (() if validated.more else validated.raws)
        for each in raw.notices
    ]
    return pl.concat([of_cells, pl.DataFrame(of_files, schema=CELL_FINDING, orient="row")])


def add_file(
    con: duckdb.DuckDBPyConnection,
    table: str,
    file: str,
    content_hash: str = "",
    rows_in: int = 0,
    rows_blank: int = 0,
    status: FileStatus = FileStatus.PRESENT,
    problem: str = "",
) -> None:
    """Notes a file of the farm, with how it stands and what is wrong with it."""
    run(
        con,
        "add_file",
        table_name=table,
        file=file,
        file_part=file_part(table, file),
        content_hash=content_hash,
        rows_in=rows_in,
        rows_blank=rows_blank,
        status=status.value,
        problem=problem,
    )


def set_bounds(con: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Set what the decisions ask for by getvariable: cap stages in order, bounds shared with the logbook, and what
    farm.toml says of prices.
    """
    variables = {
        "cap_stages": list(contract(HARVESTS).field("cap_stage").words),
        "least_pickings": pickings.LEAST_PICKINGS,
        "times_more": pickings.TIMES_MORE,
        "times_less": pickings.TIMES_LESS,
        "most_spawn_pct": int(contract(BATCHES).row_rules["spawn_above_40_pct"]["limit"]),
        # As DuckDB takes a map.
        "weight_slips": {"key": [*pickings.SLIPS], "value": [*pickings.SLIPS.values()]},
        "kg_per": _map_of(per_kg(settings)),
        "farm_price": exact_or_none(settings, "price_per_kg"),
    }
    for name, value in variables.items():
        set_variable(con, name, value)


def _map_of(factors: Mapping[str, Decimal]) -> dict[str, list[str]]:
    return {"key": [*factors], "value": [f"{each:f}" for each in factors.values()]}


def set_flush_rule(con: duckdb.DuckDBPyConnection, settings: Settings) -> int:
    """Set by which rule blank flush cells are numbered: the farm's own, or one that is fitted to its gaps. Return after
    how many days without a picking a new flush begins by it.
    """
    import numpy as np

    from pipeline.stats.gaps import GapRule, gap_rule

    if settings["new_flush_after_days"] is not None:
        days = whole(settings, "new_flush_after_days")
        rule, source = GapRule(days, False, 0.0, days, days - 1), FlushSource.SET
    else:
        found = np.array(rows(con, "gap_lengths"), dtype=np.int64).reshape(-1, 2)
        rule = gap_rule(found[:, 0], found[:, 1], pickings.NEW_FLUSH_AFTER_DAYS)
        source = FlushSource.FITTED if rule.fitted else FlushSource.USUAL
    set_variable(con, "new_flush_after_days", rule.days)
    set_variable(con, "flush_rule_source", source.value)
    set_variable(con, "unsure_from", rule.unsure_from)
    set_variable(con, "unsure_to", rule.unsure_to)
    set_variable(con, "gaps_wrong", rule.wrong)
    return rule.days


def clear_decided(con: duckdb.DuckDBPyConnection) -> None:
    """Takes all that was decided out of the draft, whose file would else hold it beside what is decided anew."""
    for name in LASTING:
        run(con, f"clear_{name}")
    con.checkpoint()


def decide_without_pickings(con: duckdb.DuckDBPyConnection, settings: Settings) -> frozenset[str]:
    """Decides what does not hang on pickings, which need not be on the stage yet; returns which models that were."""
    set_bounds(con, settings)
    models = order(LEDGER)
    decided = frozenset(models) - outdated((*order(STAGE), *models), {f"stage_{HARVESTS}"})
    for name in models:
        if name in decided:
            run(con, name)
    return decided


def decide(con: duckdb.DuckDBPyConnection, settings: Settings, decided: Container[str] = ()) -> None:
    """Decides over the whole stage what is loaded, set aside or waiting, and what is found, beside what is `decided`.

    Raises AssertionError when a file's rows do not add up: that is a mistake of gillbook's, never of the data.
    """
    set_bounds(con, settings)
    for name in order(LEDGER):
        if name not in decided:
            run(con, name)
        if name == "gap_counts":
            set_flush_rule(con, settings)
        for table in read_last().get(name, ()):
            run(con, f"let_go_{table}")
    check_balance(con)


def check_balance(con: duckdb.DuckDBPyConnection) -> None:
    """Raise AssertionError where the rows of a file do not add up."""
    wrong = [file for file, _, rows_in, accounted_for in rows(con, "row_balance") if rows_in != accounted_for]
    assert not wrong, f"rows in = loaded + set aside + waiting + blank does not hold for {wrong}"
