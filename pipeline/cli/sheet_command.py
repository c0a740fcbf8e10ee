"""The command for what hangs by the shelves: the weigh page for a phone, the picking sheet, labels for containers."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.options import AsOfOption, FarmOption, JsonOption, day, refreshed, tell, tell_set_aside
from pipeline.cli.options import the_farm as open_the_farm
from pipeline.files.replace import replace_file
from schemas.finding import OutOfReach, WrongRequest, nearest

if TYPE_CHECKING:
    from datetime import date

    from pipeline.farm.folder import Farm
    from pipeline.models.view import Rows
    from reports.sheets.labels import Grid
    from reports.sheets.shelves import Shelves

PageOption = Annotated[
    Path | None,
    typer.Option("--page", metavar="FILE.html", help="Write the weigh page for a phone: one file, no network needed."),
]
PrintOption = Annotated[
    Path | None,
    typer.Option(
        "--print", metavar="FILE.html", help="Write the picking sheet of what is due, to be printed on A4 or Letter."
    ),
]
LabelsOption = Annotated[
    Path | None,
    typer.Option("--labels", metavar="FILE.html", help="Write labels with QR codes: of the containers named, or all."),
]
NamesArgument = Annotated[
    list[str] | None, typer.Argument(metavar="[CONTAINER]...", help="Which containers get a label. Default: all.")
]
# Three columns of these fit A4 and Letter. Our choice, no source.
WIDTH_MM, HEIGHT_MM, COLUMNS, MARGIN_MM, GAP_MM = 60.0, 30.0, 3, 10.0, 3.0
# Of a label: room for a code and a name; and of any paper at home.
LEAST_MM, MOST_MM = 10.0, 300.0
A4_WIDTH_MM = 210.0


def sheet(
    names: NamesArgument = None,
    page: PageOption = None,
    print_: PrintOption = None,
    labels: LabelsOption = None,
    all_: Annotated[
        bool, typer.Option("--all", help="With --print: all that is running, also where nothing shows yet.")
    ] = False,
    label_width: Annotated[float, typer.Option(metavar="MM", help="Width of a label.")] = WIDTH_MM,
    label_height: Annotated[float, typer.Option(metavar="MM", help="Height of a label.")] = HEIGHT_MM,
    columns: Annotated[int, typer.Option(metavar="N", min=1, max=50, help="Labels side by side.")] = COLUMNS,
    margin: Annotated[float, typer.Option(metavar="MM", help="Margin of the paper around labels.")] = MARGIN_MM,
    gap: Annotated[float, typer.Option(metavar="MM", help="Gap between labels.")] = GAP_MM,
    as_of: AsOfOption = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Write what hangs by the shelves: the weigh page for a phone, a picking sheet on paper, labels with QR codes.

    Without a file to write, it lists what is running, in the order of the shelves.
    """
    grid = _grid(label_width, label_height, columns, margin, gap)
    until = day(as_of)
    for option, path in (("--page", page), ("--print", print_), ("--labels", labels)):
        _check_name(option, path)
    if names and labels is None:
        raise WrongRequest(f"{names[0]}: names of containers go with --labels FILE.html.")
    if all_ and print_ is None:
        raise WrongRequest("--all goes with --print FILE.html.")
    opened = open_the_farm(farm)
    rows, known, due = _ask(opened, until)
    shelves = _shelves(opened, until, rows)
    if page is not None:
        from reports.sheets.weigh_page import render_weigh_page

        _write(page, render_weigh_page(shelves))
        tell("Open it on the phone in a browser, not in a preview. What it exports goes into harvests/.")
    if print_ is not None:
        from reports.sheets.picking_sheet import render_picking_sheet

        _write(print_, render_picking_sheet(shelves if all_ else replace(shelves, rows=due)))
        if rows and not due and not all_:
            tell(f"Nothing is due on {until}: the sheet has empty lines only. --all puts all that is running on it.")
    if labels is not None:
        _write(labels, _labels(opened.settings["name"] or "", names or known, known, grid))
    if page is None and print_ is None and labels is None:
        _list(until, rows, json)


