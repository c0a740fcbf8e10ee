"""What should each measure say? A recomputation from a farm's CSV files, in plain Python.

Written from the blueprint alone, with exact fractions until the last step, so that the program's SQL can be
held against it. `recompute_rows` reads the cells, `recompute_farm` decides which rows count and where,
`recompute_units` says what is known of each unit, `recompute_groups` which stand together; this module sums up,
and `recompute_days`, `recompute_losses`, `recompute_months` and `recompute_compared` do for the other measures. None
imports the program.
"""

from collections.abc import Callable
from datetime import date
from fractions import Fraction

from recompute_compared import Compared, compared
from recompute_days import days
from recompute_farm import Farm, Picking, Place, Seen, fates, load
from recompute_groups import (
    Cell,
    culled_pct,
    efficiency,
    fresh,
    grouped,
    late_pct,
    per_container,
    ratio,
    stages_pct,
    total,
    with_batch,
)
from recompute_losses import causes, losses
from recompute_months import months
from recompute_rows import Row
from recompute_units import Closing, Unit, dry_of_batch, units

__all__ = [
    "Closing",
    "Compared",
    "Farm",
    "Picking",
    "Place",
    "Seen",
    "Unit",
    "causes",
    "compared",
    "days",
    "fates",
    "flushes",
    "load",
    "losses",
    "months",
    "units",
    "yields",
]


def yields(farm: Farm, as_of: date, by: list[str], through_flush: int | None = None) -> list[dict[str, Cell]]:
    """What did each group of units give, as of the date? One dict per group, keys as in `yields`."""
    through = 1 if through_flush is None else through_flush
    rows = []
    for cells, members in grouped(units(farm, as_of), with_batch(by)):
        row = {**cells, **counts_of(farm, as_of, members, through), **ratios_of(members)}
        row |= {**rates_of(members), **stages_of(farm, members)}
        if through_flush is not None:
            row |= through_of(members, through_flush)
        rows.append(row)
    return rows


def flushes(farm: Farm, as_of: date, by: list[str]) -> list[dict[str, Cell]]:
    """How do the flushes of each group follow each other? One dict per group and flush, as in `flushes`."""
    rows = []
    for cells, members in grouped(units(farm, as_of), with_batch(by)):
        finished = [unit for unit in members if unit.finished]
        highest = max((picking.flush for unit in members for picking in unit.pickings), default=1)
        for flush in range(1, highest + 1):
            known = [unit for unit in members if unit.known_through(flush)]
            sources = [p.flush_source for unit in members for p in unit.pickings if p.flush == flush]
            figures: dict[str, Cell] = {
                "flush": flush,
                "units_known": len(known),
                "units_not_yet": len(members) - len(known),
                "fresh_g": float(fresh(known, flush)),
                "fresh_g_per_container": per_container(known, flush),
                "share_pct": ratio(fresh(finished, flush), fresh(finished)),
                "decline_vs_first": ratio(fresh(known, flush), fresh(known, 1), scale=1),
                "pickings": len(sources),
                "pickings_derived": sources.count("derived"),
                "derived_pct": ratio(Fraction(sources.count("derived")), Fraction(len(sources))),
            }
            rows.append({**cells, **figures})
    return rows


def counts_of(farm: Farm, as_of: date, members: list[Unit], through: int) -> dict[str, Cell]:
    """How many units, known through the flush or not, and how much was picked of all of them?"""
    known = [unit for unit in members if unit.known_through(through)]
    pooled = [p.grams for unit in members for p in unit.pickings if p.place.container is None]
    left_out = [place for day, place in farm.left_out if day is None or day <= as_of]
    sources = [p.flush_source for unit in members for p in unit.pickings]
    return {
        "batches": len({unit.batch for unit in members}),
        "units": len(members),
        "units_known": len(known),
        "units_not_yet": len(members) - len(known),
        "units_open": sum(not unit.finished for unit in known),
        "units_lapsed": sum(unit.lapsed for unit in members),
        "units_without_dry_mass": sum(unit.dry_kg is None for unit in known),
        "fresh_g": float(fresh(members)),
        "fresh_g_pooled": float(sum(pooled, Fraction(0))),
        "pickings_set_aside": sum(any(touches(place, unit) for unit in members) for place in left_out),
        "derived_pct": ratio(Fraction(sources.count("derived")), Fraction(len(sources))),
    }


def touches(place: Place, unit: Unit) -> bool:
    """Would a picking of this place have changed, or may it have changed, what the unit gave?"""
    return place.batch == unit.batch and (
        None in (place.container, unit.container) or place.container == unit.container
    )


