"""The SQL files of the pipeline: the text of one, and what a query tells as records."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb


def sql_of(package: str, name: str) -> str:
    """What stands in a package's file NAME.sql?"""
    return files(package).joinpath(f"{name}.sql").read_text(encoding="utf-8")


def records(con: duckdb.DuckDBPyConnection, query: str) -> list[dict[str, Any]]:
    """What does the query tell? One record per row, by the names of its columns."""
    cursor = con.execute(query)
    names = [column[0] for column in cursor.description or ()]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
