"""The SQL files of the models, by name; and the rows of a query as records."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb

# The folders of the models, in the order in which their tables follow from each other.
GROUPS = ("ledger", "units", "results")


@cache
def statement(name: str) -> str:
    """Return the text of the model file NAME.sql, in whichever group it stands. Raises FileNotFoundError."""
    for group in GROUPS:
        path = files("pipeline.models").joinpath(group, f"{name}.sql")
        if path.is_file():
            return path.read_text(encoding="utf-8")
    raise FileNotFoundError(f"{name}.sql is in none of {', '.join(GROUPS)}")


def statements_of(group: str) -> list[str]:
    """Return the texts of all model files of a group, in the order of their names."""
    paths = sorted(files("pipeline.models").joinpath(group).iterdir(), key=lambda path: path.name)
    return [path.read_text(encoding="utf-8") for path in paths if path.name.endswith(".sql")]


def records(con: duckdb.DuckDBPyConnection, query: str) -> list[dict[str, Any]]:
    """Return the rows of a query: one record per row, by the names of its columns."""
    cursor = con.execute(query)
    names = [column[0] for column in cursor.description or ()]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
