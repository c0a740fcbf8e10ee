"""The page that logs what left and what is promised; and what is due, as Today shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from reports.screens.screen import Screen
from reports.words import visible
from schemas.contract import PROMISES, SALES, contract

# What the address may fill in already, as a line of Today does.
FILLED_IN = ("weight_g", "buyer", "strain", "batch")


@dataclass(frozen=True)
class Proposed:
    """What the fields propose: names, the latest first; and what the farm's money is called, blank where not said."""

    currency: str
    buyers: Sequence[str]
    strains: Sequence[str]
    batches: Sequence[str]


def sell(farm: str, day: date, proposed: Proposed, query: Mapping[str, str], notes: Sequence[str]) -> Screen:
    """Return the forms of a sale and of a promise, with what is known already in their fields."""
    values = {
        "day": day,
        "proposed": proposed,
        "currency": visible(proposed.currency),
        "kinds": contract(SALES).field("kind").words,
        "repeats": contract(PROMISES).field("repeats").words,
        **{name: query.get(name, "") for name in FILLED_IN},
    }
    return Screen("sell.html.j2", "Sell", farm, "/sell", values, notes)
