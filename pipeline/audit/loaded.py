"""What the ledger holds as loaded: one frame per input table, with the columns that anything is expected of."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from pipeline.audit.compiled import AS_READ, REFUSED
from schemas.audit import row_rules
from schemas.contract import INPUTS, Contract, Field, contract

if TYPE_CHECKING:
    import pandas as pd  # type: ignore[import-untyped]

    from pipeline.models.view import Models

# What else is told of a row, beside the cells of its own table.
DAY_OF_BATCH = "inoculated_on"


def columns_of(ledger: Models, name: str) -> dict[str, str]:
    """Return the columns, with their types, that this table or view of the ledger has. None where there is no such
    table.
    """
    return {column: held for table, column, held in ledger.tuples("held_columns") if table == name}


def frame(ledger: Models, table: Contract) -> pd.DataFrame:
    """The loaded rows of this input table as a pandas frame: file, row, those cells of which anything is expected (all
    numbers as doubles), what the stage holds for cells that set a row aside, whether the stage refuses the row, the
    row's cells as one number (`cells`), and the day of its batch's inoculation.
    """
    there = columns_of(ledger, table.name)
    wanted = [each for each in table.fields if each.name in there and _expects(table, each)]
    parts = ["t.file", "t.row", *(f"{_value('t', each)} as {_quoted(each.name)}" for each in wanted)]
    parts += [f"coalesce(s.faulty, true)::integer::double as {_quoted(REFUSED)}", "c.cells::varchar as cells"]
    for each in wanted:
        if each.required and each.on_fault == "set_aside":
            parts.append(f"{_value('s', each)} as {_quoted(AS_READ.format(each.name))}")
    joined = ""
    if "batch" in there:
        joined = "left join batches as b on b.batch = t.batch"
        parts += [] if DAY_OF_BATCH in table.names else [f"b.{DAY_OF_BATCH}"]
    return ledger.connection.execute(
        f"select {', '.join(parts)} from {table.name} as t "
        f"left join rows_of_{table.name} as s on s.file = t.file and s.row = t.row "
        f"left join cells_of_{table.name} as c on c.line = s.line "
        f"{joined} order by t.file, t.row"
    ).df()


def _expects(table: Contract, each: Field) -> bool:
    compared = {name for rule in row_rules() if rule.table == table.name for name in (*rule.columns, rule.other)}
    return bool(each.constraints or each.expect) or each.name in compared


def _value(source: str, each: Field) -> str:
    value = f"{source}.{_quoted(each.name)}"
    return f"{value}::double" if each.type in ("number", "integer") else value


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def referred(ledger: Models) -> dict[str, list[str]]:
    """Return the values in the columns that rules refer to, by TABLE.COLUMN."""
    names = {rule.other for rule in row_rules() if rule.relation == "among"}
    found = {}
    for name in sorted(names):
        table, column = name.split(".")
        rows = ledger.connection.execute(f"select distinct {column} from {table} where {column} is not null").fetchall()
        found[name] = [value for (value,) in rows]
    return found


def types_frame(ledger: Models) -> pd.DataFrame:
    """Return how the ledger holds the columns of the contracts. One row per column: table, column, held, contract."""
    import pandas as pd

    rows = []
    for name in INPUTS:
        held = columns_of(ledger, name)
        for each in contract(name).fields:
            rows.append(
                {"table": name, "column": each.name, "held": held.get(each.name, "missing"), "contract": _type(each)}
            )
    return pd.DataFrame(rows)


def _type(each: Field) -> str:
    """Return the type as which the ledger must hold this column. Said here once more, independent of what makes the
    tables.
    """
    if each.type == "number":
        return "DOUBLE" if each.decimals is None else f"DECIMAL(18,{each.decimals})"
    kinds: Mapping[str, str] = {"string": "VARCHAR", "date": "DATE", "integer": "INTEGER"}
    return kinds[each.type]
