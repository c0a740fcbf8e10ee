"""The command that compares: does it pay, and does the difference hold?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import open_the_farm, read_ledger, timed
from pipeline.cli.options import ReadOptions, WithinOption, spread
from schemas.answers import ComparedMeasure
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.compare.comparison import Comparison
    from pipeline.compare.measures import Measure
    from pipeline.compare.query import ComparisonQuery
    from pipeline.farm.settings import Settings
    from pipeline.models.compared_units import FarmUnits


@dataclass(frozen=True)
class MeasureOptions:
    """What is measured at each level, and how far."""

    measure: Annotated[
        ComparedMeasure,
        typer.Option(
            "--measure",
            metavar="MEASURE",
            help="be; kg (per container) or g-per-litre, which need no dry mass; days (to pins) or colonised (days "
            "until it; of both with --to-day: the share by then); "
            "next-flush (days from the flush before to flush K); decline (of flush K); losses; culled or late; "
            "margin (per container) or margin-per-day (per 100 container-days).",
        ),
    ] = ComparedMeasure.BE
    through_flush: Annotated[
        int | None,
        typer.Option("--through-flush", metavar="K", help="Flushes 1 to K, of soaks that are through K. Default: 2."),
    ] = None
    to_day: Annotated[
        int | None,
        typer.Option("--to-day", metavar="D", help="Instead: what was picked, had pins, or was colonised by day D."),
    ] = None

    def through(self, measure: Measure) -> int:
        """Return the last flush that counts. Raises WrongRequest for a flush or day that the measure does not go by."""
        from pipeline.compare.measures import DEFAULT_FLUSH

        name, least, flush, day = measure.name, measure.least_flush, self.through_flush, self.to_day
        if day is not None and not measure.by_day and (not measure.by_flush or least > 1):
            raise WrongRequest(f"--to-day: {name} does not go by age. Leave it away.")
        if day is not None and (flush is not None or day < 1):
            raise WrongRequest(f"--to-day {day}: name a day from 1 on, and no --through-flush with it.")
        if flush is not None and not measure.by_flush:
            raise WrongRequest(f"--through-flush: {name} does not go by flush. Leave it away.")
        if flush is not None and flush < least:
            raise WrongRequest(f"--through-flush {flush}: {name} counts from flush {least} on.")
        return flush or DEFAULT_FLUSH


@dataclass(frozen=True)
class LevelOptions:
    """Which levels are held against each other, and which containers count."""

    within: WithinOption = None
    against: Annotated[
        str | None, typer.Option("--against", metavar="LEVEL", help="Hold all other levels against this one only.")
    ] = None
    bands: Annotated[
        str | None, typer.Option("--bands", metavar="EDGES", help="Where numbers are parted, like --bands 5,12.")
    ] = None
    split: Annotated[bool, typer.Option("--split", help="Pairs from soaks that hold both levels alone.")] = False
    levels: Annotated[bool, typer.Option("--levels", help="Only what each level gave. With --json: default pairs.")] = (
        False
    )
    trend: Annotated[bool, typer.Option("--trend", help="Only the trend over ordered amounts.")] = False

    def held(self) -> tuple[tuple[str, str], ...]:
        """Return the columns that are held at one label each. Raises WrongRequest for a text that names none."""
        from pipeline.compare.factors import known_factor

        held = []
        for text in self.within or ():
            column, mark, label = text.partition("=")
            if not mark:
                raise WrongRequest(f"--within {text}: write a column and a label, like --within strain=grey.")
            held.append((known_factor(column), label.strip()))
        return tuple(held)

    def query(self, factor: str, measure: Measure) -> ComparisonQuery:
        """Return the query of one factor. Raises WrongRequest for a factor or edges that cannot be."""
        from pipeline.compare.factors import known_factor
        from pipeline.compare.query import ComparisonQuery

        held = self.held()
        return ComparisonQuery(known_factor(factor), measure, held, self.against, _edges(self.bands), self.split)

    def check_without_factor(self) -> None:
        """Raise WrongRequest for an option that only one factor can have."""
        of_one = {"--against": self.against, "--bands": self.bands, "--split": self.split}
        of_one |= {"--levels": self.levels, "--trend": self.trend}
        for option, value in of_one.items():
            if value:
                raise WrongRequest(f"{option}: name what is compared first, like gillbook compare substrate {option}.")


def _edges(bands: str | None) -> tuple[float, ...]:
    if bands is None:
        return ()
    try:
        edges = tuple(sorted({float(edge) for edge in bands.split(",")}))
    except ValueError:
        edges = ()
    if not edges or not all(math.isfinite(edge) for edge in edges):
        raise WrongRequest(f"--bands {bands}: write numbers with commas between, like --bands 5,12.")
    return edges


@spread
def compare(
    factor: Annotated[
        str | None,
        typer.Argument(
            metavar="FACTOR",
            help="A column of batches or fillings, like substrate; spawn_rate; holes (fresh or the same, for flush "
            "K); or container, recipe, as one thing. Without one: all in brief.",
            show_default=False,
        ),
    ] = None,
    *,
    measured: MeasureOptions,
    chosen: LevelOptions,
    read: ReadOptions,
) -> None:
    """Compare levels of a recipe or container column: what the soaks support, in numbers and in plain words."""
    from pipeline.compare.measures import measure_of

    measure = measure_of(measured.measure.value, measured.to_day)
    through = measured.through(measure)
    if factor is None:
        held = chosen.held()
        chosen.check_without_factor()
        units, settings = _units(read, through, measured.to_day, measure)
        _show_overview(units, settings, measured.measure, held, read.json)
    else:
        query = chosen.query(factor, measure)
        units, settings = _units(read, through, measured.to_day, measure)
        _show_comparison(units, settings, query, chosen, read.json)


def _units(read: ReadOptions, through: int, to_day: int | None, measure: Measure) -> tuple[FarmUnits, Settings]:
    """Return the farm's units, read from a up-to-date ledger, and its settings; say how flushes are numbered."""
    from pipeline.cli.group_screen import notify_derived
    from pipeline.models.compared_units import farm_units
    from pipeline.models.flush_rule import flush_rule

    with read_ledger(open_the_farm(read.farm), "units") as ledger:
        if measure.by_flush and to_day is None:
            notify_derived(flush_rule(ledger), read.json)
        units = farm_units(ledger, read.day, through, to_day, measure.money, [measure.name])
        return units, ledger.settings