def _ask(farm: Farm, until: date) -> tuple[Rows, list[str], Rows]:
    """What is running, which containers are there, and which of what runs is due to be picked?"""
    from pipeline.models import measures
    from pipeline.models.today import today
    from pipeline.models.view import Query, opened

    done = refreshed(farm)
    with opened(farm.ledger, farm.settings) as ledger:
        view = ledger.view(Query(until))
        # What there is to do today tells a flush where pins are noted, or where one is due by the farm's own waits.
        due = {(row["batch"], row["container"]) for row in today(view) if row["flush"] is not None}
        rows, known = measures.running_units(view), measures.containers(ledger)
    tell_set_aside(done)
    # A batch that is weighed together is due with all of its containers.
    found = [row for row in rows if {(row["batch"], row["container"]), (row["batch"], None)} & due]
    return rows, known, found


def _shelves(farm: Farm, until: date, rows: Rows) -> Shelves:
    from reports.sheets.shelves import Shelves

    told = farm.settings
    late_from, gap, mark = told["late_from"], told["new_flush_after_days"], told["decimal_mark"]
    return Shelves(told["name"], until, late_from, gap, mark, rows)


def _grid(width: float, height: float, columns: int, margin: float, gap: float) -> Grid:
    """How do the labels lie? Raises WrongRequest for a size that no label or paper has."""
    from reports.sheets.labels import Grid

    sizes = {
        "--label-width": (width, LEAST_MM),
        "--label-height": (height, LEAST_MM),
        "--margin": (margin, 0.0),
        "--gap": (gap, 0.0),
    }
    for option, (size, least) in sizes.items():
        if not (math.isfinite(size) and least <= size <= MOST_MM):
            raise WrongRequest(f"{option} {size:g}: give it in mm, from {least:g} to {MOST_MM:g}.")
    return Grid(width, height, columns, margin, gap)


def _labels(farm_name: str, names: list[str], known: list[str], grid: Grid) -> str:
    from reports.sheets.labels import render_labels, too_fine

    unknown = [name for name in names if name not in known]
    for name in unknown[:3]:
        meant = nearest(name, tuple(known))
        hint = f" Did you mean {meant}?" if meant else ""
        tell(f"{name} is no container of fillings.csv yet.{hint} Its label is made all the same.")
    if not names:
        raise WrongRequest("--labels: there are no containers in fillings.csv. Name some: --labels FILE.html B01 B02.")
    if grid.paper_mm > A4_WIDTH_MM:
        tell(f"{grid.columns} columns are {grid.paper_mm:g} mm wide; A4 is 210 mm, Letter 216 mm.")
    try:
        fine = too_fine(names, grid)
        made = render_labels(farm_name, names, grid)
    except ValueError as problem:
        raise WrongRequest(
            "--labels: a container's name is too long for a QR code. Give it a shorter one."
        ) from problem
    if fine:
        tell(
            f"The code of {', '.join(fine[:3])} is fine at this size; make the labels larger if a phone cannot read it."
        )
    return made


def _list(until: date, rows: Rows, json: bool) -> None:
    from pipeline.cli.show import Column, as_json, as_table

    if json:
        as_json(rows)
    elif not rows:
        tell(f"Nothing is running as of {until}.")
    else:
        shown = ("room", "position", "container", "batch", "last_picked_on", "last_weights_g")
        as_table(
            rows, [*(Column(name, name.replace("_", "\n", 1)) for name in shown), Column("flush_proposed", "flush", 0)]
        )


def _check_name(option: str, path: Path | None) -> None:
    """A page is no CSV: the record must not be written over by a slip."""
    if path is not None and path.suffix.lower() not in (".html", ".htm"):
        raise WrongRequest(f"{option} {path}: it is a page, so its name ends in .html.")


def _write(path: Path, text: str) -> None:
    """Writes the page whole or not at all, and tells where. Raises OutOfReach when that cannot be done."""
    try:
        replace_file(path, text.encode())
    except OSError as problem:
        raise OutOfReach(f"{path} cannot be written: {problem.strerror}.") from problem
    typer.echo(path)
