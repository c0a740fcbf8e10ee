"""Factors: which columns can be compared, which of them are held against a comparison, and what their levels are."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from schemas.contract import contract
from schemas.finding import WrongRequest, nearest

SPAWN_RATE = "spawn_rate"
MONTH = "month"
NONE = "none"  # what a blank cell of `supplement` means

# What a grower chooses, in words: all of them together are held against a pair by the exact test.
CHOICES = ("strain", "substrate", "species", "treatment", "supplement", "spawn_form", "dry_basis", "kind", "room")
# What changes by itself as time goes on. Where two levels never share one but both have several, these are the
# replicates; where one level has only one of them, they are another explanation.
RUNS = (MONTH, "spawn_lot")
# What a grower chooses in numbers: held against a pair where all of one level lie below all of the other.
AMOUNTS = (SPAWN_RATE, "volume_l", "holes_open", "holes_taped", "treatment_h", "lime_g_per_l", "supplement_dry_kg")
# What comes along with the rest: told where it differs, never held against a pair.
BESIDE = ("moisture_pct", "ph_start", "ph_end", "drain_h", "incubation_c", "fill_kg")
# What can be compared although nothing else is judged by it.
OTHERS = ("substrate_wet_kg", "substrate_dry_kg", "spawn_kg", "containers_filled", "position")

COLUMNS = (*CHOICES, "spawn_lot", *AMOUNTS[1:], *BESIDE, *OTHERS)  # as the tables call them
FACTORS = (*CHOICES, "spawn_lot", *AMOUNTS, *BESIDE, *OTHERS)

# What belongs to a factor, and so is no other explanation: a hot soak is shorter because it is hot.
BELONGS = {
    "treatment": ("treatment_h", "lime_g_per_l"),
    "strain": ("species",),
    "supplement": ("supplement_dry_kg",),
    "position": ("room",),
    SPAWN_RATE: ("spawn_kg",),
    "spawn_kg": (SPAWN_RATE,),
}
# What has levels of its own for each level of the factor, and so counts as its runs: a species has its strains.
OWN_RUNS = {"species": ("strain",)}

# Columns whose numbers have no tables' title of their own.
TITLES = {SPAWN_RATE: "spawn rate", MONTH: "month"}

MOST_NUMBERS = 6  # up to so many different numbers are levels as they are: our choice, no source
# Amounts that differ from the next by less than this ratio are one level (weighing, rounding): our choice, no source.
# Where they run on without a gap, nobody said where to part them; spawn rates (growth/spawn_rates.py) are parted then.
SAME_RATIO = 1.15


@dataclass(frozen=True)
class Levels:
    """The levels of a factor: label of each unit by its key (units without a level are not in it), in order."""

    factor: str
    label_of: Mapping[str, str]
    order: tuple[str, ...]


def is_number(factor: str) -> bool:
    """Does this factor hold numbers?"""
    if factor == SPAWN_RATE:
        return True
    for table in ("batches", "fillings"):
        if factor in contract(table).names:
            return contract(table).field(factor).type in ("number", "integer")
    return False


def title(factor: str) -> str:
    """What is this factor called in a sentence?"""
    if factor in TITLES:
        return TITLES[factor]
    table = "batches" if factor in contract("batches").names else "fillings"
    found = contract(table).field(factor).title
    return found[0].lower() + found[1:]


def _unit(factor: str) -> str:
    """What is written behind a number of this factor, so that a sentence says what it is of?"""
    if factor == SPAWN_RATE:
        return "%"
    table = "batches" if factor in contract("batches").names else "fillings"
    return contract(table).field(factor).unit or title(factor)


def known_factor(asked: str) -> str:
    """Which factor is meant? Raises WrongRequest for one that cannot be compared."""
    plain = asked.strip().lower().replace("-", "_").replace(" ", "_")
    if plain in FACTORS:
        return plain
    meant = nearest(plain, FACTORS)
    hint = f" Did you mean {meant}?" if meant else ""
    raise WrongRequest(f"{asked}: this cannot be compared.{hint} Known: {', '.join(FACTORS)}.")


def cell(row: Mapping[str, Any], factor: str) -> str:
    """What stands in this factor's cell of a unit? Blank where nothing does."""
    if factor == SPAWN_RATE:
        rate = row["spawn_rate_pct"]
        return "" if rate is None else repr(float(rate))
    text = row[factor] or ""
    return NONE if factor == "supplement" and not text else text


