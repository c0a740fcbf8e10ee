"""The view of one farm among many on Spark: what loaders of measures take, as if it were a ledger's."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pipeline.farm.settings import text
from pipeline.models.decided import FLUSH_RULE
from pipeline.models.view import LedgerView, Query, cap_stages
from pipeline.spark.engine import Sites, SitesAnswer
from pipeline.spark.session import SparkRow

if TYPE_CHECKING:
    from pipeline.models.unit_arrays import Arrays

# Spark's whole numbers; lines of the ledger, which are larger, are decimals there.
WHOLE = frozenset({"tinyint", "smallint", "int", "bigint"})
LINE = "decimal(20,0)"


class SiteView(LedgerView):
    """A LedgerView whose rows come from Spark: those of one site. All sites are worked out when the first is read."""

    def __init__(self, sites: Sites, site: str, query: Query, of_fillings: bool = False) -> None:
        self._sites, self._site = sites, site
        self.query, self.settings = query, sites.farms[site]
        self._of_fillings = of_fillings
        self._groups = None

    def _prepare(self) -> None:
        self._sites.set_variables(
            as_of=self.query.as_of,
            through=self.query.through_flush or 1,
            cap_stages=cap_stages(),
            group_by=[*self.query.by],
            of_fillings=self._of_fillings,
        )

    def set_variables(self, **values: object) -> None:
        """Set variables of the question, which are alike for all sites."""
        self._sites.set_variables(**values)

    def _answer(self, name: str) -> SitesAnswer:
        self._prepare()
        return self._sites.answer(name)

    def tuples(self, name: str) -> list[SparkRow]:
        """Return the site's rows of the model of this name: one tuple per row, in the order of its columns."""
        if name == FLUSH_RULE:
            return [tuple(json.loads(text(self._sites.farms[self._site], FLUSH_RULE)))]
        return self._answer(name).rows[self._site]

    def table(self, name: str) -> tuple[list[str], list[SparkRow]]:
        """Return the names of the columns of the model of this name, and the site's rows: one tuple per row."""
        found = self._answer(name)
        return [*found.columns], found.rows[self._site]

    def arrays(self, name: str, columns: Sequence[str] = ()) -> Arrays:
        """Return the columns of the site's rows as arrays: see pipeline.models.unit_arrays.read; columns: which."""
        found = self._answer(name)
        rows = found.rows[self._site]
        every = enumerate(found.columns.items())
        return {
            column: _array(kind, [row[at] for row in rows])
            for at, (column, kind) in every
            if not columns or column in columns
        }

    def by(self, *columns: str) -> SiteView:
        """Return this view with its units grouped by other columns."""
        return SiteView(self._sites, self._site, replace(self.query, by=columns))

    def of_fillings(self) -> SiteView:
        """Return this view with groups of fillings instead of units: also of batches that are weighed as a whole."""
        return SiteView(self._sites, self._site, self.query, of_fillings=True)


def _array(kind: str, cells: list[object]) -> NDArray[np.generic]:
    """The cells of a column as the ledger's loaders have them: nan where a number is missing, None where a text is."""
    blank = any(cell is None for cell in cells)
    if kind == LINE and not blank:
        return np.array([int(str(cell)) for cell in cells], dtype=np.uint64)
    if kind in WHOLE and not blank:
        return np.array(cells, dtype=np.int64)
    if kind == "boolean" and not blank:
        return np.array(cells, dtype=np.bool_)
    if kind in WHOLE or kind in ("double", "float") or kind.startswith("decimal"):
        return np.array([np.nan if cell is None else float(_number(cell)) for cell in cells])
    if kind == "date":
        return np.array(cells, dtype="datetime64[D]")
    found = np.empty(len(cells), dtype=object)
    found[:] = cells
    return found


def _number(cell: object) -> float | Decimal:
    if not isinstance(cell, int | float | Decimal):
        raise TypeError(f"{cell!r} is no number")
    return cell
