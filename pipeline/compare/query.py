"""What is to be compared."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.compare.measures import Measure
from schemas.confidence import LEVEL


@dataclass(frozen=True)
class ComparisonQuery:
    """What is to be compared. within: columns held at one label each; against: the level that all others are held
    against; edges: where numbers are parted into bands; split_only: pairs are estimated from soaks that hold both
    alone; level: of the intervals.
    """

    factor: str
    measure: Measure
    within: tuple[tuple[str, str], ...] = ()
    against: str | None = None
    edges: tuple[float, ...] = ()
    split_only: bool = False
    level: float = LEVEL

    @property
    def of_yield(self) -> bool:
        """Whether the measure is over dry mass, so that how dry mass was found matters."""
        return self.measure.name == "be"
