"""The columns of the input tables as SQL: what the placeholders in the models stand for. They follow from the
contracts, so that a field that is added there needs no other edit.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from schemas.contract import BATCHES, FILLINGS, INPUTS, Field, contract, free_words

# {columns of TABLE as ALIAS} and the others of EXPANSIONS; {keys of group_by} is filled once it is known: see grouped.
PLACEHOLDER = re.compile(r"\{([a-z ]+?) of (\w+)(?: as (\w+))?\}")
GROUP_BY = "group_by"


def filled(text: str) -> str:
    """Return the text of a model with its placeholders filled. Raises KeyError for one that is not known."""
    return PLACEHOLDER.sub(
        lambda found: found[0] if found[2] == GROUP_BY else _listed(EXPANSIONS[found[1]](found[2], found[3] or "")),
        text,
    )


def grouped(text: str, by: Sequence[str]) -> str:
    """Return the text of a model for units that are grouped by these columns of batches and fillings. What a batch's
    columns say is looked up once a batch, and fillings are only where one of their columns is among them.
    """
    cells = [_cells_of_group(at, name) for at, name in enumerate(by)]
    of_fillings = [each for each in cells if each.owner == "f"]
    join = "left join filling_labels as f on f.unit = g.unit" if of_fillings else ""
    parts = {
        "batch cells": "".join(each.selected for each in cells if each.owner == "b"),
        "filling cells": "".join(each.selected for each in of_fillings),
        "batch columns": "".join(each.taken for each in cells if each.owner == "b"),
        "filling codes": "".join(each.coded for each in of_fillings),
        "agreed codes": "".join(each.coded_where_agreed for each in of_fillings),
        "filling cells listed": _listed(each.listed for each in of_fillings) or "null",
        "filling dictionaries": _listed(each.dictionary for each in of_fillings) or "null",
        "keys": _listed(each.read("key") for each in cells),
        "texts": _listed(each.read("text") for each in cells),
        "filling labels": join,
    }
    for name, part in parts.items():
        text = text.replace(f"{{{name} of {GROUP_BY}}}", part)
    return text


def _listed(parts: Iterable[str]) -> str:
    return ",\n    ".join(parts)


@dataclass(frozen=True)
class GroupCells:
    """What a column by which units are grouped says: its name and its place among the columns, of whom (b: a batch, f:
    fillings), the SQL of its value and of its text, and whether this may be another than that; own_key, own_text: of
    one row of the stage, where key and text are of several.
    """

    at: int
    name: str
    owner: str
    key: str
    text: str
    has_text: bool
    own_key: str
    own_text: str

    @property
    def selected(self) -> str:
        """The value and the text as columns of the labels of their owners."""
        return f",\n        {self.key} as key_{self.at},\n        {self.text} as text_{self.at}"

    @property
    def taken(self) -> str:
        """These two columns, taken from the labels; where nothing is written apart from the value, its text is that."""
        return f",\n    l.key_{self.at}" + (f",\n    l.text_{self.at}" if self.has_text else "")

    @property
    def _written(self) -> str:
        """The columns of the stage that say the cell."""
        return f'sf."{self.name}", sf."{self.name}_text"' if self.has_text else f'sf."{self.name}"'

    @property
    def coded(self) -> str:
        """A number for a filling's cell: it takes a tenth of the room of a text, and is soon made of the value."""
        return f",\n    hash({self._written}) as code_{self.at}"

    @property
    def coded_where_agreed(self) -> str:
        """The number of the cell in which fillings agree, of its first text; 0 where they do not, or are blank."""
        value = f'sf."{self.name}"'
        agreed = f"count({value}) = count(*) and min({value}) = max({value})"
        return f",\n    case when {agreed} then min_by(hash({self._written}), {self.own_text}) else 0 end"

    @property
    def listed(self) -> str:
        """The different cells of some rows, as lists of what the stage has of each."""
        fields = [self.name, f"{self.name}_text"] if self.has_text else [self.name]
        cells = ", ".join(f"'{each}': sf.\"{each}\"" for each in fields)
        return f"list(distinct {{{cells}}}) as listed_{self.at}"

    @property
    def dictionary(self) -> str:
        """What the number of each of these stands for."""
        cell = f"{{'code': hash({self._written}), 'key': {self.own_key}, 'text': {self.own_text}}}"
        return f"list_transform(listed_{self.at}, lambda sf: {cell}) as cells_{self.at}"

    def read(self, what: str) -> str:
        """The column of the labels; a batch without fillings has blank ones."""
        return f"coalesce({self.owner}.{what}_{self.at}, '')"


