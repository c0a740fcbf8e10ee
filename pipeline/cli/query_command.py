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
    from pipeline.models.view import open_ledger

    opened = open_the_farm(farm)
    done = refreshed(opened)
    with open_ledger(opened.ledger, scratch=False) as con:
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
        sql.encode("utf-8")
        statements = con.extract_statements(sql)
        if len(statements) != 1 or statements[0].type != duckdb.StatementType.SELECT:
            raise WrongRequest("query: one SELECT is allowed, and nothing else.")
        con.execute("set lock_configuration = true")
        cursor = con.execute(sql)
        rows = cursor.fetchall()
    except UnicodeEncodeError as problem:
        raise WrongRequest("query: that is not UTF-8 text. Type it anew.") from problem
    except duckdb.PermissionException as problem:
        raise WrongRequest("query: only the ledger can be read, no other file or setting.") from problem
    except duckdb.Error as problem:
        raise WrongRequest(f"query: {problem}") from problem
    names: list[str] = []
    for column in cursor.description:
        # A column may be called like another, or like what another would be called instead.
        calls = (column[0], *(f"{column[0]}_{number}" for number in range(2, len(cursor.description) + 2)))
        names.append(next(name for name in calls if name not in names))
    return names, rows
