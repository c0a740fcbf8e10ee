"""What stands on the shelves on one day: the rows that the weigh page and the picking sheet are made of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import groupby
from statistics import median

from reports.words import visible
from schemas.result_rows import Row, Rows, text_of


@dataclass(frozen=True)
class Shelves:
    """The rows of `running_units` (schemas/results) as of a day, in the order of the shelves, and the farm's settings
    (farm.toml) that a picking depends on.
    """

    farm_name: str | None
    as_of: date
    late_from: str
    new_flush_after_days: int
    decimal_mark: str
    rows: Rows

    @property
    def name(self) -> str:
        """The farm's name as shown; blank for a farm without a name."""
        return visible(self.farm_name or "").strip()


def called(row: Row) -> str:
    """Return how this row is called: by its container, or by the batch that is weighed together."""
    return visible(
        text_of(row, "batch") + ", weighed together" if row["container"] is None else text_of(row, "container")
    )


def last_weights(shelves: Shelves, row: Row) -> str:
    """Return what the last pickings of this row weighed, latest first, in g and with the farm's own decimal mark."""
    return text_of(row, "last_weights_g").replace(", ", " / ").replace(".", shelves.decimal_mark)


def by_room(shelves: Shelves) -> list[tuple[str, list[Row]]]:
    """Return the rows of each room. Rooms in the order of the shelves; a blank room is the last."""
    return [(visible(room), list(rows)) for room, rows in groupby(shelves.rows, key=lambda row: row["room"] or "")]


def usual_weight_g(shelves: Shelves) -> float | None:
    """Return the usual weight of a picking of one container: the median of what each last gave; None before any did."""
    last = [
        float(text_of(row, "last_weights_g").split(", ")[0])
        for row in shelves.rows
        if row["container"] and row["last_weights_g"]
    ]
    return median(last) if last else None
