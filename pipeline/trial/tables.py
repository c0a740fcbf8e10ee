"""The result tables of a planned trial: the farm's spread, the designs to choose from, and the portions given out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from pipeline.farm.settings import number
from pipeline.models.trial_batches import TrialBatch, batch_names, trial_batches, usual_containers
from pipeline.trial.design import (
    LEAST_SOAKS,
    MOST_SOAKS,
    Design,
    best_containers,
    designs,
    enough_containers,
    give_out,
    levels_of,
    proposed,
    where,
)
from pipeline.trial.rows import Cells, free_prefix, trial_rows
from pipeline.trial.spread import Component, Spread, spread
from schemas.contract import Varies
from schemas.finding import WrongRequest
from schemas.result_rows import ResultRow, ResultRows, in_columns

if TYPE_CHECKING:
    from pipeline.models.view import LedgerView

SEED = 1  # any number: the same question gives the same order


@dataclass(frozen=True)
class TrialQuery:
    """What is to be tried. levels: with commas between; difference: worth knowing, in points of BE (None: as farm.toml
    has it); containers: of a batch (None: as usual on the farm); batch_costs: as many containers as a batch costs, for
    the best number of them; soaks: as many of each level (or split) as can be done (None: as many as are needed).
    """

    factor: str
    levels: str
    difference: float | None = None
    containers: int | None = None
    batch_costs: float | None = None
    soaks: int | None = None
    seed: int = SEED


@dataclass(frozen=True)
class Trial:
    """The tables `trial_spread`, `trial_designs` and `trial_portions`, as their contracts say; batches, fillings: rows
    to fill in, in the columns of the input tables. why_not: why nothing can be planned (None: it can). design: the one
    proposed, None where none is enough; where: at which level the factor can differ; difference: in points;
    batch_size: containers of a batch; enough_containers: how many of each level in each of eight soaks would be (None:
    none that is a plan).
    """

    why_not: str | None = None
    spread: ResultRows = field(default_factory=list)
    designs: ResultRows = field(default_factory=list)
    portions: ResultRows = field(default_factory=list)
    batches: list[Cells] = field(default_factory=list)
    fillings: list[Cells] = field(default_factory=list)
    design: Design | None = None
    where: Varies = Varies.BATCH
    difference: float = 0.0
    batch_size: int = 0
    enough_containers: int | None = None


def trial(view: LedgerView, query: TrialQuery) -> Trial:
    """Return the trial that would show the difference that is asked for, by the farm's own spread at the view's day.

    Raises WrongRequest for a factor, levels or numbers that cannot be.
    """
    level = where(query.factor)
    levels = levels_of(query.factor, query.levels)
    _check(query)
    finished = trial_batches(view)
    known = spread(finished)
    if known is None:
        return Trial(_too_little(finished))
    containers = query.containers or _usual(view)
    if query.batch_costs:
        containers = best_containers(known, query.batch_costs)
    smallest_effect = number(view.settings, "worthwhile_be_points")
    difference = query.difference or smallest_effect
    found = designs(known, level, len(levels), difference, containers, query.soaks, smallest_effect)
    chosen = proposed(found, query.soaks)
    plan = Trial(
        spread=_spread_rows(known),
        designs=_design_rows(found, difference),
        design=chosen,
        where=level,
        difference=difference,
        batch_size=containers,
        enough_containers=enough_containers(known, level, len(levels), difference),
    )
    if chosen is None:
        return plan
    portions = give_out(chosen, levels, query.seed)
    prefix = free_prefix(batch_names(view))
    batches, fillings = trial_rows(portions, query.factor, level, chosen.split, prefix)
    rows: ResultRows = [
        {
            "block": each.block,
            "soak": f"{prefix}{each.soak}",
            "turn": each.turn,
            "level": each.level,
            "containers": each.containers,
        }
        for each in portions
    ]
    return replace(plan, portions=in_columns("trial_portions", rows), batches=batches, fillings=fillings)


def farm_spread(view: LedgerView) -> ResultRows:
    """How much the farm's soaks, parts of soaks and containers differ in BE: the table `trial_spread`; no row where too
    little is finished to tell.
    """
    known = spread(trial_batches(view))
    return _spread_rows(known) if known else []


def _check(query: TrialQuery) -> None:
    if query.difference is not None and not query.difference > 0:
        raise WrongRequest(f"--difference {query.difference:g}: name more than 0 points.")
    for option, value, low, high in (
        ("--soaks", query.soaks, LEAST_SOAKS, MOST_SOAKS),
        ("--containers", query.containers, 1, 1000),
    ):
        if value is not None and not low <= value <= high:
            raise WrongRequest(f"{option} {value}: from {low} to {high}.")
    if query.batch_costs is not None and not query.batch_costs > 0:
        raise WrongRequest(f"--batch-costs {query.batch_costs:g}: name more than 0 containers.")
    if query.batch_costs is not None and query.containers is not None:
        raise WrongRequest("--containers and --batch-costs both tell the containers of a batch: give one of them.")


def _usual(view: LedgerView) -> int:
    """How many fillings a batch usually has: the median, at least two."""
    containers = usual_containers(view)
    return max(2, round(containers)) if containers else 2


def _too_little(batches: Sequence[TrialBatch]) -> str:
    containers, soaks = sum(len(each.be_pct) for each in batches), len({each.soak_key for each in batches})
    return (
        f"Only {containers} finished containers with a dry mass of their own, out of {soaks} soaks, tell how much the "
        "farm's soaks and containers differ. At least three soaks of one substrate and strain are needed, each with "
        "two containers or more picked one by one. Until then: three soaks, each split between the levels."
    )


def _spread_rows(known: Spread) -> ResultRows:
    def row(part: str, each: Component, assumed: bool = False) -> ResultRow:
        return {
            "part": part,
            "variance_points2": each.variance,
            "sd_points": each.sd,
            "degrees": each.degrees,
            "planned_sd_points": each.planned_sd,
            "cut": each.cut,
            "assumed": assumed,
        }

    parts = [row("soak", known.soaks), row("part of a soak", known.parts, known.part_assumed)]
    return in_columns("trial_spread", [*parts, row("container", known.containers)])


def _design_rows(found: list[Design], difference: float) -> ResultRows:
    rows: ResultRows = [
        {
            "design": "split" if each.split else "between",
            "soaks_per_level": each.test.soaks,
            "soaks": each.soaks,
            "batches": each.batches,
            "containers_per_level": each.containers,
            "containers": each.containers * each.test.soaks * each.levels,
            "difference_points": difference,
            "power_pct": 100 * each.power,
            "power_worth_pct": 100 * each.power_worth,
            "power_simulated": each.test.simulated,
            "detectable_points": each.detectable,
            "half_width_points": each.half_width,
            "needed": each.needed,
        }
        for each in found
    ]
    return in_columns("trial_designs", rows)
