"""The farm.toml that a proposal comes to, with a comment for each guess, and how the files read with it."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from pathlib import PurePosixPath

from pipeline.adopt.matching import MatchedHeading, SheetMatch
from pipeline.adopt.proposal import Proposal
from pipeline.farm.conventions import Conventions, FileUse, folded, read_conventions
from pipeline.farm.folder import TableFile
from pipeline.farm.settings import parse_settings, read_settings
from pipeline.farm.table_names import SUFFIXES
from pipeline.farm.units import units_of
from schemas.contract import INPUTS, contract
from schemas.finding import UnreadableFile
from schemas.finding import finding as make_finding

HEAD = (
    "Proposed by gillbook init --from, by what stands in your files. Mend it as you like: gillbook check tells what "
    "comes of it. HOW-TO.md has all settings."
)
WIDTH = 76


def settings_text(proposal: Proposal) -> str:
    """Return the farm.toml that says what the proposal says."""
    lines = [*_comment(HEAD)]
    if proposal.settings:
        lines.append("")
    for name, setting in proposal.settings.items():
        value = setting.value or ""
        shown = value if contract("farm").field(name).is_number else _quoted(value)
        lines += [*_comment(setting.because), f"{name} = {shown}"]
    for block in (_files(proposal), *_all_headings(proposal), _words(proposal)):
        lines += block
    return "\n".join(lines).rstrip("\n") + "\n"


def _comment(text: str) -> list[str]:
    """A comment's lines: no letter of a cell may end it."""
    plain = "".join(letter if letter.isprintable() else " " for letter in text)
    return [f"# {line}" for line in textwrap.wrap(plain, WIDTH)]


def _quoted(text: str) -> str:
    """A text of TOML. What JSON escapes, TOML reads alike; so does it any other letter that one cannot see."""
    shown = json.dumps(text, ensure_ascii=False)
    return "".join(letter if letter.isprintable() else _escaped(letter) for letter in shown)


def _escaped(letter: str) -> str:
    return f"\\u{ord(letter):04x}" if ord(letter) < 1 << 16 else f"\\U{ord(letter):08x}"


def _files(proposal: Proposal) -> list[str]:
    lines = []
    by_name: dict[str, list[SheetMatch]] = {}
    for each in proposal.matches:
        if each.tables and not _found_by_name(each):
            by_name.setdefault(each.sheet.file.name, []).append(each)
    for name, matches in by_name.items():
        tables = [table for table in INPUTS if any(table in each.tables for each in matches)]
        sheets = {table: each.sheet.sheet for each in matches for table in each.tables if each.sheet.sheet is not None}
        lines += ["", f"[files.{_quoted(name)}]", f"tables = {json.dumps(tables)}"]
        if sheets and len(set(sheets.values())) == 1:
            lines.append(f"sheet = {_quoted(next(iter(sheets.values())))}")
        elif sheets:
            lines += [f"[files.{_quoted(name)}.sheet]", *(f"{table} = {_quoted(sheets[table])}" for table in tables)]
    return lines


def made_files(proposal: Proposal) -> dict[str, bytes]:
    """Return the straightened tables as files of the farm to be, by name."""
    mark = proposal.settings.get("decimal_mark")
    decimal = mark.value if mark and mark.value else "."
    return {each.sheet.file.name: each.sheet.data(decimal) for each in proposal.matches if each.sheet.grid}


def _found_by_name(match: SheetMatch) -> bool:
    """Whether the file is read as its only table for its name alone, as batches.csv is."""
    path = PurePosixPath(match.sheet.file.name)
    table = path.parent.as_posix() if len(path.parts) == 2 else path.stem if len(path.parts) == 1 else ""
    return match.sheet.sheet is None and match.tables == (table,) and path.suffix in SUFFIXES


def _all_headings(proposal: Proposal) -> list[list[str]]:
    """The headings of each table. What one stands for is explained where it first does."""
    explained: set[tuple[str, str]] = set()
    return [_headings(proposal, table, explained) for table in INPUTS]


