"""What a table of the page shows of a result table: its columns in order, some of them several in one."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Limited:
    """A number with its limits in one cell, "0.55 (0.50 to 0.61)"."""

    column: str
    low: str
    high: str


@dataclass(frozen=True)
class Range:
    """Two numbers in one cell, "0.4 to 4.5"."""

    title: str
    low: str
    high: str


@dataclass(frozen=True)
class Merged:
    """Words of several columns in one cell. `spoken_as`: the column that names what they are, for coded words."""

    title: str
    columns: tuple[str, ...]
    between: str = " \u00b7 "
    spoken_as: str = ""
    without_blanks: bool = False


Shown = str | Limited | Range | Merged


@dataclass(frozen=True)
class View:
    """A table of the page: its name there, its columns, and the result table that it shows (by default of that name).

    `if_known`: columns left out where no row has a value in them, such as reasons, and money without prices.
    """

    name: str
    columns: tuple[Shown, ...]
    table: str = ""
    if_known: tuple[str, ...] = ()

    @property
    def source(self) -> str:
        """The result table that it shows."""
        return self.table or self.name

    @property
    def measures(self) -> tuple[str, ...]:
        """The columns of the result table that the glossary defines, in order."""
        return tuple(name for each in self.columns for name in _measures(each))

    @property
    def limits(self) -> tuple[str, ...]:
        """The columns of the result table that stand beside a number as its limits."""
        return tuple(name for each in self.columns if isinstance(each, Limited) for name in (each.low, each.high))


def _measures(shown: Shown) -> tuple[str, ...]:
    match shown:
        case str(name) | Limited(name):
            return (name,)
        case Range(_, low, high):
            return (low, high)
        case Merged(_, columns):
            return columns


RECIPE = Merged("Recipe", ("substrate", "treatment", "spawn_form"))
