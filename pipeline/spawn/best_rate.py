"""The best spawn rate, named only where the data support it; otherwise why not, and what would help."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from pipeline.spawn.confounding import BE, judged_rates, something_else
from pipeline.spawn.rates import SpawnRecipe
from pipeline.spawn.summary import LEAST_RATES, Spawn
from pipeline.stats.proportions import LEAST_SOAKS
from schemas.answers import BestRateAnswer
from schemas.phrases import counted

if TYPE_CHECKING:
    from schemas.result_rows import ResultRow, ResultRows

NO_MISFIT = 0.05
SPLIT = "Split each of the next three soaks over all rates."


class NotYet(Exception):
    """Why no best rate can be named, and what would help."""

    def __init__(self, why: str, next_step: str) -> None:
        super().__init__(why)
        self.why, self.next_step = why, next_step


def best(tested: Spawn) -> ResultRows:
    """The best rate, one record per recipe with more than one rate, with the columns of the `spawn_best` contract.

    By margin where prices are declared, else by BE. At least four rates; three soaks at each, or three split over all;
    nothing else that could explain what any two gave; and a top whose Fieller limits lie inside the tested rates
    (Fieller 1954, J. R. Stat. Soc. B 16:175-185).
    The true curve is no quadratic: where BE levels off, a quadratic's limits alone held the true best
    rate of simulated farms in 2-56 % of cases. So two shapes are asked, a quadratic in the rate and in its logarithm:
    both must have such a top, the limits span both, and the points must not lie off the quadratic (lack-of-fit p above
    .05). Then 98-100 % held it, 84-95 % where the true curve has a kink (2,000 farms a design,
    tests/calibrate_growth.py). That is ours, and rests on simulation only.
    """
    return [{**recipe.called, **_best(recipe)} for recipe in tested.recipes if len(recipe.rates) > 1]


def _best(recipe: SpawnRecipe) -> ResultRow:
    by_margin = len(recipe.cells) > 0 and not np.isnan(recipe.cells.margin).any()
    record: ResultRow = {
        "rates": len(recipe.rates),
        "of": "margin" if by_margin else "be",
        "best_rate_wet_pct": None,
        "best_low_pct": None,
        "best_high_pct": None,
    }
    try:
        _enough(recipe)
        at, low, high = _top(recipe, by_margin)
    except NotYet as reason:
        return {**record, "answer": BestRateAnswer.CANNOT_TELL, "why": reason.why, "next_step": reason.next_step}
    limits = {"best_rate_wet_pct": at, "best_low_pct": low, "best_high_pct": high}
    return {**record, **limits, "answer": BestRateAnswer.FOUND, "why": None, "next_step": None}


def _enough(recipe: SpawnRecipe) -> None:
    """Raises NotYet where there are too few rates or soaks, or something else could explain what two rates gave."""
    count = len(recipe.rates)
    if count < LEAST_RATES:
        word = {2: "two", 3: "three"}[count]
        raise NotYet(f"{word} rates were tested; a best one takes four", "Add a rate to the next soaks you split.")
    over_all = int((np.bincount(recipe.cells.soak_no) == count).sum()) if len(recipe.cells) else 0
    of_rates = np.bincount(recipe.cells.rate, minlength=count).tolist()
    for known, pct in zip(of_rates, recipe.rates, strict=True) if over_all < LEAST_SOAKS else ():
        if known < LEAST_SOAKS:
            raise NotYet(f"of {pct:.1f} % only {counted(known, 'soak is', 'soaks are')} far enough", SPLIT)
    for _, found in sorted(judged_rates(recipe, BE).items()):
        if other := something_else(found):
            raise NotYet(*other)


def _top(recipe: SpawnRecipe, by_margin: bool) -> tuple[float, float, float]:
    """Return the top (middle of the two shapes'), and the limits that span both. Raises NotYet where there is none.

    Within soaks where they are split; through soaks of one rate each where none is.
    """
    from pipeline.stats.optimum import misfit_p, optimum, quadratic

    cells = recipe.cells
    x, y = np.array(recipe.rates)[cells.rate], cells.margin if by_margin else cells.be_pct
    soaks = cells.held.soaks
    block = soaks if len(set(soaks)) < len(soaks) else None
    fits = quadratic(x, y, block), quadratic(np.log(x), y, block)
    if fits[0] is None or fits[1] is None:
        raise NotYet("some soaks hold several rates and too few hold enough of them", SPLIT)
    tops = optimum(fits[0]), optimum(fits[1])
    if not all(top.is_top and top.bounded for top in tops):
        raise NotYet("the curve has no clear top", "More soaks, or rates further apart, would bring it out.")
    lowest, highest = recipe.rates[0], recipe.rates[-1]
    below = tops[0].low < lowest or tops[1].low < math.log(lowest)
    if below or tops[0].high > highest or tops[1].high > math.log(highest):
        raise NotYet("the top may lie outside the tested rates", f"Try a {'lower' if below else 'higher'} rate.")
    if misfit_p(x, y, block) < NO_MISFIT:
        raise NotYet("the rates do not follow a simple curve", "Look at the steps between rates instead.")
    low, high = min(tops[0].low, math.exp(tops[1].low)), max(tops[0].high, math.exp(tops[1].high))
    return (tops[0].at + math.exp(tops[1].at)) / 2, low, high
