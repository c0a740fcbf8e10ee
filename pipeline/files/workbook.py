"""Workbooks, read in a process of their own: whatever a crafted file does to the library that reads it, the command
goes on, and says that the file was not read.
"""

from __future__ import annotations

import json

from pipeline.farm.folder import TableFile
from pipeline.files.dialect import refuse
from pipeline.files.workbook_process import WORKER, WorkerEnded
from pipeline.files.workbook_reading import Cells, Sheet
from schemas.contract import Contract
from schemas.finding import Finding, UnreadableFile

__all__ = ["Cells", "Sheet", "read_sheet", "sheet_names"]


def read_sheet(table: Contract, source: TableFile, data: bytes, decimal_mark: str) -> Sheet:
    """Return the sheet that holds the table. Numbers are written with the farm's decimal mark, days as
    year-month-day, blank cells as None, errors as the sheet shows them. Raises UnreadableFile.
    """
    return Sheet.from_record(_answer(table, source, data, decimal_mark))


def sheet_names(table: Contract, source: TableFile, data: bytes) -> list[str]:
    """Return the sheets of cells that one sees who opens the workbook. Raises UnreadableFile."""
    names: list[str] = _answer(table, source, data, None)["names"]  # type: ignore[assignment]
    return names


def _answer(table: Contract, source: TableFile, data: bytes, decimal_mark: str | None) -> dict[str, object]:
    """What the other process makes of the workbook: its names where no decimal mark is given, else a sheet."""
    request = {"table": table.name, "name": source.name, "sheet": source.sheet, "decimal_mark": decimal_mark}
    try:
        answer: dict[str, object] = json.loads(WORKER.answer(json.dumps(request).encode(), data))
    except WorkerEnded as problem:
        raise refuse(table, source.name, str(problem), "Save the sheet as CSV UTF-8.") from problem
    refused: list[dict[str, object]] = answer.get("refused", [])  # type: ignore[assignment]
    if refused:
        raise UnreadableFile([Finding(**each) for each in refused])  # type: ignore[arg-type]
    return answer
