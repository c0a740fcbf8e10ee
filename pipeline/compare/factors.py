"""Factors: which columns can be compared, which of them are held against a comparison, and what their levels are."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.models.compared_columns import Labels
from pipeline.models.compared_units import HOLES, MONTH, SPAWN_RATE, ComparedUnits
from pipeline.models.unit_arrays import Flags, Numbers, Whole
from schemas.contract import (
    BATCHES,
    FILLINGS,
    ColumnRole,
    Field,
    Varies,
    columns_with_role,
    contract,
    recipe_columns,
)
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean

NONE = "none"  # what a blank cell of `supplement` means
NO_LEVEL = -1  # in place of the level of a unit that has none

# What each column is to a comparison, the contracts say: see schemas.contract.ColumnRole. Beside them the spawn rate is
# an amount, the month of inoculation a cluster, and fresh or the same holes for a flush are a choice.
CHOICES = (*columns_with_role(ColumnRole.CHOICE), HOLES)
CLUSTERS = (MONTH, *columns_with_role(ColumnRole.CLUSTER))
AMOUNTS = (SPAWN_RATE, *columns_with_role(ColumnRole.AMOUNT))
READINGS = columns_with_role(ColumnRole.READING)
FACTORS = (*CHOICES, *CLUSTERS[1:], *AMOUNTS, *READINGS, *columns_with_role(ColumnRole.OTHER))
# What the report compares: what growers choose between. Numbers that merely come along are asked for by name.
REPORTED = (
    *(each.name for each in contract(BATCHES).fields if each.reported),
    SPAWN_RATE,
    *(each.name for each in contract(FILLINGS).fields if each.reported),
    HOLES,
)
# What has levels of its own for each level of the factor, and so counts as its clusters: a species has its strains.
OWN_CLUSTERS = {"species": ("strain",)}
# The spawn rate is worked out from this column: neither is another explanation of the other.
SPAWN_MASS = "spawn_kg"
# Fresh holes are taped ones that were opened: neither is another explanation of the other.
TAPED = "holes_taped"

# What changes together and belongs to one thing is compared as one: which part of it matters, such records cannot tell.
PACKAGES = {
    "container": ("kind", "volume_l", "holes_open", TAPED),
    "recipe": ("substrate", "supplement", "treatment", "strain", "spawn_form", SPAWN_RATE),
}

MOST_NUMBERS = 6  # up to so many different numbers are levels as they are: our choice, no source
# Amounts that differ from the next by less than this ratio are one level (weighing, rounding): our choice, no source.
# Where they run on without a gap, nobody said where to part them; spawn rates are parted all the same.
SAME_RATIO = 1.15
LEAST_SHARE = 0.05  # of the usual amount, from which an amount may explain a difference: see least_gap


@dataclass(frozen=True)
class Levels:
    """The levels of a factor, in order, and the place of its level for each unit, one entry per unit; NO_LEVEL for a
    unit without one.
    """

    factor: str
    codes: Whole
    order: tuple[str, ...]

    @property
    def known(self) -> Flags:
        """Whether each unit has a level."""
        found: Flags = self.codes != NO_LEVEL
        return found

    def where(self, chosen: Flags | Whole) -> Levels:
        """Return the levels of the chosen units."""
        return Levels(self.factor, self.codes[chosen], self.order)

    def at(self, label: str) -> Flags:
        """Return whether each unit has this level."""
        found: Flags = self.codes == self.order.index(label)
        return found


def parts_of(factor: str) -> set[str]:
    """Return what belongs to a factor, and so is no other explanation: a hot soak is shorter because it is hot."""
    if factor in PACKAGES:
        return set(PACKAGES[factor]).union(*(parts_of(each) for each in PACKAGES[factor]))
    parts = {each.name for each in recipe_columns() if each.belongs_to == factor}
    worked_out = {SPAWN_RATE: SPAWN_MASS, SPAWN_MASS: SPAWN_RATE, HOLES: TAPED, TAPED: HOLES}
    return parts | {worked_out[factor]} if factor in worked_out else parts


def _column(factor: str) -> Field:
    return next(each for each in recipe_columns() if each.name == factor)


def is_number(factor: str) -> bool:
    """Return whether this factor holds numbers."""
    return factor == SPAWN_RATE or (factor not in (MONTH, HOLES, *PACKAGES) and _column(factor).is_number)


def is_of_whole_soak(factor: str) -> bool:
    """Return whether this is done to a whole bath, so that no soak is split between two of its levels."""
    return factor in {each.name for each in recipe_columns() if each.varies is Varies.SOAK}


def title(factor: str) -> str:
    """Return what this factor is called in a sentence."""
    if factor in (SPAWN_RATE, MONTH, HOLES, *PACKAGES):
        return factor.replace("_", " ")
    found = _column(factor).title
    return found[0].lower() + found[1:]


def unit_of(factor: str) -> str:
    """Return what is written behind a number of this factor, so that a sentence says what it is of."""
    return "%" if factor == SPAWN_RATE else _column(factor).unit or title(factor)


def known_factor(given: str) -> str:
    """Return the factor of this name. Raises WrongRequest for one that cannot be compared."""
    plain = given.strip().lower().replace("-", "_").replace(" ", "_")
    known = (*FACTORS, *PACKAGES)
    if plain in known:
        return plain
    hint = did_you_mean(plain, known)
    raise WrongRequest(f"{given}: this cannot be compared.{hint} Known: {', '.join(known)}.")


def package_of(factor: str, others: Iterable[str]) -> str | None:
    """Return the package that holds this factor and all these others; None where none does."""
    wanted = {factor, *others}
    return next((name for name, parts in PACKAGES.items() if wanted <= set(parts)), None)


def cells_of(units: ComparedUnits, factor: str) -> Labels:
    """Return the text of this factor's cell of each unit; blank where it has none."""
    found = units.cells[factor]
    return found.renamed([text or NONE for text in found.texts]) if factor == "supplement" else found


