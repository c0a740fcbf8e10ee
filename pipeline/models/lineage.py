"""What each model reads and writes, by the heads of the SQL files; and the order that follows from it.

A file's head says what it holds, the units of its numbers, its grain, the tables that it reads, and the one table that
it writes, which has the file's name; a query that only answers writes nothing. A file with INPUT in its name is one
model per input table, one with BOOK one per table of the books, one with EVENT one per table of events, one with
DECIDED one per table that is decided row by row, one with LASTING one per table that stays, one with PASSING one per
table that is let go of on the way, one with MEMBERS one per set of units whose losses are counted.
`{columns of TABLE as ALIAS}` stands for the columns of an input table's contract: see pipeline/models/columns.
tests/test_lineage.py holds the heads against the statements, and `make lineage` draws the picture in DEVELOPERS.md.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from graphlib import TopologicalSorter
from importlib.resources import files
from importlib.resources.abc import Traversable

from pipeline.models.columns import filled
from schemas.contract import BOOKS, HARVESTS, INPUTS, OBSERVATIONS

# The folders of the models. stage: the tables that hold the rows as they were read, and views of them. draft:
# statements with parameters, by which a refresh changes the stage and sees what that changes. part: by which it finds
# the part of the farm that a change touches, and decides for that alone. ledger: the tables and views that a refresh
# decides. units: temporary tables, as of a day. results: queries, which write nothing.
GROUPS = STAGE, DRAFT, PART, LEDGER, UNITS, RESULTS = ("stage", "draft", "part", "ledger", "units", "results")
# Queries in the words of Spark, in a folder of their own: see pipeline/spark/portable.py.
SPARK = "spark"
# The tables that are decided row by row: where a change touches a part of the farm, only for its lines.
DECIDED = (
    "batches",
    "clear_harvests",
    "clear_observations",
    "filling_shares",
    "found_in_rows",
    "rejected_fillings",
    "rejected_pickings",
    "repeats",
    "resolved_harvests",
    "resolved_observations",
)
# All tables that stay in the ledger once they are decided.
LASTING = (
    *DECIDED,
    *BOOKS,
    "closings",
    "flush_rule",
    "found_in_books",
    "found_in_farm",
    "picked_flushes",
    "picking_days",
    "rejected_books",
    "row_counts",
)
# Temporary tables that hold a row per row of the farm, or nearly: each is let go of once no model reads it any more.
PASSING = ("derived_flushes", "fallback", "filling_days", "loaded_fillings", "resolved")
# What stands for the name of a table in the name and the text of a file, and the tables that it stands for.
STANDS_FOR = {
    "INPUT": INPUTS,
    "BOOK": BOOKS,
    "EVENT": (HARVESTS, OBSERVATIONS),
    "DECIDED": DECIDED,
    "LASTING": LASTING,
    "PASSING": PASSING,
    "MEMBERS": ("group_members", "trace_members"),
}
READS = re.compile(r"^-- reads: (.*(?:\n--     .*)*)$", re.MULTILINE)
WRITES = re.compile(r"^-- writes: (\w+)$", re.MULTILINE)
VIEW = re.compile(r"^create or replace (temp )?view", re.MULTILINE)
# {keys of group_by} is one that is put into the text itself.
VARIABLES = re.compile(r"(?:getvariable\('|\{[a-z ]+ of )(group_by(?=\})|\w+(?='\)))")
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
def _folder() -> Traversable | zipfile.Path:
    """Return where the models lie: in the folders beside this module; from a wheel, in one archive (hatch_build.py)."""
    here = files("pipeline.models")
    archive = here.joinpath("models.zip")
    return zipfile.Path(str(archive)) if archive.is_file() else here


@cache
def _files(group: str) -> dict[str, tuple[str, str, str]]:
    """The models of a group by name, each with its file, and with the word in it that stands for a table, and which."""
    found = {}
    for path in _folder().joinpath(group).iterdir():
        name, ending = path.name[:-4], path.name[-4:]
        if ending == ".sql":
            word = next((word for word in STANDS_FOR if word in name), "")
            for table in STANDS_FOR.get(word, ("",)):
                found[name.replace(word, table) if word else name] = (path.name, word, table)
    return found


@cache
def names(group: str) -> frozenset[str]:
    """Return the names of a group's models."""
    return frozenset(_files(group))


@cache
def model(name: str) -> Model:
    """Return the model of this name. Raises KeyError where no file has it, ValueError where its head is not whole."""
    group = next((each for each in GROUPS if name in names(each)), None)
    if group is None:
        raise KeyError(f"no model is called {name}")
    file, word, table = _files(group)[name]
    text = _folder().joinpath(group, file).read_text(encoding="utf-8")
    text = filled(text.replace(word, table) if word else text)
    reads, writes = READS.search(text), WRITES.search(text)
    if reads is None or writes is None:
        raise ValueError(f"{file} does not say what it reads and writes")
    listed = re.findall(r"\w+", reads.group(1))
    return Model(
        name,
        group,
        text,
        frozenset(listed) - {NOTHING},
        None if writes.group(1) == NOTHING else writes.group(1),
        frozenset(VARIABLES.findall(text)),
    )


@cache
def own_words(name: str) -> str:
    """Return the text of a query that is written for Spark. Raises FileNotFoundError where there is none."""
    return _folder().joinpath(SPARK, f"{name}.sql").read_text(encoding="utf-8")


def order(group: str) -> tuple[str, ...]:
    """Return the models of a group, each behind those that it reads; by name where either may come first.

    Raises graphlib.CycleError where they read each other in a circle.
    """
    return _sorted(names(group))


@cache
def read_last() -> dict[str, tuple[str, ...]]:
    """Return, by a model of a refresh, which of the PASSING tables no other behind it reads, also through a view."""
    models = {name: model(name) for name in order(LEDGER)}
    views = {name: each.reads for name, each in models.items() if VIEW.search(each.text)}
    last: dict[str, str] = {}
    for name, each in models.items():
        reads = set(each.reads) if name not in views else set()
        while found := {behind for read in reads for behind in views.get(read, ())} - reads:
            reads |= found
        last |= dict.fromkeys(reads & set(PASSING), name)
    return {name: tuple(table for table, reader in last.items() if reader == name) for name in set(last.values())}


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
