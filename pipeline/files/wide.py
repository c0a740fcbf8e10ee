"""Wide sheets: one sheet that holds several tables, as most people begin, parted into them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.farm.conventions import Conventions, Heading
from pipeline.farm.folder import TableFile
from schemas.contract import BATCHES, FILLINGS, INPUTS, Contract, contract

if TYPE_CHECKING:
    import polars as pl

# Columns by which the tables of one sheet belong together; any other stands in one of its tables.
SHARED = ("batch", "container")
# The column of what stands beyond the header; such a row's cells may be in wrong columns, for all of its tables.
BEYOND_HEADER = "beyond the header"
# Tables with one row for each key, which a wide sheet may give once or on every row of theirs; of the others, each row
# that says anything is an entry.
ONCE = (BATCHES, FILLINGS)


def heading_of(source: TableFile, name: str, conventions: Conventions) -> Heading | None:
    """Return the column of its table that this heading of a file stands for. Of a sheet with several tables, a heading
    that farm.toml does not tell stands for a column only where no other of its tables has one of that name.
    """
    table = contract(source.table)
    heading = conventions.heading(table, name)
    if heading is None or not source.beside or conventions.maps(table.name, name) or name in SHARED:
        return heading
    return None if any(name in contract(other).names for other in source.beside) else heading


def read_beside(source: TableFile, name: str, conventions: Conventions) -> bool:
    """Whether another table of the same sheet reads this heading."""
    return any(heading_of(other, name, conventions) is not None for other in _others(source))


def first_to_read(source: TableFile, name: str, conventions: Conventions) -> bool:
    """Whether this table is the first of the sheet's that reads this heading: only that one reports on it."""
    before = [other for other in _others(source) if INPUTS.index(other.table) < INPUTS.index(source.table)]
    return not any(heading_of(other, name, conventions) for other in before)


def tells_of_sheet(source: TableFile) -> bool:
    """Whether this table is the one that reports what is true of the whole sheet: its first."""
    return all(INPUTS.index(source.table) < INPUTS.index(other) for other in source.beside)


def _others(source: TableFile) -> list[TableFile]:
    tables = (source.table, *source.beside)
    return [
        replace(source, table=other, beside=tuple(each for each in tables if each != other)) for other in source.beside
    ]


def own_part(
    source: TableFile, table: Contract, frame: pl.DataFrame, others: Sequence[str], blank_words: Sequence[str]
) -> pl.DataFrame:
    """Return the rows of a sheet with several tables that say something for this one. All other rows become blank.
    `frame`: see pipeline.files.read.RawTable; `others`: its columns that other tables read; `blank_words` say nothing.
    """
    import polars as pl

    # A column that no table reads tells entries apart that are equal otherwise; of a batch it tells nothing.
    columns = [name for name in frame.columns if name in table.names or name == BEYOND_HEADER]
    if source.table not in ONCE:
        columns = [name for name in frame.columns if name not in others and name != "row"]
    said = frame.select("row", *(pl.when(~pl.col(name).is_in(blank_words)).then(pl.col(name)) for name in columns))
    says = _says_new(table, said) if source.table in ONCE else _says_any(table, said, columns)
    return frame.select("row", *(pl.when(says).then(pl.col(name)).alias(name) for name in columns))


def _says_any(table: Contract, frame: pl.DataFrame, columns: Sequence[str]) -> pl.Series:
    """Whether any cell of the table's own is filled, for each row."""
    import polars as pl

    own = [name for name in columns if (name in table.names and name not in SHARED) or name == BEYOND_HEADER]
    return frame.select(pl.any_horizontal(pl.col(own).is_not_null())).to_series()


def _says_new(table: Contract, frame: pl.DataFrame) -> pl.Series:
    """Whether each row says of its key what no other row says. Of rows with one key, the first of the fullest stands
    for those that say nothing else; one that differs from it stands too, so that the difference is reported.
    """
    import polars as pl

    key = [name for name in table.primary_key if name in frame.columns]
    facts = [name for name in frame.columns if name not in table.primary_key and name not in ("row", BEYOND_HEADER)]
    beyond = pl.col(BEYOND_HEADER).is_not_null() if BEYOND_HEADER in frame.columns else pl.lit(False)
    filled = pl.sum_horizontal(pl.col(facts).is_not_null()) if facts else pl.lit(0)
    frame = frame.with_columns(filled.alias("filled:"), beyond.alias("beyond:"))
    fullest = _fullest(frame, key, facts)
    beside = frame.join(fullest, on=key, how="left", maintain_order="left")
    same = [pl.col(name).is_null() | (pl.col(name) == pl.col(f"{name}:")).fill_null(False) for name in facts]
    first = pl.col("row") == pl.col("row:")
    repeats = pl.all_horizontal(same) & ~first if same else ~first
    whole_key = pl.all_horizontal(pl.col(key).is_not_null())
    # A container that is named with its batch was filled, whatever else is not known of it; a batch's name alone says
    # nothing of the batch, which may stand in another file.
    named = whole_key & pl.lit(table.name == FILLINGS and len(key) == len(table.primary_key))
    says = ((pl.col("filled:") > 0) | named) & ~(repeats.fill_null(False) & whole_key)
    return beside.select(pl.col("beyond:") | says.fill_null(False)).to_series()


def _fullest(frame: pl.DataFrame, key: Sequence[str], facts: Sequence[str]) -> pl.DataFrame:
    """The row of each key that says most (the key, and row: and the facts as NAME:)."""
    import polars as pl

    sound = frame.filter(~pl.col("beyond:")).sort("filled:", descending=True, maintain_order=True)
    first = sound.unique(key, keep="first", maintain_order=True)
    return first.select(*key, *(pl.col(name).alias(f"{name}:") for name in ("row", *facts)))
