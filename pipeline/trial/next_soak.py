"""What to try next: which split of the coming soak is expected to teach most, and what to grow meanwhile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import fsum
from typing import TYPE_CHECKING

from pipeline.compare.comparison import Comparison, compare
from pipeline.compare.factors import REPORTED, parts_of, title
from pipeline.compare.leaning import FarmSpread, farm_spread, leans, prior_text
from pipeline.compare.measures import measure_of
from pipeline.compare.query import ComparisonQuery
from pipeline.farm.settings import Settings
from pipeline.models.compared_units import SPAWN_RATE, FarmUnits
from pipeline.trial.ahead import AHEAD
from pipeline.trial.design import where
from schemas.answers import Direction
from schemas.contract import Varies
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.stats.leaning import Belief
    from schemas.result_rows import ResultRow, ResultRows

FURTHER = (1, 2, 3)  # split soaks whose lesson is told
LEAST_CONTAINERS = 2  # of each part of a split soak


@dataclass(frozen=True)
class Split:
    """One split of the coming soak. belief: what is held of the first level's BE less the second's; known: whether any
    record tells of it; teaches: the expected value of 1, 2 and 3 split soaks, in points of BE of every soak after;
    costs: what one split soak is expected to give less than one of the leader alone, in points.
    """

    factor: str
    level: str
    against: str
    belief: Belief
    known: bool
    teaches: tuple[float, ...]
    costs: float

    def pays(self, ahead: int = AHEAD) -> float:
        """Return what one split is expected to bring over so many soaks after it, less its cost; in points of BE."""
        return self.teaches[0] * ahead - self.costs

    @property
    def leader(self) -> str:
        """The level that is expected to give more."""
        return self.level if self.belief.middle >= 0 else self.against


@dataclass(frozen=True)
class NextSoak:
    """The splits, the one that pays most first; meanwhile: of each factor the level that is expected to give most, with
    what taking it is expected to cost (points); money_a_point: per kg of dry substrate, None without a price.
    """

    splits: tuple[Split, ...]
    meanwhile: tuple[tuple[str, str, float], ...]
    containers: int
    money_a_point: float | None
    currency: str


def next_soak(units: FarmUnits, settings: Settings, ahead: int = AHEAD) -> NextSoak:
    """Return what the coming soak could teach, over all factors that can differ within a soak and had two levels here.

    The expected value of sample information (Raiffa & Schlaifer 1961) under the model of leaning: pairs that something
    else explains are taken as unknown, for a split would separate them. Levels of one factor are independent of those
    of another here. settings: one value per key of the farm contract. Its order was right in simulation: see
    tests/bench_next_soak.py.
    """
    spread = farm_spread(units.rows, measure_of("be"))
    answers = [each for factor in _tried() if (each := _compared(units, settings, factor, spread))]
    containers = _containers(units)
    splits = [each for answer in answers for each in _splits(answer, spread, containers)]
    splits.sort(key=lambda each: -round(each.pays(ahead), 6))  # of alike ones, as growers choose: strain, substrate ...
    meanwhile = [_leader(answer.query.factor, splits) for answer in answers]
    first = answers[0] if answers else None
    return NextSoak(
        tuple(splits),
        tuple(each for each in meanwhile if each),
        containers,
        first.money_a_point if first else None,
        first.currency if first else "",
    )


def _tried() -> list[str]:
    """The factors that growers choose between and that can differ within one soak; none that belongs to another."""
    found = []
    for factor in REPORTED:
        try:
            varies = where(factor)
        except WrongRequest:
            continue
        if varies is not Varies.SOAK and not any(factor in parts_of(other) for other in REPORTED if other != factor):
            found.append(factor)
    return found


def _compared(units: FarmUnits, settings: Settings, factor: str, spread: FarmSpread) -> Comparison | None:
    try:
        answer = compare(units, ComparisonQuery(factor, measure_of("be")), settings, spread)
    except WrongRequest:
        return None  # numbers without a gap: nobody said where to part them
    return answer if sum(bool(each.used) for each in answer.levels) > 1 else None


def _containers(units: FarmUnits) -> int:
    """How many containers one part of a split soak would have: half of what a soak usually holds."""
    counts: dict[str, int] = {}
    for each in units.rows:
        counts[each.soak] = counts.get(each.soak, 0) + 1
    usual = sorted(counts.values())[len(counts) // 2] if counts else 0
    return max(LEAST_CONTAINERS, usual // 2)


def _splits(answer: Comparison, spread: FarmSpread, containers: int) -> list[Split]:
    from pipeline.stats.leaning import belief

    known = {frozenset((each.pair.level, each.pair.against)): each for each in answer.pairs if each.leaning}
    found = []
    for pair in combinations([each.name for each in answer.levels if each.used], 2):
        result = known.get(frozenset(pair))
        held = result.leaning if result else None
        level, against = (result.pair.level, result.pair.against) if result else pair
        what = held or belief(None, spread.alike)
        teaches = tuple(what.taught_by(soaks, spread.container_variance, containers) for soaks in FURTHER)
        factor = answer.query.factor
        found.append(Split(factor, level, against, what, held is not None, teaches, abs(what.middle) / 2))
    return found


def _leader(factor: str, splits: Sequence[Split]) -> tuple[str, str, float] | None:
    """The level of a factor that is expected to lose least to the others on average, those not known by the prior; and
    what it may lose to any that is known. None where nothing is known.
    """
    own = [each for each in splits if each.factor == factor]
    losses: dict[str, list[float]] = {}
    may_lose: dict[str, float] = {}
    for each in own:
        behind = each.against if each.leader == each.level else each.level
        least = each.belief.expected_loss
        for level, loss in ((each.leader, least), (behind, least + abs(each.belief.middle))):
            losses.setdefault(level, []).append(loss)
            if each.known:
                may_lose[level] = max(may_lose.get(level, 0.0), loss)
    if not may_lose:
        return None
    level = min(may_lose, key=lambda name: (fsum(losses[name]), name))
    return factor, level, may_lose[level]


def trial_line(split: Split) -> str:
    """Return the command that plans this split."""
    levels = [split.level, split.against]
    if split.factor == SPAWN_RATE or all(_amount(each) for each in levels):
        levels = [each.split(" ")[0] for each in levels]
    named = ",".join(levels)
    quoted = f'"{named}"' if " " in named else named
    return f"gillbook trial --factor {split.factor} --levels {quoted} --soaks 3"


def _amount(level: str) -> bool:
    return level.split(" ", maxsplit=1)[0].replace(".", "", 1).isdigit()


def split_rows(found: NextSoak, ahead: int = AHEAD) -> ResultRows:
    """Return one record per split, with the columns of the `next_soak` contract, the one that pays most first."""
    return [_row(each, found, ahead) for each in found.splits]


def _row(each: Split, found: NextSoak, ahead: int) -> ResultRow:
    return {
        "factor": each.factor,
        "level": each.level,
        "against": each.against,
        "known": each.known,
        "difference": each.belief.middle if each.known else None,
        "chance_more": each.belief.chance_more if each.known else None,
        **{f"teaches_{soaks}": value for soaks, value in zip(FURTHER, each.teaches, strict=True)},
        "costs": each.costs,
        "pays": each.pays(ahead),
        "pays_money": None if found.money_a_point is None else found.money_a_point * each.pays(ahead),
        "prior": prior_text(),
        "trial": trial_line(each),
    }


def advice(found: NextSoak, ahead: int = AHEAD) -> list[str]:
    """Return what to do with the coming soak, and what to grow meanwhile, in sentences."""
    if not found.splits:
        return ["Nothing varies yet that one soak could be split by: name a second substrate, strain or spawn rate."]
    best = found.splits[0]
    sentences = [_to_split(best, found, ahead)] if best.pays(ahead) > 0 else [_to_go_on(best, ahead)]
    if found.meanwhile:
        levels = ", ".join(f"{level} ({title(factor)})" for factor, level, _ in found.meanwhile)
        loss = sum(each for _, _, each in found.meanwhile)
        sentences.append(
            f"For the rest, and meanwhile: {levels}. To take these is expected to cost {loss:.1f} points of BE against "
            "knowing; a guess, no evidence."
        )
    return sentences


def _to_split(best: Split, found: NextSoak, ahead: int) -> str:
    money = found.money_a_point
    worth = f"{best.pays(ahead):.0f} points of BE over the {ahead} soaks after it"
    if money is not None:
        worth += f" ({money * best.pays(ahead):.2f} {found.currency} per kg dry substrate of a soak)"
    lean = leans(best.belief.chance_more) if best.known else Direction.CANNOT_TELL
    so_far = "nothing is known of the two yet" if not best.known else f"so far {lean.value}"
    return (
        f"Split the next soak between {best.level} and {best.against} ({title(best.factor)}; {so_far}): of all splits "
        f"it is expected to bring most, {worth}, its own cost taken off. To plan three: {trial_line(best)}"
    )


def _to_go_on(best: Split, ahead: int) -> str:
    return (
        f"No split is expected to pay: the best, of {best.level} and {best.against} ({title(best.factor)}), costs "
        f"{best.costs:.1f} points of BE and would bring {best.teaches[0] * ahead:.1f} over the {ahead} soaks after it. "
        "Go on with what leads."
    )
