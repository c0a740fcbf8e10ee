"""The command that compares: does it pay, and does the difference hold?"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.cli.options import AsOfOption, FarmOption, JsonOption, day, refreshed, tell_set_aside, timed
from pipeline.cli.options import the_farm as open_the_farm
from schemas.answers import ComparedMeasure
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from datetime import date

    from pipeline.compare.measures import Measure
    from pipeline.compare.query import ComparisonQuery
    from pipeline.models.compared_units import FarmUnits


def compare(
    factor: Annotated[
        str | None,
        typer.Argument(
            metavar="FACTOR",
            help="A column of batches or fillings, like substrate; or spawn_rate. Without one: all in brief.",
            show_default=False,
        ),
    ] = None,
    measure: Annotated[
        ComparedMeasure,
        typer.Option(
            "--measure",
            help="be; days to pins (with --to-day: share with pins by then); decline of flush K; losses; share culled; "
            "share picked late.",
        ),
    ] = ComparedMeasure.BE,
    through_flush: Annotated[
        int | None,
        typer.Option("--through-flush", metavar="K", help="Flushes 1 to K, of soaks that are through K. Default: 2."),
    ] = None,
    to_day: Annotated[
        int | None,
        typer.Option("--to-day", metavar="D", help="Instead: what was picked, or had pins, by day D."),
    ] = None,
    within: Annotated[
        list[str] | None,
        typer.Option("--within", metavar="COLUMN=LABEL", help="Only units with this label. May stand several times."),
    ] = None,
    against: Annotated[
        str | None, typer.Option("--against", metavar="LEVEL", help="Hold all other levels against this one only.")
    ] = None,
    bands: Annotated[
        str | None, typer.Option("--bands", metavar="EDGES", help="Where numbers are parted, like --bands 5,12.")
    ] = None,
    split: Annotated[bool, typer.Option("--split", help="Pairs from soaks that hold both levels alone.")] = False,
    levels: Annotated[bool, typer.Option("--levels", help="Only what each level gave. With --json: default pairs.")] = (
        False
    ),
    as_of: AsOfOption = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Compare levels of a recipe or container column: what the soaks support, in numbers and in plain words."""
    from pipeline.cli import compare_screen
    from pipeline.cli.show import as_json
    from pipeline.compare import tables
    from pipeline.compare.comparison import compare as answer_to
    from pipeline.compare.measures import measure_of
    from pipeline.compare.overview import overview

    meant = measure_of(measure.value, to_day)
    through = _flush(meant, through_flush, to_day)
    held = _held(within)
    if factor is None:
        _needs_a_factor({"--against": against, "--bands": bands, "--split": split, "--levels": levels})
        units, settings = _units(day(as_of), through, to_day, farm)
        found = overview(units, settings, measure.value, within=held)
        if json:
            as_json([row for each in found for row in each.pairs])
        else:
            compare_screen.show_all(found, units)
        return
    query = _query(factor, meant, held, against, bands, split)
    units, settings = _units(day(as_of), through, to_day, farm)
    with timed("compare"):
        answer = answer_to(units, query, settings)
    if json:
        as_json(tables.level_rows(answer) if levels else tables.pair_rows(answer))
    else:
        compare_screen.show(answer, levels)


def _units(when: date, through: int, to_day: int | None, farm_dir: Path | None) -> tuple[FarmUnits, Mapping[str, Any]]:
    """Bring the ledger up to date and read its units; the farm's settings come along."""
    from pipeline.models.compared_units import farm_units
    from pipeline.models.view import opened

    farm = open_the_farm(farm_dir)
    done = refreshed(farm)
    with timed("units"), opened(farm.ledger, farm.settings) as ledger:
        units = farm_units(ledger, when, through, to_day)
    tell_set_aside(done)
    return units, farm.settings


def _needs_a_factor(given: Mapping[str, object]) -> None:
    for option, value in given.items():
        if value:
            raise WrongRequest(f"{option}: name what is compared first, like gillbook compare substrate {option}.")


def _held(within: list[str] | None) -> tuple[tuple[str, str], ...]:
    from pipeline.compare.factors import known_factor

    held = []
    for text in within or ():
        column, mark, label = text.partition("=")
        if not mark:
            raise WrongRequest(f"--within {text}: write a column and a label, like --within strain=grey.")
        held.append((known_factor(column), label.strip()))
    return tuple(held)


def _query(
    factor: str,
    measure: Measure,
    held: tuple[tuple[str, str], ...],
    against: str | None,
    bands: str | None,
    split: bool,
) -> ComparisonQuery:
    from pipeline.compare.factors import known_factor
    from pipeline.compare.query import ComparisonQuery

    return ComparisonQuery(known_factor(factor), measure, held, against, _edges(bands), split)


def _edges(bands: str | None) -> tuple[float, ...]:
    if bands is None:
        return ()
    try:
        return tuple(sorted({float(edge) for edge in bands.split(",")}))
    except ValueError:
        raise WrongRequest(f"--bands {bands}: write numbers with commas between, like --bands 5,12.") from None


def _flush(measure: Measure, through: int | None, to_day: int | None) -> int:
    from pipeline.compare.measures import DEFAULT_FLUSH

    if to_day is not None and not measure.by_day and (not measure.by_flush or measure.least_flush > 1):
        raise WrongRequest(f"--to-day: {measure.name} does not go by age. Leave it away.")
    if to_day is not None and (through is not None or to_day < 1):
        raise WrongRequest(f"--to-day {to_day}: name a day from 1 on, and no --through-flush with it.")
    if through is not None and not measure.by_flush:
        raise WrongRequest(f"--through-flush: {measure.name} does not go by flush. Leave it away.")
    if through is not None and through < measure.least_flush:
        least = measure.least_flush
        raise WrongRequest(f"--through-flush {through}: {measure.name} counts from flush {least} on.")
    return through or DEFAULT_FLUSH
