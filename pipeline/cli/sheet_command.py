"""The command for what hangs by the shelves: the weigh page for a phone, the picking sheet, labels for containers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import open_the_farm, read_ledger
from pipeline.cli.options import ReadOptions, as_option, spread
from pipeline.cli.show import notify
from pipeline.farm.settings import text, whole
from pipeline.files.replace import replace_file
from schemas.finding import OutOfReach, WrongRequest
from schemas.phrases import did_you_mean

if TYPE_CHECKING:
    from datetime import date

    from pipeline.farm.folder import Farm
    from pipeline.models.view import Ledger, LedgerView
    from reports.sheets.labels import Grid
    from reports.sheets.shelves import Selling, Shelves
    from schemas.result_rows import ResultRows

# Three columns of these fit A4 and Letter. Our choice, no source.
WIDTH_MM, HEIGHT_MM, COLUMNS, MARGIN_MM, GAP_MM = 60.0, 30.0, 3, 10.0, 3.0
# Of a label: room for a code and a name; and of any paper at home.
LEAST_MM, MOST_MM = 10.0, 300.0
A4_WIDTH_MM = 210.0


@dataclass(frozen=True)
class SheetFiles:
    """The pages to be written, each with what it holds."""

    page: Annotated[
        Path | None,
        typer.Option(
            "--page", metavar="FILE.html", help="Write the weigh page for a phone: one file, no network needed."
        ),
    ] = None
    print_: Annotated[
        Path | None,
        typer.Option(
            "--print",
            metavar="FILE.html",
            help="Write the picking sheet of what is due, to be printed on A4 or Letter.",
        ),
    ] = None
    labels: Annotated[
        Path | None,
        typer.Option(
            "--labels", metavar="FILE.html", help="Write labels with QR codes: of the containers named, or all."
        ),
    ] = None
    all_: Annotated[
        bool, typer.Option("--all", help="With --print: all that is running, also where nothing shows yet.")
    ] = False

    def check(self, names: Sequence[str]) -> None:
        """Raise WrongRequest where an option lacks the one that it goes with, or a page would be written over a CSV."""
        for option, path in (("--page", self.page), ("--print", self.print_), ("--labels", self.labels)):
            # The record must not be written over by a slip.
            if path is not None and path.suffix.lower() not in (".html", ".htm"):
                raise WrongRequest(f"{option} {path}: it is a page, so its name ends in .html.")
        if names and self.labels is None:
            raise WrongRequest(f"{names[0]}: names of containers go with --labels FILE.html.")
        if self.all_ and self.print_ is None:
            raise WrongRequest("--all goes with --print FILE.html.")


@dataclass(frozen=True)
class LabelSizes:
    """How the labels lie on their paper, in mm."""

    label_width: Annotated[float, typer.Option(metavar="MM", help="Width of a label.")] = WIDTH_MM
    label_height: Annotated[float, typer.Option(metavar="MM", help="Height of a label.")] = HEIGHT_MM
    columns: Annotated[int, typer.Option(metavar="N", min=1, max=50, help="Labels side by side.")] = COLUMNS
    margin: Annotated[float, typer.Option(metavar="MM", help="Margin of the paper around labels.")] = MARGIN_MM
    gap: Annotated[float, typer.Option(metavar="MM", help="Gap between labels.")] = GAP_MM

    def grid(self) -> Grid:
        """Return the labels' grid. Raises WrongRequest for a size that no label or paper has."""
        from reports.sheets.labels import Grid

        for name in ("label_width", "label_height", "margin", "gap"):
            size, least = getattr(self, name), LEAST_MM if name.startswith("label") else 0.0
            if not (math.isfinite(size) and least <= size <= MOST_MM):
                raise WrongRequest(f"{as_option(name)} {size:g}: give it in mm, from {least:g} to {MOST_MM:g}.")
        return Grid(self.label_width, self.label_height, self.columns, self.margin, self.gap)


@spread
def sheet(
    names: Annotated[
        list[str] | None, typer.Argument(metavar="[CONTAINER]...", help="Which containers get a label. Default: all.")
    ] = None,
    *,
    files: SheetFiles,
    sizes: LabelSizes,
    read: ReadOptions,
) -> None:
    """Write what hangs by the shelves: the weigh page for a phone, a picking sheet on paper, labels with QR codes.

    Without a file to write, it lists what is running, in the order of the shelves.
    """
    from pipeline.models import measures
    from pipeline.models.view import Query

    grid = sizes.grid()
    until = read.day
    files.check(names or [])
    farm = open_the_farm(read.farm)
    with read_ledger(farm, "shelves") as ledger:
        view = ledger.view(Query(until))
        running, known = measures.running_units(view), measures.containers(ledger)
        due = _due(view, running)
        shelves = _shelves(farm, view, until, running, due)
    if files.page is not None:
        _write_page(files.page, shelves)
    if files.print_ is not None:
        _write_picking_sheet(files.print_, shelves, due, files.all_)
    if files.labels is not None:
        _write(files.labels, _labels(text(farm.settings, "name"), names or known, known, grid))
    if files == SheetFiles():
        _list(until, running, read.json)


