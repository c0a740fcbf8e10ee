"""What can be proposed where a sale is logged: the buyers, strains and batches that the farm's files name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.models.view import Models

# So many of a kind are proposed, the latest first: our choice, no source.
MOST = 40


@dataclass(frozen=True)
class SaleWords:
    """Names, the latest first. buyers: each with what a kilogram brought at the last sale that says so, as exact text
    in the farm's currency ("": none does).
    """

    buyers: Sequence[tuple[str, str]]
    strains: Sequence[str]
    batches: Sequence[str]


def sale_words(ledger: Models) -> SaleWords:
    """Return what can be proposed."""
    found: dict[str, list[tuple[str, str]]] = {"buyer": [], "strain": [], "batch": []}
    for kind, name, _, price in ledger.tuples("sale_words"):
        if len(found[kind]) < MOST:
            found[kind].append((str(name), _short(price or "")))
    return SaleWords(found["buyer"], *([name for name, _ in found[kind]] for kind in ("strain", "batch")))


def _short(amount: str) -> str:
    """Return this number without zeros at the end."""
    return amount.rstrip("0").rstrip(".") if "." in amount else amount
