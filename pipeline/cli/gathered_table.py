"""A table of one farm as it is shown, kept small until it is put together with those of other farms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.cli.cell_texts import NOTHING
from pipeline.cli.table_lines import TextColumn


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
    """Return the columns of a table of all sites, of which the first, called `site`, names them."""
    tables = of_sites.values()
    named = [name for name, table in of_sites.items() for _ in range(table.rows)]
    return [
        TextColumn([site], named),
        *(
            replace(column, cells=[cell for table in tables for cell in table.cells(key)])
            for key, column in _columns_of_all([table.columns for table in tables]).items()
        ),
    ]


def _columns_of_all(of_sites: Sequence[Mapping[str, TextColumn]]) -> dict[str, TextColumn]:
    """The columns that any farm's table has, each once, where the first that has it shows it."""
    keys: list[str] = []
    for columns in of_sites:
        after = 0
        for key in columns:
            if key in keys:
                after = keys.index(key) + 1
            else:
                keys.insert(after, key)
                after += 1
    return {key: next(columns[key] for columns in of_sites if key in columns) for key in keys}