def numbers(units: ComparedUnits, factor: str) -> Numbers:
    """Return the number in this factor's cell of each unit; nan where there is none."""
    found = cells_of(units, factor)
    return np.array([_as_number(text) for text in found.texts], dtype=float)[found.codes]


def _as_number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return np.nan


def least_gap(units: ComparedUnits, factor: str) -> float:
    """Return from which gap on two amounts of this factor count as different, in its own unit: a twentieth of the usual
    amount, and twice what its written digits are exact to; of spawn rates the gap that parts them. Our choice,
    supported by simulation: scales and hands differ by a percent from soak to soak, which explains nothing.
    """
    known = np.sort(numbers(units, factor))
    known = known[~np.isnan(known)]
    if not len(known):
        return 0.0
    usual = abs(float(known[len(known) // 2]))
    if factor == SPAWN_RATE:
        return (SAME_RATIO - 1) * usual
    found = cells_of(units, factor)
    texts = [found.texts[at] for at in found.used]
    digits = max(_digits(text) for text in texts if not np.isnan(_as_number(text)))
    return max(LEAST_SHARE * usual, 2 * 10.0**-digits)


def _digits(text: str) -> int:
    """How many decimals a number is written with."""
    return len(text.partition(".")[2].rstrip("0"))


def levels(units: ComparedUnits, factor: str, edges: Sequence[float] = ()) -> Levels:
    """Return the level of the factor that each unit has.

    Words are levels as they are; so are numbers, with their unit, where there are up to six different ones. Spawn
    rates, and more numbers than that, are put into bands: at edges that are named, or where the numbers leave a gap.
    Raises WrongRequest where numbers leave no gap and no edges are named.
    """
    if factor in PACKAGES:
        return _packages(units, factor)
    found = cells_of(units, factor)
    if not is_number(factor):
        return _of_texts(factor, found, {at: found.texts[at] for at in found.used.tolist() if found.texts[at]})
    value_at = {at: _as_number(found.texts[at]) for at in found.used.tolist()}
    value_at = {at: value for at, value in value_at.items() if not np.isnan(value)}
    different = sorted(set(value_at.values()))
    named = _naming({value: found.texts[at] for at, value in value_at.items()}, factor, different, edges)
    label_at = {at: named(value) for at, value in value_at.items()}
    return _of_texts(factor, found, label_at, tuple(dict.fromkeys(named(value) for value in different)))


def _of_texts(factor: str, found: Labels, label_at: Mapping[int, str], order: tuple[str, ...] | None = None) -> Levels:
    """The levels of units by what each of their texts is called; order: of the labels, else rising."""
    order = tuple(sorted(set(label_at.values()))) if order is None else order
    place = {label: at for at, label in enumerate(order)}
    codes = np.full(len(found.texts), NO_LEVEL, dtype=np.int64)
    for at, label in label_at.items():
        codes[at] = place[label]
    return Levels(factor, codes[found.codes], order)


def _packages(units: ComparedUnits, factor: str) -> Levels:
    """One label for all that belongs together: "bucket, 5 L, 2 open holes"; parts that are blank are left out."""
    parts = [_part(units, each) for each in PACKAGES[factor]]
    every, of_unit = np.unique(np.column_stack([each.codes for each in parts]), axis=0, return_inverse=True)
    texts = [
        ", ".join(of.order[code] for of, code in zip(parts, codes, strict=True) if code != NO_LEVEL)
        for codes in every.tolist()
    ]
    found = Labels(of_unit.reshape(-1), tuple(texts))
    return _of_texts(factor, found, {at: text for at, text in enumerate(texts) if text})


def _part(units: ComparedUnits, factor: str) -> Levels:
    """The label of each unit in one part of a package: numbers without a gap as they are written, and no supplement
    unsaid.
    """
    found = units.cells[factor]
    written = {at: found.texts[at] for at in found.used.tolist() if found.texts[at]}
    if factor == "supplement":
        return _of_texts(factor, found, written)
    try:
        return levels(units, factor)
    except WrongRequest:
        return _of_texts(factor, found, {at: f"{text} {unit_of(factor)}" for at, text in written.items()})


def _naming(
    texts: Mapping[float, str], factor: str, different: Sequence[float], edges: Sequence[float]
) -> Callable[[float], str]:
    """What each number is called; texts: as each is written."""
    measured_in = unit_of(factor)
    if edges:
        return _between_edges(sorted(edges), measured_in)
    if factor != SPAWN_RATE and len(different) <= MOST_NUMBERS:
        return {value: f"{text} {measured_in}" for value, text in texts.items()}.__getitem__
    return _between_gaps(different, factor, measured_in)


def _between_edges(edges: Sequence[float], unit: str) -> Callable[[float], str]:
    """Name bands by their edges; a band holds its lower edge: 5 to under 10."""

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


def known_level(given: str, of: Levels, option: str) -> str:
    """Return the level of this name. Its case, its unit and how spaces are written do not matter.

    Raises WrongRequest for no level.
    """
    if given in of.order:
        return given
    unit = f" {_plain(unit_of(of.factor))}" if is_number(of.factor) else ""
    for label in of.order:
        if _plain(given) in (_plain(label), _plain(label).removesuffix(unit)):
            return label
    known = ", ".join(of.order) or "none"
    hint = did_you_mean(given, of.order)
    raise WrongRequest(f"{option} {given}: {of.factor} has no such level.{hint} Known: {known}.")


def _plain(text: str) -> str:
    return text.strip().lower().replace("_", " ").replace("-", " ")
