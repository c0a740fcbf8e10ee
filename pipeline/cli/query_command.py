"""The command that asks the ledger in SQL: query."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from pipeline.cli.options import FarmOption, JsonOption, refreshed, tell, tell_set_aside
from pipeline.cli.options import the_farm as open_the_farm
from schemas.finding import WrongRequest


def query(
    sql: Annotated[
        str,
        typer.Argument(
            help="One SELECT over the ledger's tables: batches, fillings, observations, harvests, findings, files."
        ),
    ],
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Ask the ledger with one SQL SELECT. Nothing is written and no other file can be read."""
    from pipeline.cli.show import Column, as_json, as_table
    from pipeline.measures.runner import open_ledger

    opened = open_the_farm(farm)
    done = refreshed(opened)
    with open_ledger(opened.ledger) as con:
        names, rows = _select(con, sql)
    tell_set_aside(done)
    records = [dict(zip(names, row, strict=True)) for row in rows]
    if json:
        as_json(records)
    elif records:
        as_table(records, [Column(name, name) for name in names], cut=False)
    else:
        tell("No rows.")


def _select(con: Any, sql: str) -> tuple[list[str], list[tuple[Any, ...]]]:
    """Runs one SELECT. Raises WrongRequest for anything else, and for what DuckDB finds wrong with it."""
    import duckdb

    try:
        statements = con.extract_statements(sql)
        if len(statements) != 1 or statements[0].type != duckdb.StatementType.SELECT:
            raise WrongRequest("query: one SELECT is allowed, and nothing else.")
        con.execute("set lock_configuration = true")
        cursor = con.execute(sql)
        rows = cursor.fetchall()
    except duckdb.PermissionException as problem:
        raise WrongRequest("query: only the ledger can be read, no other file or setting.") from problem
    except duckdb.Error as problem:
        raise WrongRequest(f"query: {problem}") from problem
    named: dict[str, int] = {}
    names = []
    for column in cursor.description:
        named[column[0]] = named.get(column[0], 0) + 1
        names.append(column[0] if named[column[0]] == 1 else f"{column[0]}_{named[column[0]]}")
    return names, rows
