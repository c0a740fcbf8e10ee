"""What a ledger has decided, handed on for engines that work out the measures of many farms at once."""

from __future__ import annotations

import json
from itertools import takewhile
from typing import TYPE_CHECKING

from pipeline.farm.prices import farm_prices
from pipeline.farm.settings import number_or_none, text, whole
from pipeline.models.lineage import UNITS, model, names, needed
from pipeline.models.measures import OF_MONTH
from pipeline.models.view import THRESHOLDS, Ledger, late_rank

if TYPE_CHECKING:
    import polars as pl

# Which rows are in no figure yet, and in which rows pickings stand: what a farm's own files tell, and no measures.
OF_FILES = ("waiting_months", "picking_rows")
# The models that other engines work out.
MEASURES = (
    "yields",
    "flushes",
    "days",
    "losses",
    "causes",
    "months",
    *(name for name in OF_MONTH if name not in OF_FILES),
    "money",
    "money_months",
    "unsold",
    "books_kept",
    "group_names",
    "pinned_units",
    "flush_units",
    "flush_pickings",
    "flush_pins",
    "compared_units",
    "compared_money",
    "compared_batches",
)
# The table of what a farm's own variables are: one row.
FARMS = "farms"
# Among its columns: by which rule blank flush cells were numbered, in JSON.
FLUSH_RULE = "derived_flush_rule"


def decided_names() -> tuple[str, ...]:
    """Return the tables of the ledger that the measures rest on, by name."""
    read = (model(name).reads for name in (*MEASURES, *needed(*MEASURES)))
    return tuple(sorted(frozenset().union(*read) - names(UNITS)))


def decided(ledger: Ledger) -> dict[str, pl.DataFrame]:
    """Return these tables with all their rows, of any day, and what the farm's variables are."""
    import polars as pl

    found = {name: pl.DataFrame(ledger.connection.table(name)) for name in decided_names()}
    return {**found, FARMS: _variables(ledger)}


def what_they_are() -> dict[str, str]:
    """Return what each of these tables says, by its name: the first lines of its model."""
    found = {name: " ".join(_head(model(name).text)) for name in decided_names()}
    return {**found, FARMS: "What the farm's settings and prices are, where measures depend on them."}


def _head(text: str) -> list[str]:
    lines = takewhile(lambda line: not line.startswith("-- Grain:"), text.splitlines())
    return [line.removeprefix("-- ") for line in lines]


def _variables(ledger: Ledger) -> pl.DataFrame:
    """The variables of a view that are the farm's own, whatever is asked; prices as texts, which are exact."""
    import polars as pl

    # As farm.toml has them: a view's prices are of its day.
    settings = {**ledger.farm_settings, "new_flush_after_days": ledger.settings["new_flush_after_days"]}
    prices = farm_prices(settings)
    values = {
        **{name: whole(settings, name) for name in (*THRESHOLDS, "shelf_days")},
        "late_rank": late_rank(settings),
        "price_items": prices["key"],
        "price_texts": prices["value"],
        "price_per_kg": number_or_none(settings, "price_per_kg"),
        "currency": text(settings, "currency"),
        # As derived_flush_rule.sql gives it, which looks into files.
        FLUSH_RULE: json.dumps(ledger.tuples("derived_flush_rule")[0]),
    }
    kinds = {"price_per_kg": pl.Float64(), "currency": pl.String()}
    return pl.DataFrame([values], schema_overrides=kinds)
