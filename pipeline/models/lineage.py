"""What each model reads and writes, told by the heads of the SQL files; and the order that follows from it.

A file's head says what it holds, the units of its numbers, its grain, the tables that it reads, and the one table that
it writes, which has the file's name; a query that only answers writes nothing. `{columns of TABLE as ALIAS}` stands for
the columns of an input table's contract. tests/test_lineage.py holds the heads against the statements, and
`make lineage` draws the picture in DEVELOPERS.md.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from graphlib import TopologicalSorter
from importlib.resources import files

from schemas.contract import contract

# The folders of the models. ledger: the tables and views that a refresh decides. units: temporary tables, as of a day.
# results: queries, which write nothing.
GROUPS = LEDGER, UNITS, RESULTS = ("ledger", "units", "results")
READS = re.compile(r"^-- reads: (.*(?:\n--     .*)*)$", re.MULTILINE)
WRITES = re.compile(r"^-- writes: (\w+)$", re.MULTILINE)
COLUMNS = re.compile(r"\{columns of (\w+) as (\w+)\}")
VARIABLES = re.compile(r"getvariable\('(\w+)'\)")
NOTHING = "nothing"


@dataclass(frozen=True)
class Model:
    """One SQL file: its group, its text, the tables it reads, and the variables of the connection that it looks at."""

    name: str
    group: str
    text: str
    reads: frozenset[str]
    writes: str | None
    variables: frozenset[str]


@cache
def names(group: str) -> frozenset[str]:
    """Return the names of a group's models."""
    found = files("pipeline.models").joinpath(group).iterdir()
    return frozenset(path.name.removesuffix(".sql") for path in found if path.name.endswith(".sql"))


@cache
def model(name: str) -> Model:
    """Return the model of this name. Raises KeyError where no file has it, ValueError where its head is not whole."""
    group = next((each for each in GROUPS if name in names(each)), None)
    if group is None:
        raise KeyError(f"no model is called {name}")
    text = files("pipeline.models").joinpath(group, f"{name}.sql").read_text(encoding="utf-8")
    text = COLUMNS.sub(_columns, text)
    reads, writes = READS.search(text), WRITES.search(text)
    if reads is None or writes is None:
        raise ValueError(f"{name}.sql does not say what it reads and writes")
    listed = re.findall(r"\w+", reads.group(1))
    return Model(
        name,
        group,
        text,
        frozenset(listed) - {NOTHING},
        None if writes.group(1) == NOTHING else writes.group(1),
        frozenset(VARIABLES.findall(text)),
    )


def order(group: str) -> tuple[str, ...]:
    """Return the models of a group, each behind those that it reads; by name where either may come first.

    Raises graphlib.CycleError where they read each other in a circle.
    """
    return _sorted(names(group))


def needed(*wanted: str) -> tuple[str, ...]:
    """Return the temporary tables that must be there before the wanted models can be read, in order: themselves too,
    where they are such tables.
    """
    found: set[str] = set()
    waiting = list(wanted)
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += model(name).reads & names(UNITS)
    return _sorted(found & names(UNITS))


def outdated(made: Iterable[str], changed: Iterable[str]) -> frozenset[str]:
    """Return which of the tables that were made, in this order, rest on tables or variables that have changed."""
    gone = set(changed)
    for name in made:
        each = model(name)
        if gone & (each.reads | each.variables):
            gone.add(name)
    return frozenset(gone & set(made))


def _columns(placeholder: re.Match[str]) -> str:
    """The columns of an input table, by its contract, so that a field that is added there needs no other edit."""
    table, alias = placeholder.groups()
    return ",\n    ".join(f'{alias}."{name}"' for name in contract(table).names)


def _sorted(chosen: Iterable[str]) -> tuple[str, ...]:
    among = frozenset(chosen)
    sorter = TopologicalSorter({name: model(name).reads & among for name in among})
    sorter.prepare()
    found: list[str] = []
    while sorter.is_active():
        ready = sorted(sorter.get_ready())
        found += ready
        sorter.done(*ready)
    return tuple(found)
