"""The units of a farm for a comparison: what each gave, and what went into it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from pipeline.models.compared_columns import Days, Labels, MeasureParts, Runs, UnitStarts, UnitWaits
from pipeline.models.unit_arrays import Arrays, Flags, Lines, Numbers, Whole
from pipeline.models.view import Ledger, LedgerView, Query
from schemas.answers import ComparedMeasure
from schemas.contract import ColumnRole, columns_with_role

if TYPE_CHECKING:
    from pipeline.models.compared_money import FarmMoney
    from pipeline.models.flush_rule import FlushRule

# The columns of batches and fillings that can be compared: all that the contracts give a role.
COMPARED_COLUMNS = columns_with_role(*ColumnRole)
# What is compared beside them: % of wet substrate, the month of inoculation, the holes of the flush asked for.
SPAWN_RATE, MONTH, HOLES = "spawn_rate", "month", "holes"
# What can be compared as a share by a day: the measure of its days, and what its columns begin with.
WAITS = {ComparedMeasure.DAYS.value: "pins", ComparedMeasure.COLONISED.value: "colonised"}
# What the columns of a unit's parts of each measure begin with.
COLUMNS_OF_PARTS = {each.value: each.column for each in ComparedMeasure}
# The columns that every comparison reads.
OF_UNITS = (
    *("unit", "batch_line", "inoculated_on", "holes", "size", "pickings", "pickings_derived"),
    *(f"start_{name}" for name in ("containers", "spawn_g", "dry_g")),
)
# How the key of a soak without a name begins: the name of a batch follows.
NAMELESS = "batch "


@dataclass(frozen=True)
class ComparedUnits:
    """Units, one entry each in every array: their soaks (see soak_key of batches.sql); their cells by column (blank
    where they have none), with their spawn rate, month and holes; their parts of each measure. waits: by the measure of
    its days, how they stand to their pins and to being colonised. sizes: kind and litres of their containers, see
    unit_sizes.sql. pickings, pickings_derived: how many each had, and those with a blank flush.
    """

    unit: Lines
    batches: Labels
    soaks: Labels
    inoculated_on: Days
    cells: Mapping[str, Labels]
    parts: Mapping[str, MeasureParts]
    waits: Mapping[str, UnitWaits]
    starts: UnitStarts
    sizes: Labels
    pickings: Whole
    pickings_derived: Whole

    def __len__(self) -> int:
        return len(self.unit)

    @cached_property
    def runs(self) -> Runs:
        """Which units that follow each other are of one batch, and alike in cells."""
        return Runs.of(self.batches, self.cells)

    @cached_property
    def by_soak(self) -> Whole:
        """The places of the units, soaks rising."""
        return np.argsort(self.soaks.codes, kind="stable")

    def where(self, chosen: Flags | Whole) -> ComparedUnits:
        """Return the chosen units: by their places, or by yes and no."""
        return ComparedUnits(
            self.unit[chosen],
            self.batches.where(chosen),
            self.soaks.where(chosen),
            self.inoculated_on[chosen],
            {name: each.where(chosen) for name, each in self.cells.items()},
            {name: each.where(chosen) for name, each in self.parts.items()},
            {name: each.where(chosen) for name, each in self.waits.items()},
            self.starts.where(chosen),
            self.sizes.where(chosen),
            self.pickings[chosen],
            self.pickings_derived[chosen],
        )

    def with_parts(self, measure: str, parts: MeasureParts) -> ComparedUnits:
        """Return the units with these parts of a measure in place of their own."""
        return replace(self, parts={**self.parts, measure: parts})


@dataclass(frozen=True)
class FarmUnits:
    """The units of a farm at a date, followed through a flush or to an age in days. look_gap: the usual days between
    two looks, None where there were none. rule: by which blank flush cells are numbered, None where all are written.
    money: what margins rest on, None where they were not asked for (their parts are g then).
    """

    as_of: date
    through: int
    to_day: int | None
    rows: ComparedUnits
    look_gap: float | None
    rule: FlushRule | None = None
    money: FarmMoney | None = None


def farm_units(
    ledger: Ledger,
    as_of: date,
    through: int,
    to_day: int | None = None,
    with_money: bool = False,
    measures: Sequence[str] = tuple(COLUMNS_OF_PARTS),
) -> FarmUnits:
    """Return all units of the farm as of a date, through a flush or, with to_day, to that age in days; with_money: with
    what they brought and cost, which takes longer; measures: of which there are parts, with money of all.
    """
    from pipeline.models.flush_rule import flush_rule

    view = ledger.view(Query(as_of, COMPARED_COLUMNS, through))
    rows = compared_units(view, to_day, tuple(COLUMNS_OF_PARTS) if with_money else measures)
    money = None
    if with_money:
        from pipeline.models.compared_money import with_margins

        parts, money = with_margins(view, rows.parts)
        rows = replace(rows, parts=parts)
    gaps = view.records("look_gap")
    gap = gaps[0]["gap"] if gaps else None
    return FarmUnits(as_of, through, to_day, rows, None if gap is None else float(gap), flush_rule(ledger), money)


@dataclass(frozen=True)
class BatchCells:
    """Batches, one entry each in every array, by their lines: their soaks, their spawn rates (% of wet and of dry
    substrate, nan where they have none), and their cells by column, with their spawn rate and month.
    """

    line: Lines
    batches: Labels
    soaks: Labels
    rate_wet_pct: Numbers
    rate_dry_pct: Numbers
    cells: Mapping[str, Labels]

    @classmethod
    def of_units(cls, view: LedgerView, batch_line: Lines) -> Self:
        """Return the batches that these lines name, of a view that is grouped by COMPARED_COLUMNS."""
        every = view.arrays("compared_batches")
        chosen = np.unique(np.searchsorted(every["batch_line"], batch_line))
        found = {name: cells[chosen] for name, cells in every.items()}
        wet, dry = (found[f"spawn_rate_{name}pct"].astype(float) for name in ("", "dry_"))
        rates = ["" if np.isnan(each) else repr(each) for each in wet.tolist()]
        cells = {
            **_cells(view, found),
            SPAWN_RATE: Labels.of(rates),
            MONTH: Labels.of(found["month"].tolist()),
        }
        names, soaks = (Labels.of(found[name].tolist()) for name in ("batch", "soak_key"))
        return cls(found["batch_line"], names, soaks, wet, dry, cells)

    def at(self, batch_line: Lines) -> Whole:
        """Return where the batches of these lines stand."""
        return np.searchsorted(self.line, batch_line)


@dataclass(frozen=True)
class FillingCells:
    """The cells of the columns that are a filling's, by column: those of these units, and behind them a blank one."""

    unit: Lines
    cells: Mapping[str, Labels]

    def of_units(self, unit: Lines) -> dict[str, Labels]:
        """Return the cells of these units; blank for a unit without a filling."""
        at = np.searchsorted(self.unit, unit)
        known = at < len(self.unit)
        known[known] = self.unit[at[known]] == unit[known]
        place = np.where(known, at, len(self.unit))
        return {name: each.where(place) for name, each in self.cells.items()}


