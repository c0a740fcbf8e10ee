"""The texts of the models, and the rows of a query as records."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.models.lineage import model, order

if TYPE_CHECKING:
    import duckdb


def statement(name: str) -> str:
    """Return the text of a model. Raises KeyError where there is none of this name."""
    return model(name).text


def statements_of(group: str) -> list[str]:
    """Return the texts of all models of a group, in their order."""
    return [statement(name) for name in order(group)]


def records(con: duckdb.DuckDBPyConnection, query: str) -> list[dict[str, Any]]:
    """Return the rows of a query: one record per row, by the names of its columns."""
    cursor = con.execute(query)
    names = [column[0] for column in cursor.description or ()]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