def _headings(proposal: Proposal, table: str, explained: set[tuple[str, str]]) -> list[str]:
    lines: dict[str, list[str]] = {}
    for match in proposal.matches:
        for each in match.matched:
            if each.table == table and (each.heading != each.column or len(match.tables) > 1):
                lines.setdefault(folded(each.heading), _heading_lines(each, explained))
    return ["", f"[headings.{table}]", *chain.from_iterable(lines.values())] if lines else []


def _heading_lines(each: MatchedHeading, explained: set[tuple[str, str]]) -> list[str]:
    column = contract(each.table).field(each.column)
    unit = f", unit = {_quoted(each.unit)}" if each.unit else ""
    target = f"{{column = {_quoted(each.column)}{unit}}}" if unit else _quoted(each.column)
    line = f"{_quoted(each.heading)} = {target}"
    if (each.heading, each.column) in explained:
        return [line]
    explained.add((each.heading, each.column))
    taken = f" No unit in the heading: taken as {column.unit}." if each.no_unit and units_of(column.unit) else ""
    return [*_comment(f"{column.description}{taken}"), line]


def _words(proposal: Proposal) -> list[str]:
    lines: list[str] = []
    for column in dict.fromkeys(each.column for each in proposal.words):
        lines += ["", f"[words.{column}]"]
        for each in proposal.words:
            if each.column == column and each.ours:
                lines += [*_comment(f"A guess ({each.where}):"), f"{_quoted(each.word)} = {_quoted(each.ours)}"]
            elif each.column == column:
                lines += _comment(f'{_quoted(each.word)} = "..."  (not known: {each.where})')
    return lines


def conventions_of(text: str) -> Conventions:
    """Return what this farm.toml says of how files are written."""
    settings, _ = read_settings(parse_settings(text))
    return read_conventions(settings)


@dataclass(frozen=True)
class TrialReading:
    """How a file reads as one of its tables: `rows` with entries, of which `rejected` cannot be used, or why not at
    all; `findings`: a sentence for each kind of finding on its cells, with how many there are.
    """

    table: str
    file: str
    rows: int = 0
    rejected: int = 0
    findings: tuple[tuple[str, int], ...] = ()
    refused: str = ""


def try_reading(proposal: Proposal, conventions: Conventions) -> Iterator[TrialReading]:
    """Yield how each file would read, with these conventions."""
    for name in dict.fromkeys(each.sheet.file.name for each in proposal.matches if each.tables):
        sheet = next(each.sheet for each in proposal.matches if each.sheet.file.name == name)
        file = sheet.file
        use = conventions.files.get(name) or FileUse(
            next(each.tables for each in proposal.matches if each.sheet.file is file)
        )
        for table in sorted(use.tables, key=INPUTS.index):
            source = TableFile(table, name, file.path, use.sheets.get(table), use.beside(table))
            yield _reads(source, sheet.data(conventions.cell_format.decimal_mark), conventions)


def _reads(source: TableFile, data: bytes, conventions: Conventions) -> TrialReading:
    from pipeline.files.read import read_table
    from pipeline.files.validate import validate

    table = contract(source.table)
    try:
        raw = read_table(source, data, conventions)
    except UnreadableFile as problem:
        return TrialReading(source.table, source.name, refused=" ".join(each.sentence() for each in problem.findings))
    done = validate([raw], conventions)
    found = done.findings.filter(done.findings["level"] != "notice").sort("row")
    kinds = []
    for _, of_kind in found.group_by(["column_name", "rule", "level"], maintain_order=True):
        first = of_kind.row(0, named=True)
        example = make_finding(
            table, source.name, first["row"], first["column_name"], first["rule"], first["level"], first["value"]
        )
        kinds.append((example.sentence(), of_kind.height))
    return TrialReading(source.table, source.name, done.frame.height, int(done.frame["faulty"].sum()), tuple(kinds))