def compared_units(
    view: LedgerView, to_day: int | None = None, measures: Sequence[str] = tuple(COLUMNS_OF_PARTS)
) -> ComparedUnits:
    """Return the units of a view that is grouped by COMPARED_COLUMNS, in the order of their lines, with their parts of
    these measures.
    """
    view.set_variables(to_day=to_day)
    parts = {name: COLUMNS_OF_PARTS[name] for name in measures}
    waits = {name: column for name, column in WAITS.items() if name in parts}
    columns = [
        *OF_UNITS,
        *(f"{column}_{each}" for column in parts.values() for each in ("over", "under", "resolved")),
        *(f"{column}_{each}" for column in waits.values() for each in ("fate", "day")),
    ]
    units = view.arrays("compared_units", columns)
    batches = BatchCells.of_units(view, units["batch_line"])
    at_batch = batches.at(units["batch_line"])
    return ComparedUnits(
        units["unit"],
        batches.batches.where(at_batch),
        batches.soaks.where(at_batch),
        units["inoculated_on"].astype("datetime64[D]"),
        {
            **{name: each.where(at_batch) for name, each in batches.cells.items()},
            **filling_cells(view).of_units(units["unit"]),
            HOLES: Labels.of(units["holes"].tolist()),
        },
        {name: _parts(units, column) for name, column in parts.items()},
        {measure: _waits(units, column) for measure, column in waits.items()},
        UnitStarts.of(
            {name: units[f"start_{name}"].astype(float, copy=False) for name in ("containers", "spawn_g", "dry_g")}
        ),
        Labels.of(units["size"].tolist()),
        units["pickings"].astype(np.int64),
        units["pickings_derived"].astype(np.int64),
    )


