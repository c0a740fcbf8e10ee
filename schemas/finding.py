"""Findings: what is wrong in the data, where, and how to mend it, as data and as one sentence."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from schemas.contract import Contract, Field
from schemas.unseen import seen

# From worst to mildest. error: found by the audit in the ledger as loaded. waiting: set aside only because a parent row
# is. missing: a cell that would tell more.
LEVELS = ("error", "lost", "set_aside", "waiting", "dropped", "warning", "notice", "missing")

# So many letters of a cell stand in a sentence; its record has all of them, and lists have the first thousand. Our
# choice, no source.
# The column of a straightened table that says where each of its rows comes from.
ORIGIN = "origin"
VALUE_SHOWN = 200

# What each rule on a cell says unless the contract words it better. {limit} is the constraint's value.
CELL_RULES: Mapping[str, tuple[str, str, str]] = {
    # rule: (message, expected, fix)
    "required": ("is missing", "a value", "Fill the cell."),
    "date": ("is not a date", "a date like 2026-05-14", "Write year-month-day, like 2026-05-14."),
    "number": ("is not a number", "digits with a decimal point, like 412.5", "Write digits with a decimal point."),
    "decimal_mark": (
        "has another decimal mark than farm.toml tells (a point, where it tells none)",
        "a number with that mark",
        "Write it with that mark; or set decimal_mark and thousands_mark in farm.toml: they hold for all files.",
    ),
    "currency": (
        "is not in the currency that farm.toml tells (it tells none, or another)",
        "an amount in the farm's currency",
        'Write the amount in it; or name it in farm.toml, like currency = "EUR". A farm counts in one currency.',
    ),
    "date_two_ways": (
        "can be read as two dates",
        "a date like 2026-05-14",
        "Write year-month-day, like 2026-05-14; or set date_order in farm.toml: it holds for all files.",
    ),
    "date_order": (
        "is not in the order of dates that farm.toml tells (year-month-day, where it tells none)",
        "a date in that order, or like 2026-05-14",
        "Write year-month-day, like 2026-05-14; or set date_order in farm.toml: it holds for all files.",
    ),
    "date_spelling": (
        "has year, month and day, but not as four, two and two digits with - between them",
        "a date like 2026-05-14",
        "Write it like 2026-05-14.",
    ),
    "time_spelling": (
        "has a time of day that is not written like 14:30",
        "a date like 2026-05-14",
        "Take the time off, which is not used, or write it like 14:30.",
    ),
    "too_large": (
        "is too large a number",
        "a smaller number",
        "Correct or clear the cell.",
    ),
    "blank_word": (
        "is taken as blank",
        "a value, or nothing",
        "Nothing to do. blank_words in farm.toml are such words.",
    ),
    "integer": ("is not a whole number", "a whole number, like 2", "Write a whole number."),
    "minimum": ("is below {limit}", "{limit} or more", "Correct or clear the cell."),
    "exclusiveMinimum": ("is not above {limit}", "more than {limit}", "Correct or clear the cell."),
    "maximum": ("is above {limit}", "{limit} or less", "Correct or clear the cell."),
    "exclusiveMaximum": ("is not below {limit}", "less than {limit}", "Correct or clear the cell."),
    "enum": ("is none of the words of this column", "one of {limit}", "Use one of {limit}."),
    "too_fine": ("has more than {limit} decimals and was rounded", "at most {limit} decimals", "Nothing to do."),
    "time_dropped": ("has a time of day, which is not used", "a date like 2026-05-14", "Nothing to do."),
    "ragged": (
        "stands beyond the last column, so the cells of this row may be in wrong columns",
        "one cell for each column",
        "A cell with a separator in it needs quotation marks around it, as 1,5 does between commas.",
    ),
    "totals_row": (
        "sums up the rows above, so it is no entry",
        "an entry",
        "Nothing to do: such a row is never counted. Clear it, and it is not told of any more.",
    ),
    "separator": ("stand between the columns of this file", "commas", "Nothing to do."),
    "sheet": ("is the sheet that is read", "a sheet", "Nothing to do."),
    "merged_cells": (
        "has cells that are merged over several rows, and stand for each of them",
        "a cell in each row",
        "Nothing to do, if that is meant.",
    ),
    "number_format": (
        "is how cells of this column are shown by their format, and they are read as shown",
        "a number",
        "Nothing to do, if that is meant.",
    ),
    "mixed_formats": (
        "is how some cells of this column are shown by their format, but not this one; each is read as it is shown",
        "one format for the whole column",
        "Look whether this one is in another unit than the others, and give the whole column one format.",
    ),
    "unknown_column": ("is no column that gillbook knows and is not read", "a known column", "Nothing to do."),
    "unnamed_column": (
        "has cells but no name in the header, and is not read",
        "a name",
        "Name the column in the header, or clear its cells.",
    ),
    "missing_column": ("the column is missing", "the column", "Add the column to the header."),
    "duplicate_column": ("stands twice in the header", "each column once", "Rename or delete one of them."),
    "unread_file": (
        "is no .csv, .tsv or .xlsx file, and is not read",
        "a file of a kind that is read",
        "If it holds entries, save it as .xlsx or CSV UTF-8.",
    ),
    "like_a_table": (
        "is called like a table, and is not read",
        "a table's own name",
        "If it holds entries, move it into the folder of that table, or name it in farm.toml under [files].",
    ),
    "other_spelling": (
        "is read as this table, so this one is not",
        "one of this name",
        "If it holds entries, give it a name of its own, and name that in farm.toml under [files]; else delete it.",
    ),
    "two_spellings": (
        "may be this table as well, so neither is read",
        "one of this name",
        "Write the name of the right one in small letters.",
    ),
    "no_plain_file": (
        "is no plain file but a folder, pipe or device, and is not opened",
        "a file",
        "Put a file in its place, or take it away.",
    ),
    "name_not_text": (
        "has a name that is not UTF-8, and is not read",
        "a name in letters",
        "Rename it, and its rows count.",
    ),
    "absent_file": ("is no file of this folder", "a file", "Mend its name, or take this part out of farm.toml."),
    "written_otherwise": (
        "was written with other marks or units than are set here now, and is read as it was written",
        "files written as farm.toml has it",
        "Write it anew: gillbook settings --rewrite. Or, where it is so already: gillbook settings --resaved FILE.",
    ),
    "several_otherwise": (
        "were written with other marks or units than are set here now, and are read as they were written",
        "files written as farm.toml has it",
        "Write them anew: gillbook settings --rewrite. Or, where one is so already: gillbook settings --resaved FILE.",
    ),
    "shared_column": (
        "is a column of several tables of this sheet, and is not read",
        "a heading of one table",
        "Say in farm.toml to which of them it belongs, under [headings.TABLE].",
    ),
    "unknown_key": ("is no setting that gillbook knows", "a known setting", "Mend or delete it."),
}


@dataclass(frozen=True)
class Finding:
    """One thing found: file, spreadsheet row (header = 1; 0 for the file as a whole), column, rule, level, value.
    `place`: where that is in the grower's own words, where these differ; `heading`: what the column is called there.
    `like_it`: how many more of its kind in this file are not listed.
    """

    table: str
    file: str
    row: int
    column: str
    rule: str
    level: str
    value: str | None
    message: str
    expected: str
    fix: str
    waits_for: tuple[str, int] | None = None
    waiting: int = 0
    place: str = ""
    heading: str = ""
    like_it: int = 0

    def sentence(self) -> str:
        """Return the finding as one would say it to the grower."""
        where = self.place or self._place_as_it_is
        said = f'"{shortened(self.value)}" {self.message}' if self.value is not None else self.message
        fix = f"{_without_unseen(self.value, self.message)}{self.fix}"
        stop = "" if said.endswith("?") else "."
        wait = "1 row waits" if self.waiting == 1 else f"{self.waiting} rows wait"
        alike = f" And {self.like_it:,} like it." if self.like_it else ""
        return f"{where}: {said}{stop} {fix}" + (f" {wait} for it." if self.waiting else "") + alike

    @property
    def _place_as_it_is(self) -> str:
        where = self.file if not self.row else f"{self.file}, row {self.row}"
        return f"{where}, {self.column}" if self.column else where

    def record(self) -> dict[str, object]:
        """Return the finding as one row of JSON or CSV."""
        file, row = self.waits_for or (None, None)
        return {
            "level": self.level,
            "table": self.table,
            "file": self.file,
            "row": self.row or None,
            "column": self.column or None,
            "heading": self.heading or self.column or None,
            "place": self.place or self._place_as_it_is,
            "rule": self.rule,
            "value": self.value,
            "message": self.message,
            "expected": self.expected,
            "fix": self.fix,
            "rows_waiting": self.waiting,
            "waits_for_file": file,
            "waits_for_row": row,
            "like_it": self.like_it,
        }


def shortened(value: str, most: int = VALUE_SHOWN) -> str:
    """Return so many letters of this cell, and how many there are beyond."""
    beyond = len(value) - most
    return value if beyond <= 0 else f"{value[:most]}... ({beyond:,} more letters)"


def _without_unseen(value: str | None, message: str) -> str:
    """Return how a cell is mended that holds letters which nobody sees, with a space behind it."""
    if value and (without := seen(value)) != value.strip():
        return f'It holds a sign that nobody sees: take it off, and it is "{shortened(without)}". '
    return "A name in it holds a sign that nobody sees: take it off. " if seen(message) != message.strip() else ""


# Many cells are wrong alike.
@lru_cache(maxsize=1000)
def nearest(word: str, known: tuple[str, ...]) -> str | None:
    """Return the known word that was probably meant. None if none is near."""
    close = difflib.get_close_matches(word.strip().lower().replace(" ", "_"), known, n=1)
    return close[0] if close else None


def _limit(each: Field | None, rule: str, level: str) -> str:
    """Return the limit that was broken. A warning is about what is expected, everything else about a constraint."""
    if each is None:
        return ""
    if rule == "too_fine":
        return str(each.decimals)
    limit = (each.expect if level == "warning" else each.constraints).get(rule, "")
    return ", ".join(limit) if isinstance(limit, list) else str(limit)


def _cell_texts(table: Contract, column: str, rule: str, level: str, value: str | None) -> tuple[str, str, str]:
    each = table.field(column) if column in table.names else None
    message, expected, fix = (text.replace("{limit}", _limit(each, rule, level)) for text in CELL_RULES[rule])
    if rule == "minimum" and _limit(each, "exclusiveMinimum", level) == _limit(each, rule, level):
        # The limit itself is refused as well.
        expected = CELL_RULES["exclusiveMinimum"][1].replace("{limit}", _limit(each, rule, level))
    own = each.rules.get(rule, {}) if each else {}
    message, fix = own.get("message", message), own.get("fix", fix)
    if rule == "enum" and each and value:
        meant = nearest(value, each.words + tuple(each.synonyms))
        fix = f"Did you mean {meant}? {fix}" if meant else fix
    if rule in ("unknown_column", "unknown_key") and value:
        meant = nearest(value, table.names)
        fix = f"Did you mean {meant}?" if meant else fix
    return message, expected, fix


def finding(
    table: Contract,
    file: str,
    row: int,
    column: str,
    rule: str,
    level: str,
    value: str | None = None,
    detail: str | None = None,
    waits_for: tuple[str, int] | None = None,
) -> Finding:
    """Return the finding of this rule on this cell or row, in the contract's words; `detail` fills its {detail}."""
    if rule in table.row_rules:
        own = table.row_rules[rule]
        message, expected = (own[part].replace("{detail}", detail or "") for part in ("message", "expected"))
        texts = (message, expected, own["fix"])
    else:
        texts = _cell_texts(table, column, rule, level, value)
    return Finding(table.name, file, row, column, rule, level, value, *texts, waits_for=waits_for)


def with_waiting(each: Finding, waiting: int) -> Finding:
    """Return a root finding with the count of rows that wait for it."""
    return replace(each, waiting=waiting)


class DataNeedAttention(Exception):
    """The data need attention. Carries the findings; the command line tells them and chooses the exit code.

    DataNeedAttention
        UnreadableFile      a file that cannot be read as its table
    """

    def __init__(self, findings: list[Finding]) -> None:
        super().__init__("\n".join(each.sentence() for each in findings))
        self.findings = findings


class UnreadableFile(DataNeedAttention):
    """A file cannot be read as its table at all."""


class CannotWork(Exception):
    """The request cannot work. The message says what and how to mend it.

    CannotWork
        WrongRequest        wrong words, no farm folder, a bad farm.toml (exit 2)
        OutOfReach          locked, unreadable, newer, full disk (exit 3)
    """


class WrongRequest(CannotWork):
    """The request itself is wrong."""


class OutOfReach(CannotWork):
    """The request is right but the tool could not do its work."""