def _due(view: LedgerView, running: ResultRows) -> ResultRows:
    """Return which of what runs is due to be picked. A batch weighed together is due with all of its containers."""
    from pipeline.models.today import today

    # What there is to do today has a flush where pins are noted, or where one is due by the farm's own waits.
    due = {(each.batch, each.container) for each in today(view) if each.flush is not None}
    return [row for row in running if {(row["batch"], row["container"]), (row["batch"], None)} & due]


def shelves_now(farm: Farm, ledger: Ledger, until: date) -> Shelves:
    """Return what stands on the shelves on this day, as the weigh page needs it."""
    from pipeline.models import measures
    from pipeline.models.view import Query

    view = ledger.view(Query(until))
    running = measures.running_units(view)
    return _shelves(farm, view, until, running, _due(view, running))


def _shelves(farm: Farm, view: LedgerView, until: date, rows: ResultRows, due: ResultRows) -> Shelves:
    from pipeline.farm.weighed_in import weighed_in, written_in
    from pipeline.models.weight_shares import usual_weight_g, weight_shares
    from reports.sheets.shelves import MassUnit, Shelves

    settings = view.settings
    return Shelves(
        text(settings, "name"),
        until,
        text(settings, "late_from"),
        whole(settings, "new_flush_after_days"),
        text(settings, "decimal_mark"),
        rows,
        usual_weight_g(view),
        weight_shares(view),
        {(str(row["batch"]), row["container"]) for row in due},
        MassUnit(*weighed_in(farm)),
        written_in(farm),
        _selling(farm, view),
    )


def _selling(farm: Farm, view: LedgerView) -> Selling | None:
    """Return what can be proposed where a sale is logged; None where the farm keeps neither sales nor prices."""
    from pipeline.farm.prices import sells
    from pipeline.models.sale_words import sale_words
    from reports.sheets.shelves import Selling

    if not sells(farm):
        return None
    found = sale_words(view)
    return Selling(text(view.settings, "currency") or "", found.buyers, found.strains, found.batches)


def _write_page(path: Path, shelves: Shelves) -> None:
    from reports.sheets.weigh_page import render_weigh_page

    _write(path, render_weigh_page(shelves))
    notify("Open it on the phone in a browser, not in a preview. What it exports: gillbook take-in FILE.")


def _write_picking_sheet(path: Path, shelves: Shelves, due: ResultRows, all_: bool) -> None:
    from reports.sheets.picking_sheet import render_picking_sheet

    _write(path, render_picking_sheet(shelves if all_ else replace(shelves, rows=due)))
    if shelves.rows and not due and not all_:
        notify(
            f"Nothing is due on {shelves.as_of}: the sheet has empty lines only. --all puts all that is running on it."
        )


def _labels(farm_name: str, names: list[str], known: list[str], grid: Grid) -> str:
    from reports.sheets.labels import render_labels, too_fine

    unknown = [name for name in names if name not in known]
    for name in unknown[:3]:
        notify(
            f"{name} is no container of fillings.csv yet.{did_you_mean(name, known)} Its label is made all the same."
        )
    if not names:
        raise WrongRequest("--labels: there are no containers in fillings.csv. Name some: --labels FILE.html B01 B02.")
    if grid.paper_mm > A4_WIDTH_MM:
        notify(f"{grid.columns} columns are {grid.paper_mm:g} mm wide; A4 is 210 mm, Letter 216 mm.")
    try:
        fine = too_fine(names, grid)
        made = render_labels(farm_name, names, grid)
    except ValueError as problem:
        raise WrongRequest(
            "--labels: a container's name is too long for a QR code. Give it a shorter one."
        ) from problem
    if fine:
        notify(
            f"The code of {', '.join(fine[:3])} is fine at this size; make the labels larger if a phone cannot read it."
        )
    return made


def _list(until: date, rows: ResultRows, json: bool) -> None:
    from pipeline.cli.show import Column, print_records

    names = ("room", "position", "container", "batch", "last_picked_on", "last_weights_g")
    columns = [*(Column(name, name.replace("_", "\n", 1)) for name in names), Column("flush_proposed", "flush", 0)]
    if print_records(rows, columns, json, f"Nothing is running as of {until}."):
        notify(f"As of {until}, in the order of the shelves.")


def _write(path: Path, text: str) -> None:
    """Write the page whole or not at all, and print where. Raises OutOfReach when that cannot be done."""
    try:
        replace_file(path, text.encode())
    except OSError as problem:
        raise OutOfReach(f"{path} cannot be written: {problem.strerror}.") from problem
    typer.echo(path)
