"""A whole comparison: from units to levels, pairs and verdicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.compare import factors
from pipeline.compare.cells import Cell, cells, varies
from pipeline.compare.clusters import by_runs, counted
from pipeline.compare.confounding import Alias, Sides, aliases, held_against, sides_of
from pipeline.compare.measures import Measure
from pipeline.compare.other_differences import Differing, Stratum, differing, strata
from pipeline.compare.pairs import Level, Pair, family, judged, levels_told, pairs_told
from pipeline.compare.pins_by_day import with_pins_by
from pipeline.compare.verdicts import Facts, Verdict, verdict
from pipeline.models.compared_units import FarmUnits
from pipeline.stats.multiple import Family
from pipeline.stats.two_levels import Design
from schemas.confidence import LEVEL

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Asked:
    """What is to be compared. within: columns held at one label each; against: the level that all others are held
    against; edges: where numbers are parted into bands; split_only: pairs are told from soaks that hold both alone;
    level: of the intervals.
    """

    factor: str
    measure: Measure
    within: tuple[tuple[str, str], ...] = ()
    against: str | None = None
    edges: tuple[float, ...] = ()
    split_only: bool = False
    level: float = LEVEL


@dataclass(frozen=True)
class Told:
    """A pair with its verdict, its other explanations, what else differed, and where that would be alike."""

    pair: Pair
    verdict: Verdict
    aliases: tuple[Alias, ...]
    differing: tuple[Differing, ...]
    strata: tuple[Stratum, ...]


@dataclass(frozen=True)
class Comparison:
    """The answer. within, against: as the farm writes them; units_without_level: whose cell is blank; bases: how dry
    mass was told, where in several ways.
    """

    asked: Asked
    units: FarmUnits
    within: tuple[tuple[str, str], ...]
    against: str | None
    varies: Design
    levels: tuple[Level, ...]
    pairs: tuple[Told, ...]
    units_without_level: int
    bases: tuple[str, ...]
    worthwhile: float


def not_yet(measure: Measure, units: FarmUnits) -> str:
    """What is said of a unit that is not far enough?"""
    if units.to_day is not None and measure.by_flush and measure.least_flush == 1:
        return f"younger than {units.to_day} days"
    return measure.not_yet.format(flush=units.through)


def compare(units: FarmUnits, asked: Asked, settings: Mapping[str, Any]) -> Comparison:
    """What do the farm's records say of the levels of a factor?

    settings: one value per key of the farm contract. Raises WrongRequest for a level that does not exist, and for
    numbers that leave no gap to part them.
    """
    rows: Sequence[Row] = units.rows
    held = []
    for name, wanted in asked.within:
        of = factors.levels(rows, name)
        meant = factors.known_level(wanted, of, "--within")
        held.append((name, meant))
        rows = [row for row in rows if of.label_of.get(row["unit"]) == meant]
    of = factors.levels(rows, asked.factor, asked.edges)
    against = None if asked.against is None else factors.known_level(asked.against, of, "--against")
    if asked.measure.by_day and units.to_day is not None:
        rows = with_pins_by(rows, of, units.to_day, units.as_of)
    found = cells(rows, of, asked.measure)
    levels = levels_told(found, of.order)
    worthwhile = float(settings[asked.measure.worthwhile])
    return Comparison(
        asked,
        units,
        tuple(held),
        against,
        varies([cell for cell in found if cell.value is not None]),
        tuple(levels),
        _pairs(units, asked, levels, against, worthwhile),
        len(rows) - len(of.label_of),
        _bases(rows, found, asked),
        worthwhile,
    )


def _bases(rows: Sequence[Row], found: Sequence[Cell], asked: Asked) -> tuple[str, ...]:
    if asked.measure.name != "be" or not found:
        return ()
    bases = tuple(sorted({row["dry_basis"] for row in rows if row["dry_basis"] and row["be_under"]}))
    return bases if len(bases) > 1 else ()


@dataclass(frozen=True)
class _Bare:
    pair: Pair
    sides: Sides
    aliases: tuple[Alias, ...]

    @property
    def supported(self) -> bool:
        """Does the design support a verdict, whatever the units gave?"""
        return self.pair.has_enough and not self.aliases


def _pairs(
    units: FarmUnits, asked: Asked, levels: Sequence[Level], against: str | None, worthwhile: float
) -> tuple[Told, ...]:
    of_yield = asked.measure.name == "be"
    bare = []
    for pair in pairs_told(levels, against, asked.split_only):
        sides = sides_of(pair)
        found = tuple(aliases(sides, asked.factor, of_yield)) if pair.has_interval else ()
        _, runs, _ = held_against(asked.factor, of_yield)
        bare.append(_Bare(by_runs(pair, counted(sides, runs)) if pair.has_interval else pair, sides, found))
    together = family([each.pair for each in bare if each.supported], against is None)
    waiting = {level.name: level.waiting for level in levels}
    told = []
    for each in bare:
        pair = judged(each.pair, together, asked.level)
        young = (*waiting[pair.level], *waiting[pair.against])
        facts = _facts(units, asked, each, pair, worthwhile, young, together)
        other = tuple(differing(each.sides, asked.factor, of_yield))
        offered = () if _beyond_strata(each.aliases) else tuple(strata(each.sides, other))
        told.append(Told(pair, verdict(facts), each.aliases, other, offered))
    return tuple(told)


def _facts(
    units: FarmUnits,
    asked: Asked,
    bare: _Bare,
    pair: Pair,
    worthwhile: float,
    waiting: tuple[Cell, ...],
    together: Family,
) -> Facts:
    return Facts(
        pair,
        bare.sides,
        bare.aliases,
        asked.measure,
        worthwhile,
        units.look_gap,
        waiting,
        not_yet(asked.measure, units),
        together,
    )


def _beyond_strata(found: Sequence[Alias]) -> bool:
    """Would no stratum mend this? One that holds two labels needs both levels to have them."""
    return any(alias.kind not in ("together", "tie") for alias in found)
