"""A large file of a table, column by column: the same facts as `facts_of` gives row by row, many times quicker.

Only a file that is plainly well formed is read so: text of one line a row, whose last rows add up nothing. What
a cell says is told by the same CellReader, once for each distinct text. Polars takes long to import, so that this
module is imported only where there is much to read.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np
import polars as pl

from pipeline.farm.folder import Farm, TableFile
from pipeline.files.csv_scan import NEW_LINE, padded, quotation_marks, well_quoted
from pipeline.files.dialect import dialect_of, plain_text
from pipeline.files.totals import TOTALS_AT_MOST
from pipeline.logbook.blocks import BlockFacts, letters_for
from pipeline.logbook.entry_ids import LETTERS, entry_time_ms
from pipeline.logbook.facts import MOST_G, CellReader, LineKind, Weights, mg_of, youngest_ms
from pipeline.logbook.text_table import TextTable, columns_of, without_totals
from schemas.contract import BATCHES, FILLINGS, HARVESTS, OBSERVATIONS, contract
from schemas.pickings import GUARD

# Rows at the end that say how the file goes on stand within so many bytes.
TAIL = 20_000
CONTROLS = bytes(each for each in range(32) if each not in b"\n\r")
# What texts were read as, by column and how the file is written.
Known = dict[str, dict[str, str]]
READ = {
    BATCHES: ("batch", "inoculated_on"),
    FILLINGS: ("container", "batch", "room", "position", *MOST_G),
    OBSERVATIONS: ("container", "batch", "seen_on", "event", "count"),
    HARVESTS: ("container", "batch", "picked_on", "flush", "fresh_weight_g", "entry"),
}


def read_columns(source: TableFile, data: bytes, farm: Farm, known: Known) -> tuple[TextTable, int, BlockFacts] | None:
    """Return the last rows of this file, how many stand below the header, and what all of them say; None for a file
    that is to be read row by row. Raises UnreadableFile. `known`: what other files' texts were read as, which grows.
    """
    conventions = farm.conventions.of_file(source.name)
    plain = plain_text(contract(source.table), source.name, data)
    dialect = dialect_of(contract(source.table), source.name, plain, conventions)
    body, separator = plain[dialect.body :], dialect.separator
    if not _plain(body, separator):
        return None
    at, units = columns_of(source, dialect.header, conventions)
    tail = body[body.rfind(b"\n", 0, max(len(body) - TAIL, 0)) + 1 :].decode("utf-8")
    rows = list(csv.reader(io.StringIO(tail, newline=""), delimiter=separator))
    few = sum(any(cell.strip() for cell in row) for row in rows) <= TOTALS_AT_MOST
    if few or len(without_totals(source.table, at, rows)) < len(rows):
        return None
    last = TextTable(at, units, dialect.row, dialect.header, rows, len(rows), separator, dialect.line_end)
    frame = _frame(source.table, body, last)
    if frame is None:
        return None
    height = body.count(b"\n") + (not body.endswith(b"\n"))
    read = CellReader(farm.for_file(source.name).conventions.cell_format, units)
    return last, height, _FrameReader(frame, read, _maybe_odd(body, separator), known).facts(source.table)


def _maybe_odd(body: bytes, separator: str) -> bool:
    """Whether any cell may hold a mark that is not as it is shown."""
    controls = CONTROLS.replace(separator.encode(), b"")
    return not body.isascii() or GUARD.encode() in body or len(body.translate(None, controls)) < len(body)


def _plain(body: bytes, separator: str) -> bool:
    """Whether these rows are of one line each, ended alike, and quoted as any reader reads them."""
    lines, returns = body.count(b"\n"), body.count(b"\r")
    if lines == 0 or (returns and not lines == returns == body.count(b"\r\n")):
        return False
    marks = quotation_marks(body)
    if not len(marks):
        return True
    ends = np.flatnonzero(np.frombuffer(body, dtype=np.uint8) == NEW_LINE)
    return well_quoted(body, marks, separator) and not (np.searchsorted(marks, ends) % 2).any()


def _frame(table: str, body: bytes, last: TextTable) -> pl.DataFrame | None:
    """Return the columns that matter as trimmed texts, "" for none; None where Polars cannot read them."""
    wanted = [name for name in READ[table] if name in last.at]
    places = {f"c{last.at[name]}": name for name in wanted}
    names = [f"c{place}" for place in range(len(last.header))]
    marks = quotation_marks(body)
    try:
        frame = pl.read_csv(
            last.separator.join(names).encode() + b"\n" + body,
            columns=list(places),
            schema=dict.fromkeys(names, pl.String),
            separator=last.separator,
            quote_char='"' if len(marks) else None,
            truncate_ragged_lines=True,
        )
    except pl.exceptions.PolarsError:
        return None
    texts = pl.all().fill_null("")
    lacking = [pl.lit("").alias(name) for name in READ[table] if name not in wanted]
    frame = frame.rename(places)
    frame = frame.select(texts.str.strip_chars() if padded(body, marks, last.separator) else texts)
    return frame.with_columns(lacking)


class _FrameReader:
    """What the columns of one file say. `odd`: its texts may hold more than plain letters, digits and signs. `known`:
    what texts of a column were read as so far.
    """

    def __init__(self, frame: pl.DataFrame, read: CellReader, odd: bool, known: Known) -> None:
        self._frame = frame
        self._read = read
        self._odd = odd
        self._known = known

    def facts(self, table: str) -> BlockFacts:
        """Return what they say of this table."""
        each = {BATCHES: self._batches, FILLINGS: self._fillings, OBSERVATIONS: self._ends, HARVESTS: self._pickings}
        return each[table]()

    def _mapped(self, column: str, read: Callable[[str], str | None]) -> pl.Expr:
        """Return this column as it is read: each distinct text once."""
        known = self._known.setdefault(f"{column} {self._read}", {})
        others: dict[str, str] = {}
        for text in self._frame[column].unique().to_list():
            if text not in known:
                known[text] = read(text) or ""
            if known[text] != text:
                others[text] = known[text]
        texts = pl.col(column)
        return texts.replace(list(others), list(others.values())) if others else texts

    def _name(self, column: str) -> pl.Expr:
        """Return this column of names; "" for none."""
        texts = self._frame[column]
        if self._odd and texts.str.contains(rf"{GUARD}|[^ -~]").any():
            return self._mapped(column, self._read.name)
        blank = [text for text in self._read.cell_format.blank_words if text]
        return pl.col(column).replace(blank, [""] * len(blank))

    def _batches(self) -> BlockFacts:
        rows = self._frame.select(key=self._name("batch"), day=self._mapped("inoculated_on", self._read.day))
        rows = rows.filter(pl.col("key") != "")
        return _in_blocks({LineKind.ROWS: rows, LineKind.ALIKE: _alike(rows["key"])})

    def _fillings(self) -> BlockFacts:
        places = {name: self._name(name) for name in ("batch", "room", "position")}
        most = pl.lit("")
        for column in reversed(MOST_G):
            each = self._mapped(column, partial(self._read.most_g, column))
            most = pl.when(each != "").then(each).otherwise(most)
        rows = self._frame.select(key=self._name("container"), **places, most=most)
        rows = rows.filter(pl.col("key") != "", pl.col("batch") != "")
        return _in_blocks(
            {LineKind.ROWS: rows, LineKind.NAMED: _named(rows, "key"), LineKind.ALIKE: _alike(rows["key"])}
        )

    def _ends(self) -> BlockFacts:
        event, day = self._mapped("event", self._read.ending), self._mapped("seen_on", self._read.day)
        self._frame = self._frame.with_columns(event, day).filter(pl.col("event") != "", pl.col("seen_on") != "")
        rows = self._frame.select(
            container=self._name("container"),
            day=pl.col("seen_on"),
            event=pl.col("event"),
            batch=self._name("batch"),
            count=self._mapped("count", self._read.whole),
        )
        return _in_blocks({LineKind.ROWS: _keyed(rows), LineKind.NAMED: _named(rows, "container")})

    def _pickings(self) -> BlockFacts:
        rows = self._frame.select(
            container=self._name("container"),
            day=self._mapped("picked_on", self._read.day),
            batch=self._name("batch"),
            flush=self._mapped("flush", self._read.whole),
            weight=self._mapped("fresh_weight_g", self._read.weight),
            entry=self._young_entries(),
        ).filter(pl.col("day") != "", pl.col("weight") != "")
        alone = _weights(rows, pl.col("container") != "")
        together = _weights(rows, pl.col("container") == "")
        return _in_blocks({LineKind.ROWS: _keyed(rows), LineKind.NAMED: _named(rows, "container")}, alone, together)

    def _young_entries(self) -> pl.Expr:
        """Return the entry ids, but only those of young entries. Ids sort by their time."""
        texts, young = self._frame["entry"], youngest_ms()
        first = "w" + "".join(LETTERS[young >> shift & 31] for shift in range(40, -1, -5))
        late = texts.filter(texts >= first).unique().to_list()
        late = [entry for entry in late if (entry_time_ms(entry) or 0) > young]
        entry = pl.col("entry")
        return pl.when(entry.is_in(late)).then(entry).otherwise(pl.lit("")) if late else pl.lit("")


def _keyed(rows: pl.DataFrame) -> pl.DataFrame:
    """Return these rows by container, or where none is named by the batch as a whole."""
    container = pl.col("container")
    whole = pl.concat_str(pl.lit("\t"), "batch")
    return rows.select(pl.when(container != "").then(container).otherwise(whole).alias("key"), pl.exclude("container"))


def _named(rows: pl.DataFrame, container: str) -> pl.DataFrame:
    both = rows.filter(pl.col("batch") != "", pl.col(container) != "")
    return both.select(pl.col("batch").alias("key"), pl.col(container).alias("name"))


def _alike(names: pl.Series) -> pl.DataFrame:
    distinct = names.unique().to_list()
    return pl.DataFrame({"key": [name.casefold() for name in distinct], "name": distinct})


def _weights(rows: pl.DataFrame, which: pl.Expr) -> Weights:
    counts = rows.lazy().filter(which).group_by("weight").len().collect()
    return Weights.of({mg_of(weight): count for weight, count in counts.iter_rows()})


def _in_blocks(kinds: Mapping[LineKind, pl.DataFrame], *weights: Weights) -> BlockFacts:
    """Return these lines in blocks. Each frame's first column is `key`, the others are the parts of its lines."""
    letters = letters_for(kinds[LineKind.ROWS].height)
    return BlockFacts(letters, {kind: _bodies(rows, letters) for kind, rows in kinds.items()}, *weights)


def _bodies(rows: pl.DataFrame, letters: int) -> dict[str, str]:
    line = pl.concat_str(pl.all(), separator="\t")
    lines = rows.lazy().select(ending=pl.col("key").str.tail(letters), line=line)
    found = lines.group_by("ending").agg(pl.col("line").str.join("\n")).collect()
    return dict(zip(found["ending"].to_list(), found["line"].to_list(), strict=True))
