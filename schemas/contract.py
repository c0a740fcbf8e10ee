"""Contracts: what each table's columns are called, mean, and may hold. Read from the JSON files beside this module."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache, cached_property
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from schemas.confidence import LEVEL, percent

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable
    from zipfile import Path as ZipPath

# The input tables, in the order in which they hang on each other: what grows, and what of it is sold. A farm may do
# without those of the books.
GROWING = BATCHES, FILLINGS, OBSERVATIONS, HARVESTS = ("batches", "fillings", "observations", "harvests")
BOOKS = PRICES, SALES, PROMISES = ("prices", "sales", "promises")
INPUTS = (*GROWING, *BOOKS)
RESULTS = (
    "yields",
    "flushes",
    "days",
    "losses",
    "causes",
    "months",
    "weeks",
    "strains",
    "strains_begun",
    "money",
    "money_months",
    "unsold",
    "waiting_months",
    "span_months",
    "span_be",
    "finished_units",
    "finished_batches",
    "finished_recipes",
    "recipes",
    "stages",
    "soaks",
    "positions",
    "picked_days",
    "months_by_kind",
    "days_by_kind",
    "batch_courses",
    "batch_pickings",
    "batch_kinds",
    "picking_rows",
    "running_units",
    "declines",
    "pins",
    "pins_curve",
    "another_flush",
    "given_so_far",
    "spawn_levels",
    "spawn_steps",
    "spawn_best",
    "spawn_points",
    "spawn_curves",
    "trace_batches",
    "trace_containers",
    "trace_pickings",
    "trace_losses",
    "trace_rejected",
    "outlook",
    "outlook_batches",
    "outlook_by_batch",
    "outlook_past",
    "outlook_need",
    "trial_spread",
    "trial_designs",
    "trial_portions",
    "plan_starts",
    "plan_weeks",
    "plan_containers",
    "promise_chances",
    "promise_room",
    "compared_levels",
    "compared_pairs",
    "compared_trends",
    "compared_sites",
    "next_soak",
    "today",
    "history",
    "expectations",
)


class ColumnRole(StrEnum):
    """How comparisons use a column that says how a batch or a container was made."""

    # What a grower chooses, in words: all choices together are held against a comparison.
    CHOICE = "choice"
    # What a grower chooses in numbers: held against one where all of one level lie below all of the other.
    AMOUNT = "amount"
    # What changes by itself as time goes on, and so may count as the replicates.
    CLUSTER = "cluster"
    # What comes along with the rest: shown where it differs, never held against a comparison.
    READING = "reading"
    # What can be compared although nothing else is judged by it.
    OTHER = "other"


class Varies(StrEnum):
    """Where a column can differ in a trial: from soak to soak, within a soak, or within a batch."""

    SOAK = "soak"
    BATCH = "batch"
    CONTAINER = "container"


@dataclass(frozen=True)
class Field:
    """One column: its type, unit, what sets a cell aside (constraints) and what only warns (expect). `headings`,
    `guesses`: what the column and its words may be called elsewhere; only ever proposed. The fields from `role` to
    `likely` say how each part of the program uses the column: see "$comment" of the contracts.
    """

    name: str
    type: str
    title: str
    description: str
    unit: str | None = None
    source: str | None = None
    starred: bool = False
    decimals: int | None = None
    ordered: bool = False
    default: Any = None
    example: Any = None
    only_through: bool = False
    estimated: bool = False
    on_fault: str = "drop"
    constraints: Mapping[str, Any] = field(default_factory=dict)
    expect: Mapping[str, Any] = field(default_factory=dict)
    synonyms: Mapping[str, str] = field(default_factory=dict)
    headings: Sequence[str] = ()
    guesses: Mapping[str, str] = field(default_factory=dict)
    rules: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    role: ColumnRole | None = None
    varies: Varies | None = None
    recipe: bool = False
    reported: bool = False
    belongs_to: str | None = None
    option: str | None = None
    prompted: bool = False
    likely: tuple[float, float] | None = None
    money: str | None = None

    @property
    def is_number(self) -> bool:
        """Whether the column holds numbers."""
        return self.type in ("number", "integer")

    @property
    def required(self) -> bool:
        """Whether the column must be there."""
        return bool(self.constraints.get("required"))

    @property
    def must_be_there(self) -> bool:
        """Whether a table without this column cannot be read: no row of it could be used."""
        return self.required and self.on_fault == "set_aside"

    @property
    def words(self) -> tuple[str, ...]:
        """The coded words that the column knows. Empty for free text and numbers."""
        return tuple(self.constraints.get("enum", self.expect.get("enum", ())))


@dataclass(frozen=True)
class Contract:
    """One table: its fields in order, its key, and the rules that look at whole rows."""

    name: str
    title: str
    description: str
    version: int
    fields: tuple[Field, ...]
    grain: str = ""
    primary_key: tuple[str, ...] = ()
    needs_one_of: tuple[tuple[str, ...], ...] = ()
    keep_texts: bool = False
    row_rules: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    def field(self, name: str) -> Field:
        """Return the field of this name. Raises KeyError for a name that the contract does not know."""
        return self._by_name[name]

    @cached_property
    def _by_name(self) -> Mapping[str, Field]:
        return {each.name: each for each in self.fields}

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The table's columns, in order."""
        return tuple(each.name for each in self.fields)

    @property
    def columns_with_text(self) -> tuple[str, ...]:
        """The number columns that keep the text of their cells beside the value, for grouping."""
        if not self.keep_texts:
            return ()
        return tuple(each.name for each in self.fields if each.is_number)


