"""Steps from one tested spawn rate to the next: what each brings, and whether it pays for the spawn."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from pipeline.spawn.confounding import sides, soak_groups, something_else
from pipeline.spawn.rates import RateCell, SpawnRecipe
from pipeline.spawn.summary import Spawn
from pipeline.stats.estimate import Estimate
from pipeline.stats.proportions import LEAST_SOAKS
from pipeline.stats.two_levels import DesignKind, design_of, difference_of
from schemas.answers import StepAnswer
from schemas.phrases import counted

if TYPE_CHECKING:
    from schemas.result_rows import ResultRow, ResultRows

MIXED = "mixed"  # some soaks have both rates and others one
LEAST_DEGREES = 2.0  # of freedom, for a verdict from a mixed design: as of comparisons


def steps(tested: Spawn) -> ResultRows:
    """What each step to the next tested rate brings: one record per recipe and step, with the columns of the
    `spawn_steps` contract.
    """
    return [
        {**recipe.called, **_step(recipe, rate)} for recipe in tested.recipes for rate in range(len(recipe.rates) - 1)
    ]


def pair_difference(
    lower: list[tuple[str, float]], higher: list[tuple[str, float]], group: Mapping[str, str] | None = None
) -> tuple[str, Estimate] | None:
    """Return by how much the higher rate lies above the lower, and in what design. One (soak, value) per soak and rate.

    Within soaks where all hold both, between them where none does, else both at once; group: which soaks count
    together (see spawn.confounding). None where a rate has no value.
    """
    below, above = dict(lower), dict(higher)
    if not below or not above:
        return None
    design = design_of((below, above))
    return MIXED if design is DesignKind.BOTH else design.value, difference_of(above, below, group)


def _step(recipe: SpawnRecipe, rate: int) -> ResultRow:
    lower, higher = recipe.at(rate), recipe.at(rate + 1)
    soaks = [{cell.soak for cell in cells} for cells in (lower, higher)]
    held = sides(lower, higher)
    group = soak_groups(held)
    be, paid, more = (
        pair_difference(_values(lower, of), _values(higher, of), group)
        for of in (lambda cell: cell.be_pct, lambda cell: cell.margin, lambda cell: cell.spawn_per_dry)
    )
    return {
        "from_rate_wet_pct": recipe.rates[rate],
        "to_rate_wet_pct": recipe.rates[rate + 1],
        "soaks_from": len(soaks[0]),
        "soaks_to": len(soaks[1]),
        "soaks_both": len(soaks[0] & soaks[1]),
        "design": be[0] if be else None,
        **_named("be_difference", be[1] if be else None, "_pct"),
        "extra_spawn_per_kg_dry": more[1].value if more else None,
        **_named("margin_difference", paid[1] if paid else None, ""),
        **_answer(recipe, rate, be, paid, something_else(held)),
    }


def _values(cells: list[RateCell], of: Callable[[RateCell], float | None]) -> list[tuple[str, float]]:
    return [(cell.soak, value) for cell in cells if (value := of(cell)) is not None]


def _named(name: str, estimate: Estimate | None, unit: str) -> dict[str, float | None]:
    low, high = (estimate.limits() if estimate else None) or (None, None)
    return {f"{name}{unit}": estimate.value if estimate else None, f"{name}_low{unit}": low, f"{name}_high{unit}": high}


def _answer(
    recipe: SpawnRecipe,
    rate: int,
    be: tuple[str, Estimate] | None,
    paid: tuple[str, Estimate] | None,
    other: tuple[str, str] | None,
) -> dict[str, str | None]:
    """In money where that is told, else in BE; no verdict below three soaks at each rate, or three split ones."""
    lower, higher = recipe.at(rate), recipe.at(rate + 1)
    names = f"{recipe.rates[rate]:.1f} and {recipe.rates[rate + 1]:.1f} %"
    split = f"Split each of the next three soaks over {names}."
    found = paid or be
    if found is None:
        return _no(
            "a rate has no soak that is far enough",
            "Wait until they are closed, or note them as emptied.",
        )
    used = [[cell for cell in cells if not paid or cell.margin is not None] for cells in (lower, higher)]
    why = _too_few(used, found)
    limits = found[1].limits()
    if other and not why:
        return _no(*other)
    if why or limits is None:
        return _no(why or "the soaks do not differ at all, which is no evidence", split)
    if limits[0] > 0:
        return {"answer": StepAnswer.PAYS if paid else StepAnswer.GIVES_MORE, "why": None, "next_step": None}
    if limits[1] < 0:
        return {"answer": StepAnswer.DOES_NOT_PAY if paid else StepAnswer.GIVES_LESS, "why": None, "next_step": None}
    return _no(f"anything from {limits[0]:.2f} to {limits[1]:.2f} fits, more as well as less", split)


def _too_few(used: list[list[RateCell]], found: tuple[str, Estimate]) -> str | None:
    both = {cell.soak for cell in used[0]} & {cell.soak for cell in used[1]}
    fewest = min(len(cells) for cells in used)
    if found[0] == MIXED and found[1].degrees is not None and found[1].degrees >= LEAST_DEGREES and fewest > 1:
        return None
    if fewest < LEAST_SOAKS and len(both) < LEAST_SOAKS:
        return f"only {counted(fewest, 'soak is', 'soaks are')} far enough at one of the rates; three are the least"
    return None


def _no(why: str, next_step: str) -> dict[str, str | None]:
    return {"answer": StepAnswer.CANNOT_TELL, "why": why, "next_step": next_step}
