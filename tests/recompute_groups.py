"""Which units stand together, and what do they give as a group? What the parts of the oracle that sum up share."""

from collections.abc import Iterable
from fractions import Fraction

from recompute_farm import Picking
from recompute_rows import Row, columns_of
from recompute_units import Unit

Cell = str | int | float | None
Group = tuple[dict[str, Cell], list[Unit]]
BATCH_COLUMNS = {column["name"] for column in columns_of("batches")}
FILLING_COLUMNS = {column["name"] for column in columns_of("fillings")}
# Youngest to oldest: no standard grades oyster mushrooms by them, the order is that of the contract.
STAGES = next(column["constraints"]["enum"] for column in columns_of("harvests") if column["name"] == "cap_stage")


def with_batch(by: list[str]) -> list[str]:
    """Which columns tell units apart? A container alone does not tell which of its fillings is meant."""
    columns = [c for column in by for c in (["batch", "container"] if column == "container" else [column])]
    return list(dict.fromkeys(columns))


def grouped(members: Iterable[Unit], columns: list[str]) -> list[Group]:
    """Which of the units stand together, under which texts of the columns? Ordered by these texts."""
    groups: dict[tuple[str | Fraction, ...], list[Unit]] = {}
    texts: dict[tuple[str, str | Fraction], str] = {}  # per value the first of its spellings
    if not columns:
        groups[()] = []  # the whole farm is one row, also with nothing in it
    for unit in members:
        key = []
        for column in columns:
            value, spellings = cell_of(unit, column)
            texts[column, value] = min([*spellings, texts.get((column, value), min(spellings))])
            key.append(value)
        groups.setdefault(tuple(key), []).append(unit)
    named: list[Group] = []
    for values, together in groups.items():
        named.append(({c: texts[c, v] for c, v in zip(columns, values, strict=True)}, together))
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


def efficiency(members: list[Unit], *flushes: int) -> float | None:
    """What is fresh over dry mass in %, sum over sum of the units with dry mass (no flush named: of all)?"""
    counted = [unit for unit in members if unit.dry_kg is not None]
    return ratio(fresh(counted, *flushes), total(unit.dry_kg for unit in counted) * 1000)


def per_container(members: list[Unit], *flushes: int) -> float | None:
    """Fresh mass over containers in g, of those whose number is known; None where these are unlike."""
    counted = [unit for unit in members if unit.containers is not None]
    if len(set().union(*(unit.sizes for unit in counted))) != 1:
        return None
    return ratio(fresh(counted, *flushes), total(unit.containers for unit in counted), scale=1)


def late_pct(pickings: Iterable[Picking], late_from: str) -> float | None:
    """What part of the mass with a cap stage, in %, was picked at the stage or an older one?"""
    return stages_pct(pickings, STAGES[STAGES.index(late_from) :])


def stages_pct(pickings: Iterable[Picking], stages: list[str]) -> float | None:
    """What part of the mass with a cap stage, in %, was picked at one of the stages?"""
    staged = [(p.row.words["cap_stage"], p.grams) for p in pickings if "cap_stage" in p.row.words]
    return ratio(total(grams for stage, grams in staged if stage in stages), total(grams for _, grams in staged))


def culled_pct(pickings: Iterable[Picking]) -> float | None:
    """What part of the fresh mass, in %, was trim and culls? A cell above the fresh mass cannot be right: none."""
    pairs = [(p.row.numbers.get("culled_g", Fraction(0)), p.grams) for p in pickings]
    return ratio(total(culled for culled, grams in pairs if culled <= grams), total(grams for _, grams in pairs))


def fresh(members: Iterable[Unit], *flushes: int) -> Fraction:
    """What did the units give in these flushes (none named: in all), in grams?"""
    return total(unit.grams(*flushes) for unit in members)


def total(masses: Iterable[Fraction | None]) -> Fraction:
    """What is the sum of the masses that are known?"""
    return sum((mass for mass in masses if mass is not None), Fraction(0))


def ratio(over: Fraction, under: Fraction, scale: int = 100) -> float | None:
    """What is one sum over the other, times the scale? None where nothing stands below."""
    return float(over / under * scale) if under else None
