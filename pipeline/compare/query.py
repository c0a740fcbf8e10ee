"""What is to be compared."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.compare.measures import Measure


@dataclass(frozen=True)
class ComparisonQuery:
    """What is to be compared. within: columns held at one label each; against: the level that all others are held
    against; edges: where numbers are parted into bands; split_only: pairs are estimated from soaks that hold both
    alone; often: whether it is looked at again and again, as the report is, so that its answers must hold at all looks
    together.
    """

    factor: str
    measure: Measure
    within: tuple[tuple[str, str], ...] = ()
    against: str | None = None
    edges: tuple[float, ...] = ()
    split_only: bool = False
    often: bool = False

    @property
    def of_yield(self) -> bool:
        """Whether the measure is over dry mass, so that how dry mass was found matters."""
        return self.measure.name == "be"
