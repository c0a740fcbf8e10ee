"""The faults of a bench farm: a given share of rows of every table, spread evenly over many kinds of fault.

A kind is named after the rule that should find it, with its column where the rule is one on cells. Frames here
have one text column per column of the file, `at` (the row's place) and `true_batch`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from pipeline.demo.dice import Array
from schemas.contract import BATCHES, FILLINGS, OBSERVATIONS

if TYPE_CHECKING:
    import polars as pl

ADDS = (BATCHES, FILLINGS)  # a row entered twice is added there; elsewhere it replaces another row


@dataclass(frozen=True)
class Fault:
    """What is written instead of the right cells, and in which columns. again: into a copy of the row above."""

    name: str
    typed: dict[str, pl.Expr] = field(default_factory=dict)
    again: bool = False


def faults(table: str) -> list[Fault]:
    """Return the kinds of fault that a table of a bench farm has."""
    kinds = {BATCHES: _of_batches, FILLINGS: _of_fillings, OBSERVATIONS: _of_observations}
    return kinds.get(table, _of_harvests)()


def _of_batches() -> list[Fault]:
    """Return the faults of batches."""
    import polars as pl

    return [
        Fault("inoculated_on date", {"inoculated_on": pl.lit("31/12/2024")}),
        Fault("strain required", {"strain": pl.lit(None)}),
        Fault("ph_start maximum", {"ph_start": pl.lit("123")}),
        Fault("lime_ph", {"ph_start": pl.lit("13.5")}),
        Fault("moisture_pct minimum", {"moisture_pct": pl.lit("18")}),
        Fault("spawn_kg number", {"spawn_kg": pl.col("spawn_kg") + " kg"}),
        Fault("spawn_above_40_pct", {"spawn_kg": pl.col("substrate_wet_kg")}),
        Fault("spawn_form enum", {"spawn_form": pl.lit("grains")}),
        Fault("treatment enum", {"treatment": pl.lit("lime")}),
        Fault("conflicting", {"spawn_kg": pl.lit("1.25")}, again=True),
        Fault("repeated", again=True),
    ]


def _of_fillings() -> list[Fault]:
    """Return the faults of fillings."""
    import polars as pl

    return [
        Fault("container required", {"container": pl.lit(None)}),
        Fault("unknown_batch", {"batch": pl.col("batch") + "x"}),
        Fault("fill_kg number", {"fill_kg": pl.lit("5,2")}),
        Fault("volume_l exclusiveMinimum", {"volume_l": pl.lit("0")}),
        Fault("packed_dense", {"volume_l": pl.lit("1")}),
        Fault("holes_open integer", {"holes_open": pl.lit("8.5")}),
        Fault("conflicting", {"fill_kg": pl.lit("3.21")}, again=True),
        Fault("repeated", again=True),
    ]


def _of_observations() -> list[Fault]:
    """Return the faults of observations."""
    import polars as pl

    return [
        Fault("event enum", {"event": pl.lit("pin")}),
        Fault("event required", {"event": pl.lit(None)}),
        Fault("seen_on date", {"seen_on": pl.lit("2024-02-30")}),
        Fault("seen_on required", {"seen_on": pl.lit(None)}),
        Fault("before_inoculation", {"seen_on": pl.lit("2019-05-01"), "batch": pl.col("true_batch")}),
        Fault("unknown_place", {"container": pl.lit("X999"), "batch": pl.lit(None)}),
        Fault("batch_not_listed", {"batch": pl.col("true_batch") + "x"}),
        Fault("flush integer", {"flush": pl.lit("first")}),
        Fault("future", {"seen_on": pl.lit("2099-01-01")}),
        Fault("repeated", again=True),
    ]


def _of_harvests() -> list[Fault]:
    """Return the faults of pickings."""
    import polars as pl

    weight, batch = pl.col("fresh_weight_g"), pl.col("true_batch")
    later = (pl.col("picked_on").str.to_date() + pl.duration(days=200)).cast(pl.String)
    return [
        Fault("fresh_weight_g required", {"fresh_weight_g": pl.lit(None)}),
        Fault("fresh_weight_g number", {"fresh_weight_g": weight + " g"}),
        Fault("fresh_weight_g minimum", {"fresh_weight_g": "-" + weight}),
        Fault("unlike_usual", {"fresh_weight_g": (weight.cast(pl.Float64) / 1000).cast(pl.String)}),
        Fault("unlike_usual", {"fresh_weight_g": weight + "00"}),
        Fault("picked_on required", {"picked_on": pl.lit(None)}),
        Fault("picked_on date", {"picked_on": pl.lit("03/04/2024")}),
        Fault("before_inoculation", {"picked_on": pl.lit("2019-05-01"), "batch": batch}),
        Fault("after_closing", {"picked_on": later, "batch": batch}),
        Fault("future", {"picked_on": pl.lit("2099-01-01"), "batch": batch}),
        Fault("unknown_place", {"container": pl.lit("X999"), "batch": pl.lit(None)}),
        Fault("batch_not_listed", {"batch": batch + "x"}),
        Fault("flush integer", {"flush": pl.lit("2.5")}),
        Fault("flush maximum", {"flush": pl.lit("120")}),
        Fault("flush_disorder", {"flush": pl.lit("9")}),
        Fault("cap_stage enum", {"cap_stage": pl.lit("turnd_down")}),
        Fault("culled_g number", {"culled_g": pl.lit("a few")}),
        Fault("culls_above_weight", {"culled_g": weight + "5"}),
        Fault("same_weight_twice", {"note": pl.lit("second tray")}, again=True),
        Fault("repeated", again=True),
    ]


def spoil(
    table: str, frame: pl.DataFrame, share: float, rng: np.random.Generator
) -> tuple[pl.DataFrame, dict[str, int]]:
    """Return the table with this share of its rows spoiled, and how many of each kind there are.

    Only rows of even place are spoiled, so the row above a copy is always a sound one.
    """
    import polars as pl

    kinds = faults(table)
    wanted = min(round(share * frame.height), max(0, frame.height // 2 - 1))
    rows: Array = 2 + 2 * np.argsort(rng.random(max(0, frame.height // 2 - 1)))[:wanted]
    parts, counts, replaced = [], dict.fromkeys((kind.name for kind in kinds), 0), []
    for number, kind in enumerate(kinds):
        mine = np.sort(rows[number :: len(kinds)])
        counts[kind.name] += len(mine)
        if kind.again and table in ADDS:
            spoiled = frame[mine - 1].with_columns(pl.col("at") + 0.5)
        else:
            spoiled = frame[mine - kind.again].with_columns(pl.Series("at", mine.astype(np.float64)))
            replaced.append(mine)
        parts.append(spoiled.with_columns(**{name: cell.cast(pl.String) for name, cell in kind.typed.items()}))
    sound = np.ones(frame.height, dtype=bool)
    sound[np.concatenate(replaced)] = False
    return pl.concat([frame.filter(pl.Series(sound)), *parts]).sort("at", maintain_order=True), counts