def _show_overview(
    units: FarmUnits,
    settings: Settings,
    measure: ComparedMeasure,
    held: tuple[tuple[str, str], ...],
    json: bool,
) -> None:
    from pipeline.cli import compare_screen
    from pipeline.cli.show import notify, print_json
    from pipeline.compare.overview import overview, without_a_gap

    found = overview(units, settings, measure.value, within=held)
    if json:
        print_json([row for each in found for row in each.pairs])
    else:
        compare_screen.show_all(found, units, measure.value)
        for refused in without_a_gap(units):
            notify(refused)


def _give_to_all_sites(answer: Comparison) -> None:
    """Hand on the cells, where this farm is one of many that are compared together."""
    from pipeline.cli.show import GATHERING
    from pipeline.compare.site_cells import site_cells

    if GATHERING.of_many and GATHERING.into is not None:
        GATHERING.into.cells = site_cells(answer)


def _show_comparison(
    units: FarmUnits, settings: Settings, query: ComparisonQuery, chosen: LevelOptions, json: bool
) -> None:
    from pipeline.cli import compare_screen
    from pipeline.cli.show import print_json
    from pipeline.compare import tables
    from pipeline.compare.comparison import compare as answer_to

    with timed("compare"):
        answer = answer_to(units, query, settings)
    if not (chosen.levels or chosen.trend):
        _give_to_all_sites(answer)
    if json:
        rows_of = tables.trend_rows if chosen.trend else tables.level_rows if chosen.levels else tables.pair_rows
        print_json(rows_of(answer))
    elif chosen.trend:
        compare_screen.show_trend(answer)
    else:
        compare_screen.show(answer, chosen.levels)
