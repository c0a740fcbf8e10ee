"""What may be said of a pair: nine rules of when nothing may, each with its reason and the step that would help.

R1  Fewer than two soaks of a level, and fewer than two that hold both: there is no interval.
R2  Fewer than three of them, or under two degrees of freedom where some soaks are split: an interval, no verdict.
R3  Another factor changed along with the pair, so that the two cannot be separated (see confounding).
R4  All soaks of one level were started before all of the other: season, room and spawn changed in between.
R5  The soaks of a level do not differ at all, which is no evidence of no spread: 0 of b soaks lost still allow a share
    of 1 - .05^(1/b).
R6  A permutation p that could not fall below .05 whatever the soaks gave (2v2 .33, 3v3 .10, 2v4 .067; turning signs
    needs 6 split soaks) is never shown as evidence.
R7  The interval holds no difference as well as one that counts (the smallest effect of farm.toml): neither a direction
    nor "no difference that matters" can be said. Where it leaves 0 and holds both differences that count and ones that
    do not, the direction is said, and whether it is worth acting on is open.
R8  Soaks that are not far enough are left out and counted; a difference in days that is smaller than the usual gap
    between two looks is not named.
R9  Looking again after every batch raises 5 % false alarms to 6 % at the second look and 12 % by the sixth; the report,
    which is looked at again and again, has intervals that hold at all looks together (pipeline.stats.sequential), and
    few soaks have none.

R6, the first halves of R8 and R9 and the second of R7 only add to an answer; the others forbid one. Two answers are
given: the direction, which is the interval against 0, and the worth, which is the same interval against the smallest
effect.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from pipeline.compare import wording as words
from pipeline.compare.adjusted import alike_text
from pipeline.compare.confounding import EARLIER, Confounder
from pipeline.compare.confounding_text import explained
from pipeline.compare.design import DesignCell
from pipeline.compare.factors import package_of, title
from pipeline.compare.leaning import chance_said, leans
from pipeline.compare.measures import Measure
from pipeline.compare.pairs import LEAST_DEGREES, LEAST_FOR_A_VERDICT, LEAST_FOR_AN_INTERVAL, Pair
from pipeline.compare.side_by_side import lower, started
from pipeline.compare.sides import Sides
from pipeline.compare.soaks_needed import enough_soaks
from pipeline.stats.estimate import Limits
from pipeline.stats.multiple import Family
from pipeline.stats.proportions import possible_share
from schemas.answers import Direction, Worth, answered
from schemas.phrases import counted, listed

if TYPE_CHECKING:
    from pipeline.stats.leaning import Belief

# Where nothing but these forbids an answer, the records may lean: more soaks of the same kind would mend it.
LEANING_RULES = {"R2", "R7", "R9"}


@dataclass(frozen=True)
class Reason:
    """One rule that applies to a pair: why, and what would help. stops: whether it forbids a verdict, or only adds to
    it.
    """

    rule: str
    reason: str
    next_step: str
    stops: bool = True


@dataclass(frozen=True)
class Facts:
    """All that the rules look at. smallest_effect: the smallest difference that counts, in the measure's unit;
    look_gap: the usual days between two looks, None where unknown; waiting: the cells of either level that are not far
    enough.
    """

    factor: str
    pair: Pair
    sides: Sides
    confounders: tuple[Confounder, ...]
    measure: Measure
    smallest_effect: float
    look_gap: float | None
    waiting: tuple[DesignCell, ...]
    not_yet: str
    together: Family
    leaning: Belief | None = None
    often: bool = False


@dataclass(frozen=True)
class Judgement:
    """What is said of a pair, and every rule that applies, those that stop it first."""

    direction: Direction
    worth: Worth
    reasons: tuple[Reason, ...]

    @property
    def answered(self) -> bool:
        """Whether the records answer: which way, or that it does not matter."""
        return answered(self.direction, self.worth)

    @property
    def stopped(self) -> tuple[Reason, ...]:
        """The rules that forbid a verdict."""
        return tuple(each for each in self.reasons if each.stops)


def _counts(facts: Facts) -> str:
    pair = facts.pair
    sides = f"{pair.level} has {counted(len(pair.first), 'soak')}, {pair.against} {len(pair.second)}"
    if pair.alternate:
        return sides
    both = {0: "none of them holds", 1: "1 of them holds"}.get(pair.split, f"{pair.split} of them hold")
    return f"{sides}; {both} both"


def _soaks_of_each(facts: Facts, least: int) -> str:
    return f"{least} soaks of each" if facts.pair.alternate else f"{least} soaks of each, or {least} that hold both"


def _more_soaks(facts: Facts) -> str:
    """The soaks that would make it three of each, or three split ones."""
    pair = facts.pair
    lacking = [
        f"{counted(LEAST_FOR_A_VERDICT - len(side), 'more soak')} of {name}"
        for name, side in ((pair.level, pair.first), (pair.against, pair.second))
        if len(side) < LEAST_FOR_A_VERDICT
    ]
    more = 1 if pair.alternate else max(LEAST_FOR_A_VERDICT - pair.split, 1)
    plain = started(pair.level, pair.against, pair.alternate, more)
    if lacking and pair.alternate:
        plain = f"Start {listed(lacking)}, each in the same week as one of the other"
    elif lacking:
        plain = f"Start {listed(lacking)}; or, showing far more, {lower(plain)}"
    if facts.waiting:
        return f"{plain}. {words.named_soaks(facts.waiting)} will count once that far"
    return plain


def _no_interval(facts: Facts) -> Reason | None:
    if facts.pair.has_interval:
        return None
    why = f"an interval needs {_soaks_of_each(facts, LEAST_FOR_AN_INTERVAL)}"
    return Reason("R1", f"{why}: {_counts(facts)}", _more_soaks(facts))


def _too_few(facts: Facts) -> Reason | None:
    pair = facts.pair
    if pair.has_enough or not pair.has_interval:
        return None
    if max(pair.split, min(len(pair.first), len(pair.second))) >= LEAST_FOR_A_VERDICT:
        left = f"({pair.estimate.degrees or 0:.1f} degrees of freedom, {LEAST_DEGREES:g} are the least)"
        if pair.adjusted:
            alike = alike_text(pair)
            why = f"with {alike} alike, so uneven a mix leaves little to judge by {left}"
            return Reason("R2", why, f"{started(pair.level, pair.against, pair.alternate)}, with {alike} alike")
        if not pair.clusters:
            return Reason("R2", f"so few soaks hold both that little is left to judge by {left}", _more_soaks(facts))
        what = title(pair.clusters)
        why = f"they never had the same {what}, and so few {what}s leave little to judge by {left}"
        return Reason("R2", why, f"Use one {what} for both, or more {what}s of each")
    why = f"a verdict needs {_soaks_of_each(facts, LEAST_FOR_A_VERDICT)}"
    return Reason("R2", f"{why}: {_counts(facts)}", _more_soaks(facts))


def _confounded(facts: Facts) -> Reason | None:
    found = [confounder for confounder in facts.confounders if confounder.kind != EARLIER]
    if not facts.pair.has_interval or not found:
        return None
    why, help_ = explained(found[0], facts.sides)
    if package := package_of(facts.factor, found[0].factors):
        help_ += f"; or compare the {package} as one: gillbook compare {package}"
    if len(found) > 1:
        also = dict.fromkeys(title(name) for confounder in found[1:] for name in confounder.factors)
        why += f" (also: {', '.join(also)})"
    return Reason("R3", why, help_)


def _always_earlier(facts: Facts) -> Reason | None:
    found = [confounder for confounder in facts.confounders if confounder.kind == EARLIER]
    if not facts.pair.has_interval or not found:
        return None
    return Reason("R4", *explained(found[0], facts.sides))


def _no_spread(facts: Facts) -> Reason | None:
    pair = facts.pair
    if not pair.has_interval:
        return None
    for name, side in ((pair.level, pair.first), (pair.against, pair.second)):
        if len(side) < LEAST_FOR_AN_INTERVAL or side.values.min() < side.values.max():
            continue
        if facts.measure.share and side.values[0] == 0.0:
            bound = 100 * possible_share(len(side))
            why = f"0 % in all {len(side)} soaks of {name} is no evidence of none: up to {bound:.0f} % fits them too"
            wider = 100 * possible_share(2 * len(side))
            return Reason(
                "R5", why, f"Go on to {2 * len(side)} soaks like these: they would narrow it to {wider:.0f} %"
            )
        if facts.measure.share or pair.estimate.standard_error == 0:
            why = f"all soaks of {name} have exactly the same value, so their spread is not known"
            return Reason("R5", why, _more_soaks(facts))
    if pair.estimate.standard_error == 0:
        why = "all soaks that hold both differ by exactly the same, so their spread is not known"
        return Reason("R5", why, started(pair.level, pair.against, pair.alternate))
    return None


def worth_of(limits: Limits, smallest_effect: float) -> Worth:
    """Return whether a difference with these limits is large enough to act on."""
    low, high = limits
    if low >= smallest_effect or high <= -smallest_effect:
        return Worth.WORTH_IT
    return Worth.NO_MATTER if -smallest_effect < low and high < smallest_effect else Worth.OPEN


def direction_of(limits: Limits) -> Direction:
    """Return which way a difference with these limits lies from 0."""
    low, high = limits
    return Direction.MORE if low > 0 else Direction.LESS if high < 0 else Direction.CANNOT_TELL


def _look_gap(facts: Facts) -> Reason | None:
    pair = facts.pair
    if facts.measure.unit != "days" or facts.look_gap is None or pair.limits is None:
        return None
    no_matter = worth_of(pair.limits, facts.smallest_effect) is Worth.NO_MATTER
    if abs(pair.estimate.value) >= facts.look_gap or (no_matter and facts.look_gap <= facts.smallest_effect):
        return None
    days = "day" if facts.look_gap == 1 else "days"
    why = f"{words.number(abs(pair.estimate.value))} days is less than usually lies between two looks"
    return Reason("R8", f"{why} ({facts.look_gap:g} {days})", facts.measure.look)


def _young(facts: Facts) -> Reason | None:
    if not facts.waiting:
        return None
    count = len({cell.soak for cell in facts.waiting})
    soaks = f"{counted(count, 'soak')} {'is' if count == 1 else 'are'}"
    why = f"{soaks} left out, {facts.not_yet}: {words.named_soaks(facts.waiting)}"
    return Reason("R8", why, "They count once they are that far", stops=False)


def _partly(facts: Facts) -> Reason | None:
    why = words.still_running((*facts.pair.first.running, *facts.pair.second.running))
    return Reason("R8", why, "The rest counts once it is that far", stops=False) if why else None


def _too_wide(facts: Facts) -> Reason | None:
    if facts.pair.limits is None or worth_of(facts.pair.limits, facts.smallest_effect) is not Worth.OPEN:
        return None
    low, high = facts.pair.limits
    unit, least = facts.measure.unit, facts.smallest_effect
    said = partial(words.number, decimals=facts.measure.decimals)
    fits = f"anything from {said(low)} to {said(high, unit)} fits"
    if low > 0 or high < 0:
        why = f"{fits}: whether it is by your {least:g} {unit} is open"
        return Reason("R7", why, enough_soaks(facts.pair, facts.together, least, unit), stops=False)
    why = f"{fits}, more as well as less"
    return Reason("R7", why, enough_soaks(facts.pair, facts.together, least, unit))


def _shuffling(facts: Facts) -> Reason | None:
    found = facts.pair.permutation
    if found is None or found.evidence is not None:
        return None
    why = f"dealing out these soaks anew could not give a p below {found.floor:.2f}, whatever they gave"
    return Reason("R6", why, _more_soaks(facts), stops=False)


def _looking_again(facts: Facts) -> Reason | None:
    if facts.often:
        if facts.pair.limits is not None or not facts.pair.has_enough or not facts.pair.estimate.standard_error:
            return None
        why = f"so few soaks can show nothing to a page that is read again and again: {_counts(facts)}"
        return Reason("R9", why, "Ask once, when it matters: gillbook compare with the name of what differs")
    if facts.pair.limits is None:
        return None
    why = "looking again after every batch raises false alarms from 5 to 6 % at the second look and 12 % by the sixth"
    return Reason("R9", why, "Decide beforehand when to look", stops=False)


@dataclass(frozen=True)
class Rule:
    """One rule: what it is about, in a few words, and how it judges."""

    title: str
    judges: Sequence[Callable[[Facts], Reason | None]]


# In the order in which they are said: what no further soak would mend comes before what more soaks would.
RULES: Mapping[str, Rule] = {
    "R1": Rule("few soaks", (_no_interval,)),
    "R3": Rule("two things at once", (_confounded,)),
    "R4": Rule("never side by side", (_always_earlier,)),
    "R5": Rule("no spread", (_no_spread,)),
    "R2": Rule("few soaks", (_too_few,)),
    "R8": Rule("young or seldom seen", (_look_gap, _young, _partly)),
    "R7": Rule("too wide", (_too_wide,)),
    "R6": Rule("few to deal out anew", (_shuffling,)),
    "R9": Rule("looking again", (_looking_again,)),
}


def judge(facts: Facts) -> Judgement:
    """Return what may be said of this pair, and why no more."""
    found = [reason for rule in RULES.values() for rule_judge in rule.judges if (reason := rule_judge(facts))]
    reasons = tuple(sorted(found, key=lambda each: not each.stops))
    stopped = {each.rule for each in reasons if each.stops}
    if stopped or facts.pair.limits is None:
        may_lean = facts.leaning is not None and stopped <= LEANING_RULES
        direction = (
            leans(chance_said(facts.pair, facts.leaning)) if facts.leaning and may_lean else Direction.CANNOT_TELL
        )
        return Judgement(direction, Worth.CANNOT_TELL, reasons)
    limits = facts.pair.limits
    return Judgement(direction_of(limits), worth_of(limits, facts.smallest_effect), reasons)
