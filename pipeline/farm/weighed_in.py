"""In which unit the farm weighs its pickings: that of the heading which farm.toml has for the weight."""

from __future__ import annotations

from pipeline.farm.folder import Farm
from pipeline.farm.units import conversion
from schemas.contract import HARVESTS, SALES, contract

WEIGHTS = ("fresh_weight_g", "culled_g")
# Of each table that the weigh page writes.
WEIGHTS_OF = {HARVESTS: WEIGHTS, SALES: ("weight_g",)}
GRAMS = "g"


def weighed_in(farm: Farm) -> tuple[str, float]:
    """Return the unit of weights (g, kg, oz or lb), and how many grams one is; g where farm.toml names none, or two."""
    headings = farm.conventions.headings.get(HARVESTS, {}).values()
    units = {each.unit or GRAMS for each in headings if each.column == WEIGHTS[0]}
    unit = units.pop() if len(units) == 1 else GRAMS
    return unit, float(conversion(unit, GRAMS).factor)


def written_in(farm: Farm) -> dict[str, float]:
    """Return in what the columns of weights are read that farm.toml has in another unit under our own name: how many
    grams one is.
    """
    found = {
        name: farm.conventions.heading(contract(table), name) for table, names in WEIGHTS_OF.items() for name in names
    }
    units = {name: each.unit for name, each in found.items() if each and each.unit}
    return {name: float(conversion(unit, GRAMS).factor) for name, unit in units.items()}