def _cells_of_group(at: int, name: str) -> GroupCells:
    """The SQL of a unit's grouping key and of its text for one column. A name in both tables is the batch's; fillings
    weighed as a whole have the cell in which they agree.
    """
    of_batch = name in contract(BATCHES).names
    owner, table = ("b", BATCHES) if of_batch else ("f", FILLINGS)
    has_text = name in contract(table).columns_with_text
    key, text = _key_and_text(name, owner, f"s{owner}", has_text)
    own = _key_and_text(name, f"s{owner}", f"s{owner}", has_text)
    if of_batch:
        return GroupCells(at, name, owner, key, text, has_text, *own)
    agreed = f"min({key}) = max({key})"
    key, text = (f"case when {agreed} then min({each}) else '' end" for each in (key, text))
    return GroupCells(at, name, owner, key, text, has_text, *own)


def _key_and_text(name: str, table: str, stage: str, has_text: bool) -> tuple[str, str]:
    """The SQL of the value of a cell, and of its text, which the stage has only where a number was not written the
    shortest way.
    """
    key = f"coalesce({table}.\"{name}\"::varchar, '')"
    if not has_text:
        return key, key
    shortest = f"case when contains({key}, '.') then rtrim(rtrim({key}, '0'), '.') else {key} end"
    return key, f'coalesce({stage}."{name}_text", {shortest})'


def sql_type(each: Field) -> str:
    """Return how the ledger holds this column. Masses are decimals, so that sums are exact."""
    if each.type == "number":
        return "double" if each.decimals is None else f"decimal(18, {each.decimals})"
    return {"string": "varchar", "date": "date", "integer": "integer"}[each.type]


def stage_columns(table: str) -> dict[str, str]:
    """Return the columns of the stage of an input table, each with its type."""
    of_table = contract(table)
    return {
        "line": "ubigint",
        **{each.name: sql_type(each) for each in of_table.fields},
        **{f"{name}_text": "varchar" for name in of_table.columns_with_text},
        "other_cells": "varchar",
        "faulty": "boolean",
    }


def _of(alias: str, names: Iterable[str]) -> list[str]:
    return [f'{alias}."{name}"' for name in names]


def _types(table: str, _: str) -> list[str]:
    return [f'"{name}" {kind}' for name, kind in stage_columns(table).items()]


def _cells(table: str, alias: str) -> list[str]:
    """The columns in which two rows that say the same are equal: all cells of the file, also the unknown ones."""
    return _of(alias, (*contract(table).names, "other_cells"))


def _whose(table: str, alias: str) -> list[str]:
    """Which batch and container a row names, and its day of inoculation: null where its table has no such column."""
    kinds = {"batch": "varchar", "container": "varchar", "inoculated_on": "date"}
    known = contract(table).names
    return [f'{alias}."{name}"' if name in known else f"null::{kind} as {name}" for name, kind in kinds.items()]


def _row_rules(_: str, __: str) -> list[str]:
    return [
        f"('{table}', '{rule}', '{notice.get('column', '')}', '{notice['level']}')"
        for table in INPUTS
        for rule, notice in contract(table).row_rules.items()
    ]


EXPANSIONS: Mapping[str, Callable[[str, str], list[str]]] = {
    "columns": lambda table, alias: _of(alias, contract(table).names),
    "recipe": lambda table, alias: _of(alias, (each.name for each in contract(table).fields if each.recipe)),
    "free words": lambda table, alias: _of(alias, free_words(table)),
    "names of free words": lambda table, _: [f"'{name}'" for name in free_words(table)],
    "stage columns": lambda table, alias: _of(alias, stage_columns(table)),
    "stage types": _types,
    "cells": _cells,
    "whose": _whose,
    "row rules": _row_rules,
}
