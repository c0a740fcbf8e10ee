"""The files of a report: written whole or not at all, and named to whoever asked for them."""

from __future__ import annotations

import os
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipeline.cli.show import notify, print_json
from pipeline.farm.folder import Farm
from pipeline.files.replace import make_folder, replace_file
from schemas.finding import OutOfReach

if TYPE_CHECKING:
    from reports.month import Month


class ReportKind(StrEnum):
    """What a report is written as, beside its data."""

    HTML = "html"
    PDF = "pdf"


def contents_of(month: Month, kind: ReportKind, brief: bool = False) -> dict[str, bytes]:
    """Return what the files of a month's report hold, by kind: the page or the PDF, and report.json. `brief`: of the
    first page alone.
    """
    from pipeline.cli.typeset import typeset
    from reports.document import part
    from reports.page import render
    from reports.print_content import TEMPLATE, print_content
    from reports.report_json import json_pieces

    if kind == ReportKind.PDF:
        shown = typeset(print_content(month, brief), part(TEMPLATE), month.as_of)
    else:
        shown = render(month, brief).encode()
    return {kind: shown, "json": b"".join(piece.encode() for piece in json_pieces(month, brief))}


def write_files(farm: Farm, name: str, contents: Mapping[str, bytes]) -> dict[str, Path]:
    """Write the files of a report, each whole or not at all, and return where each is, by its kind (html, json, pdf).
    Those of a farm folder that cannot be written go into the folder one is in. Raises OutOfReach where that cannot be.
    """
    folder = farm.out
    if not os.access(farm.folder, os.W_OK):
        notify("The farm folder cannot be written: the report goes into the folder you are in.")
        folder = Path.cwd()
    written: dict[str, Path] = {}
    for kind, content in contents.items():
        path = folder / f"{name}.{kind}"
        try:
            make_folder(path.parent)
            replace_file(path, content)
        except OSError as problem:
            raise OutOfReach(f"{path} cannot be written: {problem.strerror}.") from problem
        written[kind] = path
    return written


def show_written(period: str, written: Mapping[str, Path], json: bool) -> None:
    """Say where the report is: the path of its page, and of its PDF. With `json` one record: the period and its files,
    null for those that were not asked for.
    """
    if json:
        named = {kind: str(written[kind]) if kind in written else None for kind in ("html", "json", "pdf")}
        print_json([{"period": period, **named}])
        return
    for path in (path for kind, path in written.items() if kind != "json"):
        typer.echo(path)
