"""Grouping: which columns units can be told by, and which unit belongs to which group."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from schemas.contract import contract
from schemas.finding import WrongRequest, nearest

if TYPE_CHECKING:
    import duckdb

# The temporary tables that group_units makes.
GROUP_TABLES = ("unit_labels", "groups", "unit_groups")
FILLINGS_AS_UNITS = """(
            select f.line as unit, f.batch_line, f.container
            from fillings as f
            inner join batches as b on b.line = f.batch_line
            where b.inoculated_on is null or b.inoculated_on <= getvariable('as_of')
        )"""


def groupable() -> tuple[str, ...]:
    """Return the columns by which units can be grouped: every one of a batch and every one of a filling."""
    batch, filling = contract("batches").names, contract("fillings").names
    return tuple(dict.fromkeys((*batch, *filling)))


def grouping(listed: str, add_batch: bool = True) -> tuple[str, ...]:
    """Return the columns that a --by text names. "all" is the whole farm as one group; container brings its batch
    along, for a container without a batch is no unit; `add_batch` is False where all fillings of a container belong
    together.

    Raises WrongRequest for a column that no table has.
    """
    names = [name.strip() for name in listed.split(",") if name.strip()]
    if names == ["all"]:
        return ()
    for name in names:
        if name not in groupable():
            meant = nearest(name, groupable())
            hint = f" Did you mean {meant}?" if meant else ""
            raise WrongRequest(f"--by {name}: there is no such column.{hint} Known: all, {', '.join(groupable())}.")
    if not names:
        raise WrongRequest("--by: name at least one column, like --by substrate, or all.")
    if add_batch and "container" in names and "batch" not in names:
        names.insert(names.index("container"), "batch")
    return tuple(dict.fromkeys(names))


def group_units(con: duckdb.DuckDBPyConnection, by: Sequence[str], of_fillings: bool = False) -> None:
    """Puts each unit into its group (temporary tables groups, unit_groups). Names come from the contracts only.

    Cells are grouped by value; a group is called by the text of its cells (the first in text order, where several
    texts, like 20 and 20.0, have one value). A whole batch has a filling's cell where all its fillings agree.
    `of_fillings` groups the fillings themselves, also those of whole batches.
    """
    numbers = range(len(by))
    labels = [_label(name) for name in by]
    keys = ", ".join(f"k{at}" for at in numbers)
    # Numbers in the order of numbers, then texts in the order of texts.
    order = ", ".join(f"try_cast(k{at} as double) nulls last, k{at}" for at in numbers)
    labelled = "".join(f", {key} as k{at}, {text} as t{at}" for at, (key, text) in enumerate(labels))
    named = "".join(f', min(c{at}) as "{name}"' for at, name in enumerate(by))
    called = "".join(f", min(t{at}) over (partition by k{at}) as c{at}" for at in numbers)
    units = FILLINGS_AS_UNITS if of_fillings else "units"
    same = " and ".join(f"l.k{at} = g.k{at}" for at in numbers) or "true"
    for query in (
        f"""create or replace temp table unit_labels as
        select u.unit{labelled}
        from {units} as u
        inner join batches as b on b.line = u.batch_line
        inner join stage_batches as sb on sb.line = b.line
        left join fillings as f on f.batch_line = u.batch_line and (u.container is null or f.line = u.unit)
        left join stage_fillings as sf on sf.line = f.line
        group by u.unit, u.container""",
        f"""create or replace temp table groups as
        select row_number() over (order by {order}) as group_id, {keys}{named}
        from (select *{called} from unit_labels)
        group by {keys}"""
        if by
        else "create or replace temp table groups as select 1 as group_id",
        f"""create or replace temp table unit_groups as
        select l.unit, g.group_id from unit_labels as l inner join groups as g on {same}""",
    ):
        con.execute(query)


def _label(name: str) -> tuple[str, str]:
    """The SQL of a unit's grouping key and of its text for one column. A name in both tables is the batch's."""
    of_batch = name in contract("batches").names
    owner, stage, table = ("b", "sb", "batches") if of_batch else ("f", "sf", "fillings")
    key = f"coalesce({owner}.\"{name}\"::varchar, '')"
    text = key
    if name in contract(table).columns_with_text:
        # A text is kept only where the number was not written the shortest way.
        shortest = f"case when contains({key}, '.') then rtrim(rtrim({key}, '0'), '.') else {key} end"
        text = f'coalesce({stage}."{name}_text", {shortest})'
    agreed = f"count(distinct {key}) = 1"
    return f"case when {agreed} then min({key}) else '' end", f"case when {agreed} then min({text}) else '' end"
