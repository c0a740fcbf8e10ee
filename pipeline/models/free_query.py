"""A query of the grower's own: one SELECT, of which nothing is known before. It reads the ledger and nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.models.view import open_ledger
from schemas.finding import WrongRequest


@dataclass(frozen=True)
class FreeRows:
    """The rows of a free query, as records, and the names of its columns: each once."""

    names: tuple[str, ...]
    records: list[dict[str, object]]


def free_query(ledger: Path, sql: str) -> FreeRows:
    """Run one SELECT over the ledger at this path.

    Raises WrongRequest for anything else, and for what DuckDB finds wrong with it; OutOfReach as open_ledger does.
    """
    import duckdb

    with open_ledger(ledger, scratch=False) as con:
        try:
            sql.encode("utf-8")
            statements = con.extract_statements(sql)
            if len(statements) != 1 or statements[0].type != duckdb.StatementType.SELECT:
                raise WrongRequest("query: one SELECT is allowed, and nothing else.")
            con.execute("set lock_configuration = true")
            cursor = con.execute(sql)
            names = _distinct([column[0] for column in cursor.description or ()])
            return FreeRows(names, [dict(zip(names, row, strict=True)) for row in cursor.fetchall()])
        except UnicodeEncodeError as problem:
            raise WrongRequest("query: that is not UTF-8 text. Type it anew.") from problem
        except duckdb.PermissionException as problem:
            raise WrongRequest("query: only the ledger can be read, no other file or setting.") from problem
        except duckdb.Error as problem:
            raise WrongRequest(f"query: {problem}") from problem


def _distinct(names: Sequence[str]) -> tuple[str, ...]:
    """Return the names of columns, each once: a second `a` is `a_2`, unless another column is called so."""
    found: list[str] = []
    for each in names:
        calls = (each, *(f"{each}_{number}" for number in range(2, len(names) + 2)))
        found.append(next(name for name in calls if name not in found))
    return tuple(found)