def _cells(view: LedgerView, columns: Arrays) -> dict[str, Labels]:
    """The cells of each column of the view that these rows have: see batch_labels.sql."""
    found = {}
    for at, name in enumerate(view.query.by):
        if f"key_{at}" in columns:
            keys = columns[f"key_{at}"].tolist()
            texts = columns.get(f"text_{at}")
            found[name] = Labels.of(keys) if texts is None else _called(keys, texts.tolist())
    return found


def filling_cells(view: LedgerView) -> FillingCells:
    """Return the cells of the columns of the view that are a filling's, of its units."""
    codes, every = view.arrays("filling_codes"), view.arrays("filling_cells")
    unit = codes.pop("unit")
    columns = {}
    for place, name in enumerate(view.query.by):
        if f"code_{place}" in codes:
            (of_column,) = every[f"cells_{place}"]
            columns[name] = _numbered(name, codes[f"code_{place}"], [] if of_column is None else of_column)
    return FillingCells(unit, columns)


def _numbered(name: str, codes: Lines, cells: list[dict[str, Any]]) -> Labels:
    """The labels of these numbers, and behind them a blank one. cells: those that may occur, with the number (code),
    key and text of each; 0 is blank.
    """
    listed = sorted(cells, key=lambda each: each["code"])
    known = np.array([each["code"] for each in listed], dtype=np.uint64)
    if (known[1:] == known[:-1]).any() or (known == 0).any():
        raise RuntimeError(f"{name}: two cells have one number")
    at = np.append(np.searchsorted(known, codes), len(known))
    at[:-1][codes == 0] = len(known)
    used = np.flatnonzero(np.bincount(at, minlength=len(known)))
    place = np.zeros(len(known) + 1, dtype=np.int64)
    place[used] = np.arange(len(used))
    said = [(listed[each]["key"], listed[each]["text"]) for each in used[:-1].tolist()]
    keys, texts = zip(*said, ("", ""), strict=True)
    return _called(keys, texts).where(place[at])


def _called(keys: Sequence[str], texts: Sequence[str]) -> Labels:
    """These cells under one name for each value: the first of its texts, in their order (20 and 20.0 are one)."""
    if keys == texts:
        return Labels.of(keys)
    name_of: dict[str, str] = {}
    for key, text in set(zip(keys, texts, strict=True)):
        name_of[key] = min(text, name_of.get(key, text))
    found = Labels.of(keys)
    return found.renamed([name_of[key] for key in found.texts])


def _parts(units: Arrays, column: str) -> MeasureParts:
    over, under = (units[f"{column}_{name}"].astype(float, copy=False) for name in ("over", "under"))
    return MeasureParts(over, under, units[f"{column}_resolved"].astype(bool))


def _waits(units: Arrays, column: str) -> UnitWaits:
    fate = units[f"{column}_fate"].astype(object, copy=False)
    return UnitWaits(fate, units[f"{column}_day"].astype(float, copy=False), units["batch_line"])


def guessed_soaks(units: ComparedUnits) -> list[list[str]]:
    """Return the batches that count as one soak although none of them names it: one list per such soak, in order."""
    pairs = np.unique(np.column_stack([units.soaks.codes, units.batches.codes]), axis=0).tolist()
    found: dict[str, list[str]] = {}
    for soak, batch in pairs:
        found.setdefault(units.soaks.texts[soak], []).append(units.batches.texts[batch])
    return [batches for soak, batches in found.items() if soak.startswith(NAMELESS) and len(batches) > 1]