# What is read as something else than the text or number that stands in the JSON file.
_READ: Mapping[str, Callable[[Any], Any]] = {"role": ColumnRole, "varies": Varies, "likely": tuple}


def _field(raw: Mapping[str, Any]) -> Field:
    renamed = {"onFault": "on_fault", "onlyThrough": "only_through", "belongsTo": "belongs_to"}
    read = {key: _READ[key](value) if key in _READ else value for key, value in raw.items()}
    return Field(**{renamed.get(key, key): value for key, value in read.items()})


@cache
def _folder() -> Traversable:
    return files("schemas")


@cache
def _results() -> Traversable | ZipPath:
    """Return where the contracts of results lie: in their folder; from a wheel, in one archive (hatch_build.py)."""
    archive = _folder().joinpath("results.zip")
    if archive.is_file():
        from zipfile import Path

        return Path(str(archive))
    return _folder().joinpath("results")


def _file_of(name: str) -> Traversable | ZipPath:
    if name in INPUTS:
        return _folder().joinpath("inputs", f"{name}.json")
    return _folder().joinpath("farm.json") if name == "farm" else _results().joinpath(f"{name}.json")


@cache
def contract(name: str) -> Contract:
    """Return the contract of a table. `name` is an input table, a result table, or "farm" (farm.toml)."""
    raw = json.loads(_file_of(name).read_text(encoding="utf-8").replace("{level}", percent(LEVEL)))
    return Contract(
        name=raw["name"],
        title=raw["title"],
        description=raw["description"],
        version=raw["version"],
        fields=tuple(_field(each) for each in raw["fields"]),
        grain=raw.get("grain", ""),
        primary_key=tuple(raw.get("primaryKey", ())),
        needs_one_of=tuple(tuple(group) for group in raw.get("needsOneOf", ())),
        keep_texts=raw.get("keepTexts", False),
        row_rules=raw.get("rowRules", {}),
    )


@cache
def recipe_columns() -> tuple[Field, ...]:
    """The columns that say how a container was made: those of batches, then those of fillings. A name that both tables
    have is the batch's.
    """
    batches, fillings = contract(BATCHES), contract(FILLINGS)
    return (*batches.fields, *(each for each in fillings.fields if each.name not in batches.names))


def columns_with_role(*roles: ColumnRole) -> tuple[str, ...]:
    """The names of the columns of batches and fillings that have one of these roles, in the contracts' order."""
    return tuple(each.name for each in recipe_columns() if each.role in roles)


@cache
def free_words(*tables: str) -> tuple[str, ...]:
    """The columns of batches and fillings, or of these tables, that hold words of the grower's own by which containers
    are compared. A name that two tables have comes once.
    """
    fields = [each for table in tables or (BATCHES, FILLINGS) for each in contract(table).fields]
    return tuple(dict.fromkeys(each.name for each in fields if each.type == "string" and not each.words and each.role))


@cache
def inputs_hash() -> str:
    """Return one hash over the input contracts' text: another one means that they say something else."""
    digest = sha256()
    for name in INPUTS:
        digest.update(_file_of(name).read_bytes())
    return digest.hexdigest()
