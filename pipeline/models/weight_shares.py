"""What a picking of a container usually is: on the farm; and by flush, over the most that one of its fill can be."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from pipeline.models.statements import rows, run, set_variable
from schemas import pickings

if TYPE_CHECKING:
    import duckdb

    from pipeline.models.view import Models

# What filling_most and weight_shares look at.
BOUNDS = {
    "least_pickings": pickings.LEAST_PICKINGS,
    "most_per_dry_kg_g": pickings.MOST_PER_DRY_KG_G,
    "most_per_kg_g": pickings.MOST_PER_KG_G,
    "most_per_litre_g": pickings.MOST_PER_LITRE_G,
    "most_unknown_g": pickings.MOST_UNKNOWN_G,
}


def weight_shares(ledger: Models) -> list[float]:
    """Return the share of flush 1, 2 ...: see schemas/own_weights.py, which judges by them."""
    ledger.set_variables(**BOUNDS)
    return _from_the_first(ledger.tuples("weight_shares"))


def usual_weight_g(ledger: Models) -> float | None:
    """Return what a picking of a container usually weighs on the farm, in g; None where too few are known."""
    ledger.set_variables(**BOUNDS)
    found = ledger.tuples("usual_weight")
    return float(found[0][0]) if found else None


def shares_of(con: duckdb.DuckDBPyConnection) -> list[float]:
    """Return the same of the ledger that is open here, while it is made."""
    for name, value in BOUNDS.items():
        set_variable(con, name, value)
    run(con, "filling_most")
    return _from_the_first(rows(con, "weight_shares"))


def _from_the_first(found: Iterable[tuple[int, float]]) -> list[float]:
    """Return the shares up to the first flush of which too few pickings are known."""
    return [share for at, (flush, share) in enumerate(found, 1) if flush == at]
