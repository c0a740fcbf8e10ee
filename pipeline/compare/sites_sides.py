"""The two sides of a pair over several sites: differences are taken within sites, and so is what could explain them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from pipeline.compare.adjusted import unbalanced
from pipeline.compare.columns import Cells
from pipeline.compare.confounding import EARLIER, Confounder, always_earlier, confounders, gap_apart, held_against
from pipeline.compare.design import DesignCell
from pipeline.compare.design_rows import DesignRows
from pipeline.compare.sides import Sides
from pipeline.compare.site_cells import SITE
from pipeline.models.compared_units import MONTH


@dataclass(frozen=True)
class SitedSides(Sides):
    """The cells of a pair from several sites: whatever is asked of their design, the site is held alike."""

    def rows(self, factors: Sequence[str]) -> DesignRows:
        """Return the design with these factors and the site; where soaks are split throughout it drops out of itself,
        for a soak is of one site.
        """
        return super().rows(factors if self.split else (SITE, *factors))

    @cached_property
    def by_site(self) -> Mapping[str, Sides]:
        """The sides of each site alone."""
        return {
            site: Sides(self.level, self.against, _of(self.first, site), _of(self.second, site), self.split)
            for site in self.of_pair(SITE).labels
        }


def _of(cells: Iterable[DesignCell], site: str) -> Cells:
    return Cells(cell for cell in cells if site in cell.shares[SITE])


@dataclass(frozen=True)
class OneWay:
    """What lay apart in the same way on every site: an amount of which `less` always had less, or, of the month, the
    start, of which `less` was always the earlier.
    """

    factor: str
    less: str
    more: str


def unbalanced_within(sides: SitedSides, factors: Sequence[str]) -> list[str]:
    """Return those of the factors that the two levels did not have alike on some site, the strongest difference over
    all first.
    """
    found = {name for own in sides.by_site.values() for name in unbalanced(own, factors)}
    return sorted(found, key=lambda name: (-sides.strength(name), factors.index(name)))


def explained(sides: SitedSides, factor: str, of_yield: bool) -> list[Confounder]:
    """Return what else could explain the pair by the exact test, with the site held alike."""
    found = confounders(sides, factor, of_yield, lambda _: float("inf"))
    return [each for each in found if each.kind != EARLIER]


def one_way(sides: SitedSides, factor: str, of_yield: bool, gaps: Mapping[str, Mapping[str, float]]) -> list[OneWay]:
    """Return what lay apart in the same way on every site. gaps: by site, from which on an amount counts as different.

    What lies apart one way on one site and the other way on another is no explanation: it would have to turn round.
    """
    _, _, amounts = held_against(factor, of_yield)
    ways = [
        {_way(own, name) for name in amounts if gap_apart(own, name) > gaps[site].get(name, 0.0)}
        | {OneWay(MONTH, each.labels[0], each.against_labels[0]) for each in [always_earlier(own)] if each}
        for site, own in sides.by_site.items()
    ]
    order = [*amounts, MONTH]
    return sorted(set.intersection(*ways), key=lambda each: order.index(each.factor))


def _way(own: Sides, amount: str) -> OneWay:
    ours, theirs = (sum(side.means(amount)) / len(side.means(amount)) for side in (own.first, own.second))
    one, other = (own.level, own.against) if ours < theirs else (own.against, own.level)
    return OneWay(amount, one, other)
