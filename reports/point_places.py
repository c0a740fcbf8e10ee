"""Where what a chart draws stands in the files: container, batch, file and row of each of its points."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

from reports.month import Month
from reports.words import isolated, visible
from schemas.result_rows import Row, text_of, texts_of, whole_of

# Of a point that many rows went into, so many are named. Our choice, no source.
ROWS_NAMED = 12
Entry = list[str | int]  # container, or batch of a soak ("" for a batch itself), number of its file, row
Place = tuple[str, str, Sequence[Entry], int]  # Batch or Soak, its name, its rows in the files, how many more there are


class PointPlaces:
    """The places of a page's points, each once, by the rows of result tables that they draw."""

    def __init__(self, month: Month) -> None:
        self._month = month
        self._numbers: dict[tuple[str, int], int | None] = {}
        self.found: list[Place] = []
        self._files: dict[str, int] = {}

    @property
    def files(self) -> list[str]:
        """The files of the places found so far, by their numbers."""
        return [*self._files]

    def of_row(self, table: str, at: int) -> int | None:
        """Return the number of the place of this row; None where it does not stand in the files as such."""
        key = (table, at)
        if key not in self._numbers:
            place = self._place(table, self._month.rows(table)[at])
            self._numbers[key] = len(self.found) if place else None
            self.found += [place] if place else []
        return self._numbers[key]

    def _place(self, table: str, row: Row) -> Place | None:
        if table == "batch_pickings":
            return self._picked(row)
        name = next((column for column in ("batch", "soak") if row.get(column)), None)
        if name is None:
            return None
        if "file" in row:
            return self._cut("batch", text_of(row, "batch"), [row])
        rows = self._batches.get((name, text_of(row, name)), ())
        return self._cut(name, text_of(row, name), rows, "batch" if name == "soak" else "")

    def _picked(self, row: Row) -> Place | None:
        key = (text_of(row, "batch"), str(row["picked_on"]))
        return self._cut("batch", key[0], self._pickings.get(key, ()))

    def _cut(self, what: str, name: str, rows: Sequence[Row], named_by: str = "container") -> Place | None:
        """Return the place of these rows, the first of them where they are many; None where there are none."""
        entries = [self._entry(each, named_by) for each in rows[:ROWS_NAMED]]
        return (what.capitalize(), _shown(name), entries, len(rows) - len(entries)) if rows else None

    def _entry(self, row: Row, named_by: str) -> Entry:
        file = _shown(text_of(row, "file"))
        number = self._files.setdefault(file, len(self._files))
        name = text_of(row, named_by) if named_by in row else ""
        return [_shown(name), number, whole_of(row, "row")]

    @cached_property
    def _pickings(self) -> dict[tuple[str, str], list[Row]]:
        found: dict[tuple[str, str], list[Row]] = {}
        for row in self._month.rows("picking_rows"):
            found.setdefault((text_of(row, "batch"), str(row["picked_on"])), []).append(row)
        return found

    @cached_property
    def _batches(self) -> dict[tuple[str, str], list[Row]]:
        """The rows of batches.csv of each batch and soak."""
        kinds = self._month.rows("batch_kinds")
        batches, soaks = texts_of(kinds, "batch", "soak")
        of_batch = {batch: at for at, batch in enumerate(batches)}
        found: dict[tuple[str, str], list[Row]] = {("batch", name): [kinds[at]] for name, at in of_batch.items()}
        for at in of_batch.values():
            found.setdefault(("soak", soaks[at]), []).append(kinds[at])
        return found


def _shown(text: str) -> str:
    return isolated(visible(text))
