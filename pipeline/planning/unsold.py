"""What lies there unsold, by strain and age: what was picked less what left, the oldest first."""

from __future__ import annotations

import numpy as np

from pipeline.models.unit_arrays import Numbers
from pipeline.models.unsold_records import LeftDay, UnsoldRecords

# What was picked before so many shelf lives cannot lie there any more, whatever left since.
LIVES_BACK = 4


def days_needed(shelf_days: int) -> int:
    """Return of how many days, the last one too, the records are needed."""
    return LIVES_BACK * (shelf_days + 1)


def unsold(records: UnsoldRecords, strains: list[str], as_of: int, shelf_days: int) -> Numbers:
    """Return what can still be sold on a day: strains x ages in days from 0, in kg. as_of: that day, as date.toordinal;
    strains: their names in small letters; the last stands for all others.

    A sale that says its day of picking takes from that day, every other from the oldest that can still be sold. More
    than was there is taken from nothing.
    """
    days = days_needed(shelf_days)
    first = as_of - days + 1
    there = np.zeros((len(strains), days))
    for picked in records.picked:
        there[_number(strains, picked.strain), picked.picked_on.toordinal() - first] += picked.kg
    for left in records.left:
        _take(there, left, strains, first, shelf_days)
    return there[:, ::-1][:, : shelf_days + 1].copy()


def _take(there: Numbers, left: LeftDay, strains: list[str], first: int, shelf_days: int) -> None:
    day = left.left_on.toordinal() - first
    own = None if left.picked_on is None else left.picked_on.toordinal() - first
    days = range(max(0, day - shelf_days), day + 1) if own is None else [own] if 0 <= own <= day else []
    kg = left.kg
    for at in days:
        for strain in range(len(strains)) if not left.strain else [_number(strains, left.strain)]:
            taken = min(kg, float(there[strain, at]))
            there[strain, at] -= taken
            kg -= taken


def _number(strains: list[str], strain: str) -> int:
    """Return the number of a strain among those that are told apart; that of all others where it is none of them."""
    strain = strain.casefold()
    return strains.index(strain) if strain in strains else len(strains) - 1
