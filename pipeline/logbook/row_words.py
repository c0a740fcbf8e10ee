"""A row of sales or promises in a few words."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from pipeline.logbook.amounts import rounded, written
from pipeline.logbook.known_rows import Value
from schemas.cell_format import CellFormat

# How each cell is said, in this order.
FORMS = {
    "weight_g": "{} {unit}",
    "strain": "of {}",
    "buyer": "to {}",
    "kind": "{}",
    "price_per_kg": "at {} a kg",
    "amount": "for {}",
    "batch": "batch {}",
    "picked_on": "picked on {}",
    "repeats": "again every {}",
    "until_on": "until {}",
    "note": "{}",
}
WORDS = {"own_kitchen": "own kitchen", "two_weeks": "two weeks"}


def row_words(cells: Mapping[str, str], unit: str = "g") -> str:
    """Return what a row says, by its cells as texts. `unit`: of its weight."""
    day = cells.get("sold_on") or cells.get("due_on", "")
    when = f"due on {day}" if "due_on" in cells else day
    said = (
        form.format(WORDS.get(cells[name], cells[name]), unit=unit) for name, form in FORMS.items() if cells.get(name)
    )
    return f"{when}: {', '.join(said)}"


def shown_row(cells: Mapping[str, Value], cell_format: CellFormat) -> str:
    """Return what a row says that is to be written, in the contract's units and the farm's decimal mark."""
    texts = {
        name: written(rounded(value, 6 if name != "weight_g" else 3), cell_format)
        if isinstance(value, Decimal)
        else str(value)
        for name, value in cells.items()
    }
    return row_words(texts)