def number(row: Mapping[str, Any], factor: str) -> float | None:
    """Which number stands in this factor's cell of a unit? None where none does."""
    try:
        return float(cell(row, factor))
    except ValueError:
        return None


def levels(rows: Iterable[Mapping[str, Any]], factor: str, edges: Sequence[float] = ()) -> Levels:
    """Which level of the factor has each unit?

    Words are levels as they are; so are numbers, with their unit, where there are up to six different ones. Spawn
    rates, and more numbers than that, are put into bands: at edges that are named, or where the numbers leave a gap.
    Raises WrongRequest where numbers leave no gap and no edges are named.
    """
    rows = list(rows)
    if not is_number(factor):
        found = {row["unit"]: cell(row, factor) for row in rows}
        labels = {unit: label for unit, label in found.items() if label}
        return Levels(factor, labels, tuple(sorted(set(labels.values()))))
    numbers = {row["unit"]: value for row in rows if (value := number(row, factor)) is not None}
    different = sorted(set(numbers.values()))
    unit = _unit(factor)
    if edges:
        named = _between_edges(sorted(edges), unit)
    elif factor != SPAWN_RATE and len(different) <= MOST_NUMBERS:
        texts = {value: cell(row, factor) for row in rows if (value := number(row, factor)) is not None}
        named = {value: f"{text} {unit}" for value, text in texts.items()}.__getitem__
    else:
        named = _between_gaps(different, factor, unit)
    order = tuple(dict.fromkeys(named(value) for value in different))
    return Levels(factor, {unit: named(value) for unit, value in numbers.items()}, order)


def _between_edges(edges: Sequence[float], unit: str) -> Callable[[float], str]:
    """A band holds its lower edge: 5 to under 10."""

    def band(value: float) -> str:
        at = sum(value >= edge for edge in edges)
        if at == 0:
            return f"under {edges[0]:g} {unit}"
        if at == len(edges):
            return f"{edges[-1]:g} {unit} and more"
        return f"{edges[at - 1]:g} to under {edges[at]:g} {unit}"

    return band


def _between_gaps(different: Sequence[float], factor: str, unit: str) -> Callable[[float], str]:
    bands: list[list[float]] = []
    for value in different:
        if bands and value <= bands[-1][-1] * SAME_RATIO:
            bands[-1].append(value)
        else:
            bands.append([value])
    if len(bands) == 1 and len(different) > MOST_NUMBERS:
        low, high = different[0], different[-1]
        raise WrongRequest(
            f"{factor}: the numbers run from {low:.4g} to {high:.4g} without a gap. "
            f"Name where to part them, like --bands {(low + high) / 2:.3g}."
        )
    named = {value: f"{_called(band)} {unit}" for band in bands for value in band}
    return named.__getitem__


def _called(band: Sequence[float]) -> str:
    low, high = band[0], band[-1]
    if round(low) == round(high) and low >= 1:
        return f"{round(low)}"
    return f"{low:.3g}" if f"{low:.3g}" == f"{high:.3g}" else f"{low:.3g} to {high:.3g}"


def known_level(asked: str, of: Levels, option: str) -> str:
    """Which level is meant? Its case, its unit and how spaces are written do not matter.

    Raises WrongRequest for no level.
    """
    if asked in of.order:
        return asked
    unit = f" {_plain(_unit(of.factor))}" if is_number(of.factor) else ""
    for label in of.order:
        if _plain(asked) in (_plain(label), _plain(label).removesuffix(unit)):
            return label
    meant = nearest(asked, of.order)
    hint = f" Did you mean {meant}?" if meant else ""
    listed = ", ".join(of.order) or "none"
    raise WrongRequest(f"{option} {asked}: {of.factor} has no such level.{hint} Known: {listed}.")


def _plain(text: str) -> str:
    return text.strip().lower().replace("_", " ").replace("-", " ")
