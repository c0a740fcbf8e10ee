"""What the commands have in common: their options, one by one and in bundles, and the days that are typed."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from dataclasses import MISSING, dataclass, fields, is_dataclass
from datetime import date
from pathlib import Path
from typing import Annotated, get_type_hints

import typer

from pipeline.cli.clock import today
from schemas.finding import WrongRequest

FarmOption = Annotated[
    Path | None,
    typer.Option(
        "--farm", metavar="DIR", help="The farm folder. Default: GILLBOOK_FARM, or the folder you are in or above it."
    ),
]
AsOfOption = Annotated[
    str | None,
    typer.Option(
        "--as-of", metavar="DATE", help="Tell it as of this day: 2026-05-31, yesterday, mon, -2d. Default: today."
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON array: unrounded numbers, null for missing.")]
ByOption = Annotated[
    str,
    typer.Option(
        "--by", metavar="COLUMNS", help="Columns to group by, with commas between: any of batches or fillings; or all."
    ),
]
WithinOption = Annotated[
    list[str] | None,
    typer.Option("--within", metavar="COLUMN=LABEL", help="Only containers with this label. May stand several times."),
]


@dataclass(frozen=True)
class ReadOptions:
    """The options of every command that shows a state of the farm."""

    as_of: AsOfOption = None
    json: JsonOption = False
    farm: FarmOption = None

    @property
    def day(self) -> date:
        """The day as of which it is shown: today unless one is given. Raises WrongRequest for a text that is none."""
        return as_of_day(self.as_of)


def spread(command: Callable[..., None]) -> Callable[..., None]:
    """Return the command with the fields of its bundles (parameters that are dataclasses of options) in their place.

    The command line sees one option per field; the command itself gets each bundle as one object.
    """
    bundles: dict[str, type] = {}
    flat: dict[str, inspect.Parameter] = {}
    for name, each in inspect.signature(command, eval_str=True).parameters.items():
        if is_dataclass(each.annotation) and isinstance(each.annotation, type):
            bundles[name] = each.annotation
            flat |= _fields_as_parameters(each.annotation)
        else:
            flat[name] = each.replace(kind=inspect.Parameter.KEYWORD_ONLY)

    @functools.wraps(command)
    def spread_out(**given: object) -> None:
        for name, bundle in bundles.items():
            parts = [each.name for each in fields(bundle) if each.name in given]
            given[name] = bundle(**{part: given.pop(part) for part in parts})
        command(**given)

    spread_out.__signature__ = inspect.Signature(list(flat.values()))  # type: ignore[attr-defined]
    spread_out.__annotations__ = {name: each.annotation for name, each in flat.items()}
    return spread_out


def _fields_as_parameters(bundle: type) -> dict[str, inspect.Parameter]:
    hints = get_type_hints(bundle, include_extras=True)
    return {
        each.name: inspect.Parameter(
            each.name,
            inspect.Parameter.KEYWORD_ONLY,
            default=inspect.Parameter.empty if each.default is MISSING else each.default,
            annotation=hints[each.name],
        )
        for each in fields(bundle)
    }


def as_of_day(given: str | None) -> date:
    """Return the day of --as-of, today when none is given. Raises WrongRequest for a text that is no date."""
    return today() if given is None else date_of("--as-of", given)


def first_day(option: str, text: str) -> date:
    """Return the first day of the month that this option names. Raises WrongRequest for a text that is no month."""
    from pipeline.logbook.typed_days import typed_month

    return typed_month(option, text)


def date_of(option: str, given: str, ahead: bool = False) -> date:
    """Return the day that this option's text names: 2026-05-31, yesterday, mon, -2d, or as date_order of farm.toml has
    it. `ahead`: weekdays are those to come. Raises WrongRequest for a text that is no date, or may be two.
    """
    from pipeline.logbook.typed_days import typed_day

    return typed_day(option, given, today(), _date_order, ahead)


def _date_order() -> str:
    """Return the order of dates of the farm that the command is about; "" where there is none."""
    from pipeline.cli.farm_access import RUN, farm_folder
    from pipeline.farm.folder import open_farm

    try:
        return open_farm(farm_folder(RUN.given)).conventions.cell_format.date_order
    except WrongRequest:
        return ""


def as_option(name: str) -> str:
    """Return a parameter's name as one types its option: `--sample-wet`."""
    return f"--{name.replace('_', '-')}"
