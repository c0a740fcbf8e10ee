"""Into which file an entry goes, and how it is written there.

A file takes it when it is text and has a column for every cell of the entry. Where it does not, the entry goes into a
file of gillbook's own beside it, which is read like any other; the grower's file stays as it is.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from pathlib import Path

from pipeline.farm.folder import Farm, TableFile, files_of
from pipeline.farm.settings import parts
from pipeline.farm.table_names import TEXTS, WORKBOOKS, table_names
from pipeline.files.write_csv import guarded
from pipeline.logbook import cells
from pipeline.logbook.amounts import in_unit, written
from pipeline.logbook.append import refuse_link_to_nothing
from pipeline.logbook.summaries import Shape, Summaries, Summary
from schemas.contract import HARVESTS, OBSERVATIONS, contract
from schemas.finding import OutOfReach

# Tables that a file of gillbook's own holds by the month.
BY_MONTH = (HARVESTS, OBSERVATIONS)
ONLY_READ = (
    "{name} is a link that leads out of the farm folder, so it is only read: entries go into a file beside it. "
    "write_links_into in farm.toml allows more."
)
# A row to be written: per column of ours a day, a number (in the contract's unit), a word of the column, or a text.
Values = Mapping[str, "date | Decimal | int | str"]


@dataclass(frozen=True)
class Destination:
    """A file to write to. `version`: its size and time (ns) when its shape was read; None for a file that is not there
    yet. `grows`: all it holds is a header, which gains columns.
    """

    table: str
    name: str
    path: Path
    shape: Shape
    version: tuple[int, int] | None
    grows: bool = False

    @property
    def next_row(self) -> int:
        """The row, as the spreadsheet shows it, in which the next entry will stand."""
        return self.shape.row + self.shape.rows + 1

    def rows_text(self, count: int) -> str:
        """Return in which rows so many entries will stand: "row 14", "rows 14 to 16"."""
        first, last = self.next_row, self.next_row + count - 1
        return f"row {first}" if first == last else f"rows {first} to {last}"


def destination_for(
    farm: Farm, summaries: Summaries, table: str, day: date, columns: Sequence[str]
) -> tuple[Destination, list[str]]:
    """Return the file into which an entry of this day goes that has these columns, and what the grower should hear of
    that. Raises OutOfReach where no file can take it.
    """
    names = table_names(farm.folder, farm.conventions.files)
    files = files_of(farm.folder, farm.conventions.files, names)
    sources = {each.name: each for each in files if each.table == table}
    troubles = [each.trouble for each in summaries.values() if each.trouble]
    messages: list[str] = []
    # Some systems hold 2026-05.CSV and 2026-05.csv for one file.
    as_named = {each.lower(): each for each in sources}
    for wanted in _candidates(farm, table, names.folders.get(table), day, sources):
        name = wanted if wanted in sources else as_named.get(wanted.lower(), wanted)
        source, summary = sources.get(name), summaries.get(f"{table}:{name}")
        if farm.only_reads(name):
            messages = messages or [ONLY_READ.format(name=name)]
            continue
        refuse_link_to_nothing(farm.folder / name, name)
        if source is None or summary is None:
            return _new(farm, summaries, table, name), messages
        why = _unfit(source, summary)
        if why is None:
            shape, grows = summary.shape, False
            lacks = _lacks(farm, source, shape, columns)
            if lacks and shape.empty:
                shape, lacks, grows = _grown(farm, table, shape, columns), None, True
            if lacks is None:
                # Where an own file is in use already, the reason was given before.
                messages = [each for each in messages if each in troubles]
                version = (summary.stamp.size, summary.stamp.mtime_ns)
                return Destination(table, name, source.path, shape, version, grows), messages
            why = lacks
        messages = messages or [why]
    raise OutOfReach(f"No file of {table} can take the entry. {messages[0]}")


def _candidates(
    farm: Farm, table: str, folder: str | None, day: date, sources: Mapping[str, TableFile]
) -> Iterator[str]:
    """Return the files that may be written to, the likeliest first; some may not be there yet. folder: of this table,
    where it has one.
    """
    month = f"{day:%Y-%m}"
    as_small = {name.casefold(): name for name in sources}
    single = next((as_small[f"{table}{suffix}"] for suffix in TEXTS if f"{table}{suffix}" in as_small), None)
    own = [name for name, use in farm.conventions.files.items() if use.tables == (table,) and name in sources]
    own = [name for name in own if name.lower().endswith(TEXTS)]
    by_month = table in BY_MONTH
    if by_month and folder and not (table == OBSERVATIONS and single):
        yield f"{folder}/{month}.csv"
    elif single or len(own) == 1:
        yield single or own[0]
    elif table != HARVESTS and not any(f"{table}{suffix}" in as_small for suffix in WORKBOOKS):
        yield f"{table}.csv"
    stem = month if by_month else "logbook"
    folder = folder or table
    yield f"{folder}/{stem}.csv"
    yield f"{folder}/{stem}-logbook.csv"
    for number in range(2, 10):
        yield f"{folder}/{stem}-logbook-{number}.csv"


def _unfit(source: TableFile, summary: Summary) -> str | None:
    """Return why nothing can be added to this file; None where something can."""
    if summary.trouble:
        return summary.trouble
    reasons = {
        "is a workbook, which only a spreadsheet writes": summary.shape.workbook,
        "holds other tables too": bool(source.beside),
        "ends with a row that adds up the others": summary.shape.totals,
    }
    why = next((why for why, holds in reasons.items() if holds), None)
    return why and f"{source.name} {why}: entries go into a file beside it."


def _lacks(farm: Farm, source: TableFile, shape: Shape, columns: Sequence[str]) -> str | None:
    """Return which of these columns the file has not, and how they are added; None where it has all."""
    missing = [_heading(farm, source.table, name)[0] for name in columns if name not in shape.at]
    if not missing:
        return None
    added = shape.separator + shape.separator.join(missing)
    return (
        f"{source.name} has no column {', '.join(missing)}: the entry goes into a file beside it, and both are read. "
        f'To keep one file, add "{added}" to the end of its header line.'
    )


def _grown(farm: Farm, table: str, shape: Shape, columns: Sequence[str]) -> Shape:
    """Return how a file that is a header alone is written once that has these columns too. It gains all that entries
    may need, so that the next one fits.
    """
    wanted = contract(table).names if table in BY_MONTH else columns
    added = {column: _heading(farm, table, column) for column in wanted if column not in shape.at}
    first = len(shape.header)
    return replace(
        shape,
        header=[*shape.header, *(name for name, _ in added.values())],
        at={**shape.at, **{column: first + at for at, column in enumerate(added)}},
        units={**shape.units, **{column: unit for column, (_, unit) in added.items() if unit}},
        row=1,
        rows=0,
    )


def _heading(farm: Farm, table: str, column: str) -> tuple[str, str | None]:
    """Return how the farm calls this column, and in which unit it writes it (None: the contract's)."""
    for name, heading in parts(farm.settings, "headings").get(table, {}).items():
        given = heading if isinstance(heading, dict) else {"column": heading}
        if given["column"] == column:
            unit = given.get("unit")
            return name, str(unit) if unit and unit != contract(table).field(column).unit else None
    return column, None


def _new(farm: Farm, summaries: Summaries, table: str, name: str) -> Destination:
    """Return a file that is to be made: with all columns, separated as the table's other files are."""
    shapes = [each.shape for each in summaries.values() if each.table == table and not each.trouble]
    texts = [shape for shape in shapes if not shape.workbook]
    separator = ";" if farm.conventions.cell_format.decimal_mark == "," else ","
    like = texts[-1] if texts else Shape(separator=separator)
    headings = {column: _heading(farm, table, column) for column in contract(table).names}
    shape = Shape(
        at={column: at for at, column in enumerate(headings)},
        units={column: unit for column, (_, unit) in headings.items() if unit},
        header=[name for name, _ in headings.values()],
        separator=like.separator,
        line_end=like.line_end,
        alike=like.alike,
    )
    return Destination(table, name, farm.folder / name, shape, None)


def header_line(destination: Destination) -> str:
    """Return the header line of a file that is to be made, or whose header gains columns."""
    return _line([guarded(name) for name in destination.shape.header], destination.shape)


def texts_of(farm: Farm, destination: Destination, values: Values) -> dict[str, str]:
    """Return these values as the file writes them: in its decimal mark, order of dates, units and words."""
    return {column: _text(farm, destination, column, value) for column, value in values.items()}


def row_line(destination: Destination, texts: Mapping[str, str]) -> str:
    """Return the line of the file that holds these texts, by column of ours."""
    found = [""] * len(destination.shape.header)
    for column, text in texts.items():
        found[destination.shape.at[column]] = text
    return _line(found, destination.shape)


def _text(farm: Farm, destination: Destination, column: str, value: date | Decimal | int | str) -> str:
    own = farm if destination.version is None else farm.for_file(destination.name)
    cell_format, each = own.conventions.cell_format, contract(destination.table).field(column)
    if isinstance(value, date):
        return cells.written_day(value, destination.shape.alike, cell_format)
    if isinstance(value, Decimal):
        ours = each.unit or ""
        return written(in_unit(value, destination.shape.units.get(column, ours), ours), cell_format)
    if isinstance(value, int):
        return str(value)
    if each.words:
        return guarded(cells.written_word(value, column, parts(farm.settings, "words")))
    return cells.written_text(value)


def _line(texts: Sequence[str], shape: Shape) -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=shape.separator, lineterminator=shape.line_end).writerow(texts)
    return out.getvalue()
