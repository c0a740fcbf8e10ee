"""Running the measures: the ledger is opened read-only, the day and thresholds are set, the SQL files run."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from importlib.resources import files as package_files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from schemas.contract import contract
from schemas.finding import Finding, OutOfReach, WrongRequest, nearest

if TYPE_CHECKING:
    import duckdb

# In this order: each reads what the ones before it made.
UNIT_TABLES = ("units", "unit_flushes", "unit_pins", "unit_states", "unit_aside")
THRESHOLDS = ("lapse_days", "lapse_unpicked_days", "flush_settled_days")

Rows = list[dict[str, Any]]


def groupable() -> tuple[str, ...]:
    """By which columns can units be grouped? Every recipe column of a batch and every column of a filling."""
    batch, filling = contract("batches").names, contract("fillings").names
    return tuple(dict.fromkeys((*batch, *filling)))


def grouping(asked: str) -> tuple[str, ...]:
    """Which columns does a --by text name? "all" is the whole farm as one group; container brings its batch along.

    Raises WrongRequest for a column that no table has.
    """
    names = [name.strip() for name in asked.split(",") if name.strip()]
    if names == ["all"]:
        return ()
    for name in names:
        if name not in groupable():
            meant = nearest(name, groupable())
            hint = f" Did you mean {meant}?" if meant else ""
            raise WrongRequest(f"--by {name}: there is no such column.{hint} Known: all, {', '.join(groupable())}.")
    if not names:
        raise WrongRequest("--by: name at least one column, like --by substrate, or all.")
    if "container" in names and "batch" not in names:
        names.insert(names.index("container"), "batch")
    return tuple(dict.fromkeys(names))


@contextmanager
def open_ledger(path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    """The ledger, for reading only: no file is written and no other file can be reached through it.

    Raises OutOfReach when another program holds it.
    """
    import duckdb

    config: dict[str, Any] = {
        "enable_external_access": "false",
        "autoload_known_extensions": "false",
        "autoinstall_known_extensions": "false",
    }
    try:
        con = duckdb.connect(str(path), read_only=True, config=config)
    except duckdb.Error as problem:
        if not path.exists():
            raise OutOfReach("There is no ledger yet. Run gillbook refresh.") from problem
        raise OutOfReach(f"{path.name} is open in another program. Close it and try again.") from problem
    with con:
        yield con


@dataclass(frozen=True)
class Question:
    """What is asked of the ledger: as of which day, by which columns, through which flush (None: not asked)."""

    as_of: date
    by: tuple[str, ...] = ()
    through_flush: int | None = None


def _statement(name: str) -> str:
    return package_files("pipeline.measures").joinpath(f"{name}.sql").read_text(encoding="utf-8")


def _records(con: duckdb.DuckDBPyConnection, query: str) -> Rows:
    cursor = con.execute(query)
    names = [column[0] for column in cursor.description or ()]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def prepare(con: duckdb.DuckDBPyConnection, settings: Mapping[str, Any], question: Question) -> None:
    """Makes the unit tables and the groups that the question asks for, as temporary tables."""
    con.execute(f"set variable as_of = date '{question.as_of.isoformat()}'")
    con.execute(f"set variable through = {int(question.through_flush or 1)}")
    for name in THRESHOLDS:
        con.execute(f"set variable {name} = {int(settings[name])}")
    for name in UNIT_TABLES:
        con.execute(_statement(name))
    for query in _group_statements(question.by):
        con.execute(query)


def _group_statements(by: Sequence[str]) -> list[str]:
    """Which statements put each unit into its group? Names come from the contracts only.

    Cells are grouped by value; a group is called by the text of its cells (the first in text order, where several
    texts, like 20 and 20.0, have one value). A whole batch has a filling's cell where all its fillings agree.
    """
    numbers = range(len(by))
    labels = [_label(name) for name in by]
    keys = ", ".join(f"k{at}" for at in numbers)
    # Numbers in the order of numbers, then texts in the order of texts.
    order = ", ".join(f"try_cast(k{at} as double) nulls last, k{at}" for at in numbers)
    told = "".join(f", {key} as k{at}, {text} as t{at}" for at, (key, text) in enumerate(labels))
    named = "".join(f', min(c{at}) as "{name}"' for at, name in enumerate(by))
    called = "".join(f", min(t{at}) over (partition by k{at}) as c{at}" for at in numbers)
    same = " and ".join(f"l.k{at} = g.k{at}" for at in numbers) or "true"
    return [
        f"""create or replace temp table unit_labels as
        select u.unit{told}
        from units as u
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
    ]


def _label(name: str) -> tuple[str, str]:
    """The SQL of a unit's grouping key and of its text for one column. A name in both tables is the batch's."""
    of_batch = name in contract("batches").names
    owner, stage, table = ("b", "sb", "batches") if of_batch else ("f", "sf", "fillings")
    key = f"coalesce({owner}.\"{name}\"::varchar, '')"
    text = f"coalesce({stage}.\"{name}_text\", '')" if name in contract(table).texts_kept else key
    agreed = f"count(distinct {key}) = 1"
    return f"case when {agreed} then min({key}) else '' end", f"case when {agreed} then min({text}) else '' end"


def yields(con: duckdb.DuckDBPyConnection, question: Question) -> Rows:
    """What did each group give? One record per group, with the columns of the `yields` contract. Call prepare first."""
    wanted = [each.name for each in contract("yields").fields if not each.only_through or question.through_flush]
    return _with_groups(con, question, "yields", wanted)


def flushes(con: duckdb.DuckDBPyConnection, question: Question) -> Rows:
    """How do the flushes follow each other? One record per group and flush. Call prepare first."""
    return _with_groups(con, question, "flushes", list(contract("flushes").names))


def _with_groups(con: duckdb.DuckDBPyConnection, question: Question, name: str, wanted: Sequence[str]) -> Rows:
    groups = {group.pop("group_id"): group for group in _records(con, "select * from groups order by group_id")}
    found = []
    for record in _records(con, _statement(name)):
        group = groups[record["group_id"]]
        found.append({**{key: group[key] for key in question.by}, **{key: record[key] for key in wanted}})
    return found


def missing_cells(con: duckdb.DuckDBPyConnection) -> Rows:
    """Which cells would give dry mass to units without? One record per cell (file, row, column_name, units)."""
    return _records(con, _statement("missing_cells"))


def lapsed(con: duckdb.DuckDBPyConnection) -> list[Finding]:
    """Which units are treated as ended although nobody said so? Each with the line that would say it."""
    found = []
    for unit in _records(con, _statement("lapsed")):
        table = contract(unit["table_name"])
        place = (
            f"container {unit['container']} of batch {unit['batch']}" if unit["container"] else f"batch {unit['batch']}"
        )
        since = f"picked last on {unit['last_picked']}" if unit["last_picked"] else "never picked"
        line = f"seen_on={unit['lapses_on']}, event=emptied, container={unit['container'] or ''}, batch={unit['batch']}"
        found.append(
            Finding(
                table=table.name,
                file=unit["file"],
                row=unit["row"],
                column="container" if unit["container"] else "batch",
                rule="lapsed",
                level="warning",
                value=unit["container"] or unit["batch"],
                message=f"is treated as ended since {unit['lapses_on']} ({place}, {since})",
                expected="an observation that ends it",
                fix=f"If it is over, say so in observations: {line}",
            )
        )
    return found
