"""Steps from one tested spawn rate to the next: what each brings, and whether it pays for the spawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.compare.candidates import PairCandidate
from pipeline.compare.verdicts import direction_of
from pipeline.spawn.confounding import BE, MARGIN, SPAWN, by_rates, judged_rates, rate_pairs, something_else
from pipeline.spawn.rates import SpawnRecipe
from pipeline.spawn.summary import Spawn
from pipeline.stats.two_levels import DesignKind
from schemas.answers import Direction, StepAnswer
from schemas.phrases import counted

if TYPE_CHECKING:
    from schemas.result_rows import ResultRow, ResultRows

MIXED = "mixed"  # some soaks have both rates and others one


def steps(tested: Spawn) -> ResultRows:
    """What each step to the next tested rate brings: one record per recipe and step, with the columns of the
    `spawn_steps` contract. By the rules of comparisons, and for all pairs of a recipe's rates together: so that no step
    is answered otherwise than `compare` answers that pair.
    """
    return [{**recipe.called, **each} for recipe in tested.recipes for each in _steps(recipe)]


def _steps(recipe: SpawnRecipe) -> ResultRows:
    be, margin = judged_rates(recipe, BE), judged_rates(recipe, MARGIN)
    # How much more spawn a step takes is told without limits.
    spawn = by_rates(recipe, rate_pairs(recipe, SPAWN, next_only=True))
    return [
        _step(recipe, rate, *(found.get((rate, rate + 1)) for found in (be, margin, spawn)))
        for rate in range(len(recipe.rates) - 1)
    ]


def _step(
    recipe: SpawnRecipe, rate: int, be: PairCandidate | None, paid: PairCandidate | None, more: PairCandidate | None
) -> ResultRow:
    cells = recipe.cells
    ours, theirs = (cells.soak_no[cells.rate == which] for which in (rate, rate + 1))
    return {
        "from_rate_wet_pct": recipe.rates[rate],
        "to_rate_wet_pct": recipe.rates[rate + 1],
        "soaks_from": len(ours),
        "soaks_to": len(theirs),
        "soaks_both": len(np.intersect1d(ours, theirs)),
        "design": None if be is None else MIXED if be.pair.varies is DesignKind.BOTH else be.pair.varies.value,
        **_named("be_difference", be, "_pct"),
        "extra_spawn_per_kg_dry": more.pair.estimate.value if more else None,
        **_named("margin_difference", paid, ""),
        **_answer(recipe, rate, paid or be, paid is not None),
    }


def _named(name: str, found: PairCandidate | None, unit: str) -> dict[str, float | None]:
    low, high = (found.pair.limits if found else None) or (None, None)
    value = found.pair.estimate.value if found else None
    return {f"{name}{unit}": value, f"{name}_low{unit}": low, f"{name}_high{unit}": high}


def _answer(recipe: SpawnRecipe, rate: int, found: PairCandidate | None, paid: bool) -> dict[str, str | None]:
    """In money where that is known, else in BE; no answer below three soaks at each rate, or three split ones."""
    names = f"{recipe.rates[rate]:.1f} and {recipe.rates[rate + 1]:.1f} %"
    split = f"Split each of the next three soaks over {names}."
    if found is None:
        return _no(*_no_figure(recipe, rate))
    pair = found.pair
    if not pair.has_enough:
        fewest = min(len(pair.first), len(pair.second))
        few = counted(fewest, "soak is", "soaks are")
        return _no(f"only {few} far enough at one of the rates; three are the least", split)
    if other := something_else(found):
        return _no(*other)
    if pair.limits is None:
        return _no("the soaks do not differ at all, which is no evidence", split)
    match direction_of(pair.limits):
        case Direction.MORE:
            answer = StepAnswer.PAYS if paid else StepAnswer.GIVES_MORE
        case Direction.LESS:
            answer = StepAnswer.DOES_NOT_PAY if paid else StepAnswer.GIVES_LESS
        case _:
            low, high = pair.limits
            fits = f"{low:.2f} to {high:.2f} of margin a kg dry" if paid else f"{low:.1f} to {high:.1f} points of BE"
            return _no(f"anything from {fits} fits, more as well as less", split)
    return {"answer": answer, "why": None, "next_step": None}


def _no_figure(recipe: SpawnRecipe, rate: int) -> tuple[str, str]:
    """Return why a step has no figure, and what to do: a rate has no dry mass, or nothing that is far enough."""
    for which in (rate, rate + 1):
        units = recipe.of_rate(which)
        if units.known.any() and np.isnan(units.dry_g[units.known]).all():
            why = f"of {recipe.rates[which]:.1f} % no container that is far enough has a known dry mass"
            return why, "Weigh the dry substrate, or its moisture."
    return "a rate has no soak that is far enough", "Wait until they are closed, or note them as emptied."


def _no(why: str, next_step: str) -> dict[str, str | None]:
    return {"answer": StepAnswer.CANNOT_TELL, "why": why, "next_step": next_step}
