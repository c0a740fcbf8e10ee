"""Into which file goes an entry, and how is it written there?

A file takes it when it is text and has a column for every cell of the entry. Where it does not, the entry goes into a
file of gillbook's own beside it, which is read like any other; the grower's file stays as it is.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from pipeline.farm.folder import WORKBOOKS, Farm, TableFile, table_files
from pipeline.files.write_csv import guarded
from pipeline.logbook import cells
from pipeline.logbook.amounts import in_unit, written
from pipeline.logbook.summaries import Summaries
from schemas.contract import HARVESTS, OBSERVATIONS, contract
from schemas.finding import OutOfReach

TEXT_SUFFIXES = (".csv", ".tsv")
# Tables that a file of gillbook's own holds by the month.
BY_MONTH = (HARVESTS, OBSERVATIONS)
# A row to be written: per column of ours a day, a number (in the contract's unit), a word of the column, or a text.
Values = Mapping[str, "date | Decimal | int | str"]


@dataclass(frozen=True)
class Target:
    """A file to write to. `shape` as the file's summary has it; `mark` is its size and time (ns) when that was told.
    The mark is None for a file that is not there yet. `grows`: all it holds is a header, which gains columns.
    """

    table: str
    name: str
    path: Path
    shape: Mapping[str, Any]
    mark: tuple[int, int] | None
    grows: bool = False

    @property
    def next_row(self) -> int:
        """In which row, as the spreadsheet shows it, will the next entry stand?"""
        return int(self.shape["row"]) + int(self.shape["rows"]) + 1


def target_for(
    farm: Farm, summaries: Summaries, table: str, day: date, columns: Sequence[str]
) -> tuple[Target, list[str]]:
    """Into which file goes an entry of this day that has these columns? With what the grower should hear of it.

    Raises OutOfReach where no file can take it.
    """
    sources = {each.name: each for each in table_files(farm.folder, farm.conventions.files) if each.table == table}
    troubles = [each["trouble"] for each in summaries.values() if each["trouble"]]
    said: list[str] = []
    # Some systems hold 2026-05.CSV and 2026-05.csv for one file.
    as_named = {each.lower(): each for each in sources}
    for wanted in _candidates(farm, table, day, sources):
        name = wanted if wanted in sources else as_named.get(wanted.lower(), wanted)
        source, summary = sources.get(name), summaries.get(f"{table}:{name}")
        if source is None or summary is None:
            return _new(farm, summaries, table, name), said
        why = _unfit(source, summary)
        if why is None:
            shape, grows = summary["shape"], False
            lacks = _lacks(farm, source, shape, columns)
            if lacks and shape["empty"]:
                shape, lacks, grows = _grown(farm, table, shape, columns), None, True
            if lacks is None:
                # Where an own file is in use already, the reason was told before.
                said = [each for each in said if each in troubles]
                mark = (summary["mark"][0], summary["mark"][1])
                return Target(table, name, source.path, shape, mark, grows), said
            why = lacks
        said = said or [why]
    raise OutOfReach(f"No file of {table} can take the entry. {said[0]}")


def _candidates(farm: Farm, table: str, day: date, sources: Mapping[str, TableFile]) -> Iterator[str]:
    """Which files would be written to, the likeliest first? Names may be of files that are not there yet."""
    month = f"{day:%Y-%m}"
    in_folder = (farm.folder / table).is_dir()
    single = next((f"{table}{suffix}" for suffix in TEXT_SUFFIXES if f"{table}{suffix}" in sources), None)
    own = [name for name, use in farm.conventions.files.items() if use.tables == (table,) and name in sources]
    own = [name for name in own if name.lower().endswith(TEXT_SUFFIXES)]
    by_month = table in BY_MONTH
    if by_month and in_folder and not (table == OBSERVATIONS and single):
        yield f"{table}/{month}.csv"
    elif single or len(own) == 1:
        yield single or own[0]
    elif table != HARVESTS and not any(f"{table}{suffix}" in sources for suffix in WORKBOOKS):
        yield f"{table}.csv"
    stem = month if by_month else "logbook"
    yield f"{table}/{stem}.csv"
    yield f"{table}/{stem}-logbook.csv"
    for number in range(2, 10):
        yield f"{table}/{stem}-logbook-{number}.csv"


def _unfit(source: TableFile, summary: Mapping[str, Any]) -> str | None:
    """Why can nothing be added to this file? None where something can."""
    if summary["trouble"]:
        return str(summary["trouble"])
    shape = summary["shape"]
    reasons = {
        "is a workbook, which only a spreadsheet writes": shape["workbook"],
        "holds other tables too": source.beside,
        "ends with a row that adds up the others": shape["total"],
    }
    why = next((why for why, holds in reasons.items() if holds), None)
    return why and f"{source.name} {why}: entries go into a file beside it."


def _lacks(farm: Farm, source: TableFile, shape: Mapping[str, Any], columns: Sequence[str]) -> str | None:
    """Which of these columns has the file not, and how are they added? None where it has all."""
    missing = [_heading(farm, source.table, name)[0] for name in columns if name not in shape["at"]]
    if not missing:
        return None
    added = shape["separator"] + shape["separator"].join(missing)
    return (
        f"{source.name} has no column {', '.join(missing)}: the entry goes into a file beside it, and both are read. "
        f'To keep one file, add "{added}" to the end of its header line.'
    )


def _grown(farm: Farm, table: str, shape: Mapping[str, Any], columns: Sequence[str]) -> dict[str, Any]:
    """How will a file that is a header alone be written once that has these columns too? It gains all that entries may
    need, so that the next one fits.
    """
    wanted = contract(table).names if table in BY_MONTH else columns
    told = {column: _heading(farm, table, column) for column in wanted if column not in shape["at"]}
    first = len(shape["header"])
    return {
        **shape,
        "header": [*shape["header"], *(name for name, _ in told.values())],
        "at": shape["at"] | {column: first + at for at, column in enumerate(told)},
        "units": shape["units"] | {column: unit for column, (_, unit) in told.items() if unit},
        "row": 1,
        "rows": 0,
    }


def _heading(farm: Farm, table: str, column: str) -> tuple[str, str | None]:
    """How does the farm call this column, and in which unit does it write it (None: the contract's)?"""
    for name, told in (farm.settings["headings"] or {}).get(table, {}).items():
        given = {"column": told} if isinstance(told, str) else told
        if given["column"] == column:
            unit = given.get("unit")
            return name, unit if unit != contract(table).field(column).unit else None
    return column, None


def _new(farm: Farm, summaries: Summaries, table: str, name: str) -> Target:
    """A file that is to be made: with all columns, separated as the table's other files are."""
    shapes = [each["shape"] for key, each in summaries.items() if key.startswith(f"{table}:") and not each["trouble"]]
    texts = [shape for shape in shapes if not shape["workbook"]]
    like = (
        texts[-1]
        if texts
        else {"separator": ";" if farm.conventions.cell_format.decimal_mark == "," else ",", "alike": ""}
    )
    told = {column: _heading(farm, table, column) for column in contract(table).names}
    shape = {
        "at": {column: at for at, column in enumerate(told)},
        "units": {column: unit for column, (_, unit) in told.items() if unit},
        "row": 1,
        "rows": 0,
        "header": [name for name, _ in told.values()],
        "separator": like["separator"],
        "line_end": like.get("line_end", "\n"),
        "alike": like["alike"],
        "ended": True,
    }
    return Target(table, name, farm.folder / name, shape, None)


def header_line(target: Target) -> str:
    """Which header line gets a file that is to be made, or whose header gains columns?"""
    return _line([guarded(name) for name in target.shape["header"]], target.shape)


def texts_of(farm: Farm, target: Target, values: Values) -> dict[str, str]:
    """How are these values written in the file: in its decimal mark, order of dates, units and words?"""
    return {column: _text(farm, target, column, value) for column, value in values.items()}


def row_line(target: Target, texts: Mapping[str, str]) -> str:
    """Which line of the file holds these texts, by column of ours?"""
    found = [""] * len(target.shape["header"])
    for column, text in texts.items():
        found[target.shape["at"][column]] = text
    return _line(found, target.shape)


def _text(farm: Farm, target: Target, column: str, value: date | Decimal | int | str) -> str:
    cell_format, each = farm.conventions.cell_format, contract(target.table).field(column)
    if isinstance(value, date):
        return cells.written_day(value, target.shape["alike"], cell_format)
    if isinstance(value, Decimal):
        ours = each.unit or ""
        return written(in_unit(value, target.shape["units"].get(column, ours), ours), cell_format)
    if isinstance(value, int):
        return str(value)
    if each.words:
        return guarded(cells.written_word(value, column, farm.settings["words"] or {}))
    return cells.written_text(value)


def _line(texts: Sequence[str], shape: Mapping[str, Any]) -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=shape["separator"], lineterminator=shape["line_end"]).writerow(texts)
    return out.getvalue()
