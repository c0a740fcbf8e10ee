"""What stands on the shelves on one day: the rows that the weigh page and the picking sheet are made of."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import groupby

from reports.words import visible
from schemas.own_weights import Given, usual_of_flushes
from schemas.result_rows import Row, Rows, number_of, text_of


@dataclass(frozen=True)
class MassUnit:
    """The unit that weights are typed and shown in: g, kg, oz or lb, and how many grams one is."""

    name: str = "g"
    grams: float = 1.0


@dataclass(frozen=True)
class Selling:
    """What the weigh page needs to log what leaves the farm. currency: what the farm's money is called, blank where
    farm.toml does not say; buyers: each with what a kilogram brought last, as exact text; names with the latest first.
    """

    currency: str
    buyers: Sequence[tuple[str, str]] = ()
    strains: Sequence[str] = ()
    batches: Sequence[str] = ()


@dataclass(frozen=True)
class Shelves:
    """The rows of `running_units` (schemas/results) as of a day, in the order of the shelves, and the farm's settings
    (farm.toml) that a picking depends on. usual_g: what a picking of a container usually weighs on the farm, in g, None
    where that is not known; weight_shares: what a picking usually is, by flush (schemas/own_weights.py); due:
    batch and container of what is to be picked; written_in: in how many grams each the columns are read that are not in
    grams by their very names; selling: None where the farm keeps neither sales nor prices.
    """

    farm_name: str | None
    as_of: date
    late_from: str
    new_flush_after_days: int
    decimal_mark: str
    rows: Rows
    usual_g: float | None = None
    weight_shares: Sequence[float] = ()
    due: Collection[tuple[str, object]] = ()
    unit: MassUnit = MassUnit()
    written_in: Mapping[str, float] = field(default_factory=dict)
    selling: Selling | None = None

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


def last_flushes(row: Row) -> list[int]:
    """Return the flushes of the last pickings of this row, the latest first."""
    return [int(flush) for flush in text_of(row, "last_flushes").split(", ") if flush]


def usual_by_flush_g(shelves: Shelves, row: Row) -> list[float]:
    """Return what one picking of this container usually is, by flush, to a tenth of a g: see schemas/own_weights.py.
    Empty where nothing is known, and for what is weighed together.
    """
    if row["container"] is None:
        return []
    weights = [float(weight) for weight in text_of(row, "last_weights_g").split(", ") if weight]
    before = [Given(*each) for each in zip(last_flushes(row), weights, strict=True)][::-1]
    return [round(usual, 1) for usual in usual_of_flushes(before, number_of(row, "most_g"), shelves.weight_shares)]
