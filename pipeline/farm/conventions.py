"""The conventions of a farm: how it writes numbers and dates, its own headings, words and files. Told by farm.toml."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipeline.farm.settings import Settings, parts, text, words
from pipeline.farm.units import units_of
from pipeline.farm.written_in import WrittenIn
from schemas.cell_format import CellFormat
from schemas.contract import INPUTS, Contract, contract, free_words
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean

# The columns whose words are the grower's own, and which comparisons go by.
FREE_WORDS = free_words()
# The settings that change how files are read: where one differs, all files are read anew.
CONVENTION_KEYS = (
    "decimal_mark",
    "thousands_mark",
    "date_order",
    "blank_words",
    "headings",
    "words",
    "strain",
    "currency",
    "files",
)


@dataclass(frozen=True)
class Heading:
    """What a heading of the farm's own stands for: a column of ours, written in `unit` (null: the contract's)."""

    column: str
    unit: str | None = None


@dataclass(frozen=True)
class FileUse:
    """What a file of another name holds: the tables, and of a workbook the sheet of each (none: its only one, or the
    one of the table's name).
    """

    tables: tuple[str, ...]
    sheets: Mapping[str, str] = field(default_factory=dict)

    def beside(self, table: str) -> tuple[str, ...]:
        """The other tables that stand in the same sheet."""
        own = self.sheets.get(table)
        return tuple(other for other in self.tables if other != table and self.sheets.get(other) == own)


@dataclass(frozen=True)
class Conventions:
    """How the farm's files are written. `headings`: per table, by folded heading (see folded); `files`: by path;
    `written`: the files that were written in something else, and are read so, by path.
    """

    cell_format: CellFormat = field(default_factory=CellFormat)
    headings: Mapping[str, Mapping[str, Heading]] = field(default_factory=dict)
    files: Mapping[str, FileUse] = field(default_factory=dict)
    written: Mapping[str, WrittenIn] = field(default_factory=dict)

    def of_file(self, name: str) -> Conventions:
        """Return how this file is written: as noted where that is something else than farm.toml has now."""
        was = self.written.get(name)
        return self if was is None else self.as_written(was)

    def as_written(self, was: WrittenIn) -> Conventions:
        """Return these conventions with the marks, the order of dates and the units of a note."""
        marks = replace(
            self.cell_format,
            decimal_mark=was.decimal_mark,
            thousands_mark=was.thousands_mark,
            date_order=was.date_order,
        )
        headings = {table: dict(own) for table, own in self.headings.items()}
        for name, (table, column, unit) in was.columns.items():
            now = headings.setdefault(table, {}).get(name)
            headings[table][name] = Heading(now.column if now else column, unit)
        return replace(self, cell_format=marks, headings=headings, written={})

    def note_of(self, table: str, header: Sequence[str], own: bool = True) -> WrittenIn:
        """Return the note of a file of this table that is written so now."""
        columns: dict[str, tuple[str, str, str | None]] = {}
        for name in header:
            heading = self.heading(contract(table), name)
            if heading and (heading.column != name or units_of(contract(table).field(heading.column).unit)):
                columns[folded(name)] = (table, heading.column, heading.unit)
        marks = self.cell_format
        return WrittenIn(marks.decimal_mark, marks.thousands_mark, marks.date_order, columns, own)

    def differs(self, was: WrittenIn) -> bool:
        """Whether a file of this note would be read as something else by farm.toml as it is now."""
        marks = self.cell_format
        if (marks.decimal_mark, marks.thousands_mark, marks.date_order) != (
            was.decimal_mark,
            was.thousands_mark,
            was.date_order,
        ):
            return True
        return any(
            (now.unit if (now := self.headings.get(table, {}).get(name)) else None) != unit
            or (now is None and name not in contract(table).names)
            for name, (table, _, unit) in was.columns.items()
        )

    def maps(self, table: str, name: str) -> bool:
        """Whether farm.toml names what this heading stands for in this table."""
        return folded(name) in self.headings.get(table, {})

    def heading(self, table: Contract, name: str) -> Heading | None:
        """Return the column that this heading of a file stands for. None for one that neither farm.toml nor the table
        knows.
        """
        own = self.headings.get(table.name, {}).get(folded(name))
        if own is not None:
            return own
        return Heading(name) if name in table.names else None


def folded(heading: str) -> str:
    """Return the heading in small letters with single spaces: two that differ in nothing else are one."""
    return " ".join(heading.split()).casefold()


def folded_word(word: str) -> str:
    """Return the word of a coded column in small letters with _ for spaces and hyphens, as schemas.values does with
    cells.
    """
    return re.sub(r"[\s-]+", "_", word.strip().lower())


def _wrong(where: str, what: str, mend: str) -> WrongRequest:
    return WrongRequest(f"farm.toml, {where}: {what} {mend}")


def read_conventions(settings: Settings) -> Conventions:
    """Return how files are written, as the settings have it. Raises WrongRequest for what cannot be meant."""
    decimal, thousands = text(settings, "decimal_mark"), text(settings, "thousands_mark")
    if decimal == thousands:
        raise _wrong("thousands_mark", f'"{thousands}" is the decimal mark too.', "Name two marks, or one.")
    own_words = parts(settings, "words")
    cell_format = CellFormat(
        decimal,
        thousands,
        text(settings, "date_order"),
        words(settings, "blank_words"),
        {column: _words(column, mapping) for column, mapping in own_words.items()},
        {"strain": text(settings, "strain")} if text(settings, "strain") else {},
        currency=text(settings, "currency"),
    )
    headings = {table: _headings(table, mapping) for table, mapping in parts(settings, "headings").items()}
    files = {name: _file_use(name, setting) for name, setting in parts(settings, "files").items()}
    return Conventions(cell_format, headings, files)


def _known(where: str, name: str, known: Sequence[str], what: str) -> str:
    if name not in known:
        hint = did_you_mean(name, known).strip() or f"There are {', '.join(known)}."
        raise _wrong(where, f"{name!r} is no {what}.", hint)
    return name


def _headings(table: str, mapping: Mapping[str, object]) -> dict[str, Heading]:
    where = f"headings.{table}"
    names = contract(_known("headings", table, INPUTS, "table")).names
    found: dict[str, Heading] = {}
    for name, setting in mapping.items():
        given = {"column": setting} if isinstance(setting, str) else setting
        if not isinstance(given, dict) or set(given) - {"column", "unit"} or not isinstance(given.get("column"), str):
            raise _wrong(where, f"{name!r} names no column.", 'Write "NAME" = {column = "...", unit = "..."}.')
        column = _known(where, given["column"], names, f"column of {table}")
        found[folded(name)] = Heading(column, _unit(where, table, column, given.get("unit")))
    return found


def _unit(where: str, table: str, column: str, unit: object) -> str | None:
    ours = contract(table).field(column).unit
    if unit is None or unit == ours:
        return None
    fitting = units_of(ours)
    if unit not in fitting:
        known = f"It may be in {', '.join(fitting)}." if fitting else "It has no unit."
        raise _wrong(where, f"{unit!r} is no unit that {column} can be written in.", known)
    return str(unit)


def _words(column: str, mapping: Mapping[str, object]) -> dict[str, str]:
    coded = {each.name: each.words for table in INPUTS for each in contract(table).fields if each.words}
    known = _known("words", column, (*coded, *FREE_WORDS), "column with words of its own")
    # A column that is free in one table may be coded in another: kind of fillings and of sales.
    words = None if known in FREE_WORDS else coded.get(known)
    if words is None:
        # Free text: one spelling for another.
        return {folded_word(name): str(word) for name, word in mapping.items()}
    return {
        folded_word(name): _known(f"words.{column}", str(word), words, "word of it") for name, word in mapping.items()
    }


def _file_use(name: str, setting: Mapping[str, object]) -> FileUse:
    where = f'files."{name}"'
    tables = setting.get("tables")
    if not isinstance(tables, list) or not tables or set(setting) - {"tables", "sheet"}:
        raise _wrong(where, "it does not tell which tables the file holds.", 'Write tables = ["harvests"].')
    if name.startswith(("/", "\\")) or ".." in name.replace("\\", "/").split("/") or ":" in name:
        raise _wrong(where, "the file must be within the farm folder.", "Name it by its path from there.")
    known = tuple(_known(where, str(table), INPUTS, "table") for table in tables)
    return FileUse(known, _sheets(where, known, setting.get("sheet")))


def _sheets(where: str, tables: tuple[str, ...], setting: object) -> dict[str, str]:
    """The sheet of each table. `named`: one name for all of them, or one for each."""
    if setting is None:
        return {}
    named = dict.fromkeys(tables, setting) if isinstance(setting, str) else setting
    if not isinstance(named, dict) or not all(isinstance(sheet, str) for sheet in named.values()):
        raise _wrong(
            where, f"{setting!r} names no sheet.", 'Write sheet = "NAME", or sheet = {harvests = "NAME", ...}.'
        )
    return {_known(where, table, tables, "table of this file"): sheet for table, sheet in named.items()}
