"""What should `yields` and `flushes` say? A recomputation from a farm's CSV files, in plain Python.

Written from the blueprint alone, with exact fractions until the last step, so that the program's SQL can be
held against it. `recompute_rows` reads the cells, `recompute_farm` decides which rows count and where,
`recompute_units` says what is known of each unit, this module sums up. None of them imports the program.
"""

from collections.abc import Callable, Iterable
from datetime import date
from fractions import Fraction

from recompute_farm import Farm, Picking, Place, Seen, fates, load
from recompute_rows import Row, columns_of
from recompute_units import Closing, Unit, dry_of_batch, units

__all__ = [
    "Closing",
    "Farm",
    "Picking",
    "Place",
    "Seen",
    "Unit",
    "fates",
    "flushes",
    "load",
    "units",
    "yields",
]

Cell = str | int | float | None
BATCH_COLUMNS = {column["name"] for column in columns_of("batches")}
FILLING_COLUMNS = {column["name"] for column in columns_of("fillings")}


def yields(farm: Farm, as_of: date, by: list[str], through_flush: int | None = None) -> list[dict[str, Cell]]:
    """What did each group of units give, as of the date? One dict per group, keys as in `yields`."""
    through = 1 if through_flush is None else through_flush
    rows = []
    for cells, members in grouped(farm, as_of, by):
        row = {**cells, **counts_of(farm, as_of, members, through), **ratios_of(members)}
        if through_flush is not None:
            row |= through_of(members, through_flush)
        rows.append(row)
    return rows


def flushes(farm: Farm, as_of: date, by: list[str]) -> list[dict[str, Cell]]:
    """How do the flushes of each group follow each other? One dict per group and flush, as in `flushes`."""
    rows = []
    for cells, members in grouped(farm, as_of, by):
        finished = [unit for unit in members if unit.finished]
        highest = max((picking.flush for unit in members for picking in unit.pickings), default=1)
        for flush in range(1, highest + 1):
            known = [unit for unit in members if unit.known_through(flush)]
            figures: dict[str, Cell] = {
                "flush": flush,
                "units_known": len(known),
                "units_not_yet": len(members) - len(known),
                "fresh_g": float(fresh(known, flush)),
                "share_pct": ratio(fresh(finished, flush), fresh(finished)),
                "decline_vs_first": ratio(fresh(known, flush), fresh(known, 1), scale=1),
            }
            rows.append({**cells, **figures})
    return rows


def counts_of(farm: Farm, as_of: date, members: list[Unit], through: int) -> dict[str, Cell]:
    """How many units, known through the flush or not, and how much was picked of all of them?"""
    known = [unit for unit in members if unit.known_through(through)]
    pooled = [p.grams for unit in members for p in unit.pickings if p.place.container is None]
    left_out = [place for day, place in farm.left_out if day is None or day <= as_of]
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
        "spawn_rate_wet_pct": spawn_rate(
            members, lambda unit: unit.wet_kg, lambda row: row.numbers.get("substrate_wet_kg")
        ),
        "spawn_rate_dry_pct": spawn_rate(members, lambda unit: unit.dry_kg, dry_of_batch),
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


def efficiency(members: list[Unit], *flushes: int) -> float | None:
    """What is fresh over dry mass in %, sum over sum of the units with dry mass (no flush named: of all)?"""
    counted = [unit for unit in members if unit.dry_kg is not None]
    return ratio(fresh(counted, *flushes), total(unit.dry_kg for unit in counted) * 1000)


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


def fresh(members: Iterable[Unit], *flushes: int) -> Fraction:
    """What did the units give in these flushes (none named: in all), in grams?"""
    return total(unit.grams(*flushes) for unit in members)


def total(masses: Iterable[Fraction | None]) -> Fraction:
    """What is the sum of the masses that are known?"""
    return sum((mass for mass in masses if mass is not None), Fraction(0))


def grouped(farm: Farm, as_of: date, by: list[str]) -> list[tuple[dict[str, Cell], list[Unit]]]:
    """Which units stand together, under which texts of the grouping columns? Ordered by these texts."""
    columns = [c for column in by for c in (["batch", "container"] if column == "container" else [column])]
    columns = list(dict.fromkeys(columns))
    groups: dict[tuple[str | Fraction, ...], list[Unit]] = {}
    texts: dict[tuple[str, str | Fraction], str] = {}  # per value the first of its spellings
    if not columns:
        groups[()] = []  # the whole farm is one row, also with nothing in it
    for unit in units(farm, as_of):
        key = []
        for column in columns:
            value, spellings = cell_of(unit, column)
            texts[column, value] = min([*spellings, texts.get((column, value), min(spellings))])
            key.append(value)
        groups.setdefault(tuple(key), []).append(unit)
    named: list[tuple[dict[str, Cell], list[Unit]]] = []
    for values, members in groups.items():
        named.append(({c: texts[c, v] for c, v in zip(columns, values, strict=True)}, members))
    return sorted(named, key=lambda group: [str(text) for text in group[0].values()])


def cell_of(unit: Unit, column: str) -> tuple[str | Fraction, list[str]]:
    """Under which value, spelled how, does the unit stand? A column of both tables is the batch's."""
    if column in BATCH_COLUMNS:
        rows: tuple[Row, ...] = (unit.batch_row,)
    elif column in FILLING_COLUMNS:
        rows = unit.filling_rows
    else:
        raise ValueError(f"no column of batches or fillings: {column}")
    cells = []
    for row in rows:
        day = row.dates.get(column)
        word = row.words.get(column, "") if day is None else day.isoformat()
        number = row.numbers.get(column)
        cells.append((word, word) if number is None else (number, row.texts[column]))
    if len({value for value, _ in cells}) != 1:
        return "", [""]
    return cells[0][0], [text for _, text in cells]


def ratio(over: Fraction, under: Fraction, scale: int = 100) -> float | None:
    """What is one sum over the other, times the scale? None where nothing stands below."""
    return float(over / under * scale) if under else None
