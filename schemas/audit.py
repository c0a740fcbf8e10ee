"""What the audit expects beside the constraints of the input contracts: rules on rows, and bands of whole tables."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any


@dataclass(frozen=True)
class RowRule:
    """A rule on whole rows (one of `rowRules` of its table's contract) as a comparison that any engine can make.

    `relation` of `columns` to `other`: unlike_others (no two rows alike), among (other: TABLE.COLUMN), at_least or
    at_most (other: a column of the same row).
    """

    table: str
    rule: str
    columns: tuple[str, ...]
    relation: str
    other: str = ""


@dataclass(frozen=True)
class WholeRule:
    """What is expected of a whole table; it only ever warns. Bounds in `unit`; None where there is none.

    `kind`: share (of rows with a value), median, each_month (a value of every month), history (the last whole month
    against the farm's own earlier ones, `factor` times beyond them). With fewer than `fewest` (things `counted`) or
    `fewest_batches` nothing can be judged yet. `substrate`: only units on it; "other" for those on none with a band.
    """

    name: str
    table: str
    column: str
    kind: str
    title: str
    counted: str
    fewest: int
    source: str
    fix: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    factor: float = 1.0
    fewest_batches: int = 0
    substrate: str | None = None


@cache
def _raw() -> Mapping[str, Any]:
    rules: Mapping[str, Any] = json.loads(files("schemas").joinpath("audit.json").read_text(encoding="utf-8"))
    return rules


@cache
def row_rules() -> tuple[RowRule, ...]:
    """Return the rules on whole rows that an independent engine can check."""
    return tuple(RowRule(**{**rule, "columns": tuple(rule["columns"])}) for rule in _raw()["rows"])


@cache
def whole_rules() -> tuple[WholeRule, ...]:
    """Return the bands in which whole tables are expected, each with its source."""
    return tuple(WholeRule(**rule) for rule in _raw()["whole"])


def substrate_with_band(substrate: str) -> str:
    """Return which substrate with a band of its own a name holds: straw, bagasse ...; "other" for none or several."""
    words = {rule.substrate for rule in whole_rules() if rule.substrate and rule.substrate != "other"}
    within = [word for word in words if word in substrate.lower()]
    return within[0] if len(within) == 1 else "other"
