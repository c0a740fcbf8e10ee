"""A table of one farm as it is shown, kept small until it is put together with those of other farms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from pipeline.cli.cell_texts import NOTHING
from pipeline.cli.table_lines import TextColumn
from schemas.result_rows import names_together


@dataclass(frozen=True)
class GatheredTable:
    """The columns of a table by their keys, without cells; and the cells of each as one text, a line each. As texts of
    their own they take ten times the memory, and a farm of ten million pickings has 290,000 rows. rows: how many.
    """

    columns: Mapping[str, TextColumn]
    lines: Mapping[str, str]
    rows: int

    @staticmethod
    def of(columns: Mapping[str, TextColumn]) -> GatheredTable:
        """Return a table of these columns. No cell that is shown has more than one line."""
        rows = max(len(each.cells) for each in columns.values())
        lines = {key: "\n".join(each.cells) for key, each in columns.items()}
        return GatheredTable({key: replace(each, cells=()) for key, each in columns.items()}, lines, rows)

    def cells(self, key: str) -> list[str]:
        """Return the cells of this column: of one that the table does not have, that there is nothing."""
        if key not in self.lines:
            return [NOTHING] * self.rows
        return self.lines[key].split("\n") if self.rows else []


def tables_together(of_sites: Mapping[str, GatheredTable], site: str) -> list[TextColumn]:
    """Return the columns of a table of all sites, of which the first, called `site`, names them. A column that several
    farms' tables have is shown as the first of them shows it.
    """
    tables = of_sites.values()
    keys = names_together(table.columns for table in tables)
    named = [name for name, table in of_sites.items() for _ in range(table.rows)]
    return [
        TextColumn([site], named),
        *(
            replace(
                next(table.columns[key] for table in tables if key in table.columns),
                cells=[cell for table in tables for cell in table.cells(key)],
            )
            for key in keys
        ),
    ]