def ratios_of(members: list[Unit]) -> dict[str, Cell]:
    """What are the group's ratios, each over the units that it can be told of?"""
    finished = [unit for unit in members if unit.finished]
    clean = [unit for unit in finished if not unit.contaminated_before_pick]
    batches = [
        [unit for unit in finished if unit.batch == batch] for batch in sorted({unit.batch for unit in finished})
    ]
    means = [be for be in (efficiency(of_batch) for of_batch in batches) if be is not None]
    with_wet = [unit for unit in finished if unit.wet_kg is not None]
    return {
        "be_flush1_pct": efficiency([unit for unit in members if unit.known_through(1)], 1),
        "be_finished_pct": efficiency(finished),
        "be_finished_clean_pct": efficiency(clean),
        "be_finished_batch_mean": sum(means) / len(means) if means else None,
        "yield_wet_pct": ratio(fresh(with_wet), total(unit.wet_kg for unit in with_wet) * 1000),
        "fresh_g_per_container": per_container(finished),
        "fresh_g_per_litre": ratio(
            fresh(unit for unit in finished if unit.litres is not None),
            total(unit.litres for unit in finished),
            scale=1,
        ),
        "spawn_rate_wet_pct": spawn_rate(
            members, lambda unit: unit.wet_kg, lambda row: row.numbers.get("substrate_wet_kg")
        ),
        "spawn_rate_dry_pct": spawn_rate(members, lambda unit: unit.dry_kg, dry_of_batch),
    }


def rates_of(members: list[Unit]) -> dict[str, Cell]:
    """What did dry mass give per day up to the last and to the first picking, in %/d, sum over sum?"""
    finished = [unit for unit in members if unit.finished and unit.dry_kg is not None]
    rates: dict[str, Cell] = {}
    for name, chosen in (("be_per_day_to_last_pick", max), ("be_per_day_to_first_pick", min)):
        grams, dry_kg_days = Fraction(0), Fraction(0)
        for unit in finished:
            if unit.inoculated_on is None or unit.dry_kg is None or not unit.pickings:
                continue
            waited = (chosen(p.day for p in unit.pickings) - unit.inoculated_on).days
            if waited > 0:
                grams += unit.grams()
                dry_kg_days += unit.dry_kg * waited
        rates[name] = ratio(grams, dry_kg_days * 1000)
    return rates


def stages_of(farm: Farm, members: list[Unit]) -> dict[str, Cell]:
    """How ripe was what the group gave, and how much of it was culled, of all its pickings?"""
    pickings = [picking for unit in members for picking in unit.pickings]
    unstaged = total(p.grams for p in pickings if "cap_stage" not in p.row.words)
    return {
        "picked_late_pct": late_pct(pickings, farm.late_from),
        "flat_pct": stages_pct(pickings, ["flat"]),
        "no_stage_pct": ratio(unstaged, total(p.grams for p in pickings)),
        "culled_pct": culled_pct(pickings),
    }


def through_of(members: list[Unit], through: int) -> dict[str, Cell]:
    """What did flushes 1 to K give over dry mass, of units with dry mass known through flush K?"""
    known = [unit for unit in members if unit.known_through(through)]
    counted = [unit for unit in known if unit.dry_kg is not None]
    numbers = range(1, through + 1)
    return {
        "be_pct": efficiency(known, *numbers),
        "be_clean_pct": efficiency([unit for unit in known if not unit.contaminated_before_pick], *numbers),
        "fresh_g_in_be": float(fresh(counted, *numbers)),
        "substrate_dry_g": float(total(unit.dry_kg for unit in counted) * 1000),
    }


def spawn_rate(
    members: list[Unit],
    of_unit: Callable[[Unit], Fraction | None],
    of_batch: Callable[[Row], Fraction | None],
) -> float | None:
    """What is spawn over substrate in %: of the units where both are known, else of their batches?"""
    solid = [unit for unit in members if unit.batch_row.words.get("spawn_form") not in ("liquid", "plug")]
    pairs = [(unit.spawn_kg, of_unit(unit)) for unit in solid]
    if all(None in pair for pair in pairs):
        rows = {unit.batch_row for unit in solid}
        pairs = [(row.numbers.get("spawn_kg"), of_batch(row)) for row in rows]
    both = [pair for pair in pairs if None not in pair]
    return ratio(total(spawn for spawn, _ in both), total(substrate for _, substrate in both))
