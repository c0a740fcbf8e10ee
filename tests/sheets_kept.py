"""Sheets as people keep them (tests/sheets/*.sheet, all invented): each as a file, and what must come of it.

A .sheet file has lines `key: value`, then the cells between two lines ---, then what must come of them. A workbook
names each sheet before its cells. Keys: about (the pattern), file, sheet, merge (A1:D1), hide (row 3, column B), today,
answer (part of a question = answer); pick (day grams container batch), batch (name day wet_kg), event (day event
container batch), treated (the treatment of each batch), filled (how many containers). - stands for none.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import openpyxl
from own_files import saved

from pipeline.adopt.dialogue import Question
from pipeline.adopt.make import source_files
from pipeline.adopt.proposal import Answers, Proposal
from pipeline.adopt.settle import settle

FOLDER = Path(__file__).parent / "sheets"
KEY = re.compile(r"([a-z]+): (.*)")


@dataclass(frozen=True)
class KeptSheet:
    """One file as it is kept: its text or workbook, the answers to what is asked, and what must come of it."""

    name: str
    about: str
    file: str
    data: bytes
    today: date
    answers: dict[str, str]
    comes: dict[str, list[tuple[str, ...]]] = field(default_factory=dict)


def kept_sheets() -> list[KeptSheet]:
    return [_read(path) for path in sorted(FOLDER.glob("*.sheet"))]


def _parts(text: str) -> Iterator[tuple[str, str]]:
    """Each key with its value; cells come under the key "cells"."""
    cells: list[str] | None = None
    last = text.rindex("\n---\n")
    for line in (*text[:last].split("\n"), None):
        if line == "---" or line is None or (cells is not None and line.startswith("sheet: ")):
            if cells is not None:
                yield "cells", "\n".join(cells)
            cells = [] if line == "---" else None
        if cells is not None and line is not None and line != "---":
            cells.append(line)
        elif line and (key := KEY.match(line)):
            yield key[1], key[2]
    for line in text[last + 5 :].split("\n"):
        if key := KEY.match(line):
            yield f"={key[1]}", key[2]


def _read(path: Path) -> KeptSheet:
    parts = list(_parts(path.read_text(encoding="utf-8")))
    one = {key: value for key, value in parts if not key.startswith("=")}
    comes: dict[str, list[tuple[str, ...]]] = {}
    for key, value in parts:
        if key.startswith("="):
            comes.setdefault(key[1:], []).append(tuple(value.split()))
    answers = dict(value.split(" = ") for key, value in parts if key == "answer")
    data = _workbook(parts) if one["file"].endswith(".xlsx") else one["cells"].encode()
    today = date.fromisoformat(one.get("today", "2026-06-30"))
    return KeptSheet(path.stem, one["about"], one["file"], data, today, answers, comes)


def _workbook(parts: list[tuple[str, str]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for key, value in parts:
        if key == "sheet":
            sheet = book.create_sheet(value)
        elif key == "cells":
            for row, cells in enumerate(csv.reader(io.StringIO(value)), 1):
                for column, cell in enumerate(cells, 1):
                    if cell:
                        sheet.cell(row, column, _typed(cell))
    for key, value in parts:
        if key == "merge":
            sheet.merge_cells(value)
        elif key == "hide" and value.startswith("row"):
            sheet.row_dimensions[int(value.split()[1])].hidden = True
        elif key == "hide":
            sheet.column_dimensions[value.split()[1]].hidden = True
    return saved(book)


def _typed(cell: str) -> object:
    if re.fullmatch(r"\d{4}-\d\d-\d\d", cell):
        return date.fromisoformat(cell)
    if re.fullmatch(r"\d+(\.\d+)?", cell):
        return float(cell)
    return cell


def answered(sheet: KeptSheet, folder: Path) -> tuple[Proposal, list[Question]]:
    """What is proposed once each question has its answer, and the questions."""
    path = folder / sheet.file
    path.write_bytes(sheet.data)
    met: list[Question] = []

    def ask(question: Question) -> str:
        met.append(question)
        said = [answer for part, answer in sheet.answers.items() if part in question.text]
        return said[0] if said else question.choices[0]

    return settle(source_files(folder / "farm", [path]), Answers(), sheet.today, ask), met
