"""What a comparison says, in sentences that a grower can act on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

from pipeline.compare import wording as words
from pipeline.compare.adjusted import alike_text
from pipeline.compare.comparison import Comparison, PairResult
from pipeline.compare.factors import PACKAGES, title
from pipeline.compare.interplay import Interplay
from pipeline.compare.leaning import leaning_text
from pipeline.compare.measures import DEFAULT_FLUSH, Measure
from pipeline.compare.other_differences import Differing, Stratum
from pipeline.compare.pairs import LEAST_FOR_A_VERDICT, Pair
from pipeline.compare.side_by_side import lower, started
from pipeline.compare.sides import never_shared, sides_of
from pipeline.models.compared_units import MONTH, FarmUnits
from pipeline.stats.two_levels import DesignKind
from schemas.answers import Direction, Worth
from schemas.phrases import listed

MOST_LABELS = 3  # labels of one factor named one by one
MOST_DIFFERING = 3  # factors named in a sentence; the table has them all


def verdict_text(result: PairResult) -> str:
    """Return both answers of a pair in a few words, as a table shows them."""
    direction, worth = result.judgement.direction, result.judgement.worth
    if worth is Worth.NO_MATTER:
        return worth.value
    if direction.is_shown:
        return f"{direction.value}, {'and worth it' if worth is Worth.WORTH_IT else 'worth it or not'}"
    if direction is Direction.CANNOT_TELL:
        return direction.value
    return f"leans to {result.pair.level if direction is Direction.LEANS_MORE else result.pair.against}"


def pair_sentence(result: PairResult, comparison: Comparison) -> str:
    """Return what may be said of this pair, and what to do next."""
    if not result.judgement.answered:
        return _cannot_tell(result, comparison)
    return " ".join([_difference(result, comparison), *_cautions(result, comparison)])


def _cannot_tell(result: PairResult, comparison: Comparison) -> str:
    """The first reason and a second; what would help; and where the pair could be compared better."""
    leans = result.judgement.direction is not Direction.CANNOT_TELL
    parts = [f"{result.pair.level} against {result.pair.against}: {'not shown yet' if leans else 'cannot tell'}."]
    if result.leaning and leans:
        parts.append(leaning_text(result.pair, result.leaning, comparison.money_a_point, comparison.currency))
    stopped = result.judgement.stopped
    parts += [f"{each.reason[0].upper()}{each.reason[1:]}." for each in stopped[:1]]
    parts += [f"Also, {each.reason}." for each in stopped[1:2]]
    if result.pair.split_only:
        parts.append(f"This is of the {result.pair.split} soaks that hold both: of the others more than this differed.")
    if result.pair.adjusted:
        parts.append(f"This is with {alike_text(result.pair)} alike.")
    parts += _by_label(result, comparison)
    # What to do comes last: the step that the first reason asks for, then what may be asked meanwhile.
    parts += [f"{each.next_step}." for each in stopped[:1]]
    return " ".join([*parts, *_offers(result, comparison)])


def _difference(result: PairResult, comparison: Comparison) -> str:
    pair, measure, judgement = result.pair, comparison.query.measure, result.judgement
    low, high = pair.limits or (0.0, 0.0)
    said = partial(words.number, decimals=measure.decimals)
    least = f"{comparison.smallest_effect:g} {measure.unit}"
    better = pair.level if (judgement.direction is Direction.MORE) != measure.less_is_better else pair.against
    alike = f"With {alike_text(pair)} alike, " if pair.adjusted else _in_split(pair)
    if not judgement.direction.is_shown:
        return (
            f"{alike}{pair.level} and {pair.against}: {judgement.worth.value}. It lies between {said(low)} and "
            f"{said(high, measure.unit)}, within the {least} that count: choose by cost and work."
        )
    more = judgement.direction is Direction.MORE
    near, far = (low, high) if more else (-high, -low)
    sentence = (
        f"{alike}{pair.level} {measure.more if more else measure.less} {pair.against}: by {said(near)} to "
        f"{said(far, measure.unit)}, about {said(abs(pair.estimate.value))}."
    )
    parts = PACKAGES.get(comparison.query.factor)
    which = f" Which part of the {comparison.query.factor} it is, these records cannot tell." if parts else ""
    return f"{sentence} {_worth(result, least, better)}{which}"


def _in_split(pair: Pair) -> str:
    return f"In the {pair.split} soaks that hold both, " if pair.split_only else ""


def _worth(result: PairResult, least: str, better: str) -> str:
    """Whether a shown difference is large enough to act on, and what to do."""
    match result.judgement.worth:
        case Worth.WORTH_IT:
            return f"Even the near end counts ({least} or more): take {better}."
        case Worth.NO_MATTER:
            why = f"Even the far end is less than the {least} that count: {result.judgement.worth.value}"
            return f"{why}, so choose by cost and work."
        case _:
            return f"Whether by your {least} is open: take {better} where it costs no more."


def _cautions(result: PairResult, comparison: Comparison) -> list[str]:
    found = []
    other = [each for each in result.differing if each.factor not in result.pair.adjusted]
    if other:
        also = "; ".join(also_differed(each, result) for each in other[:MOST_DIFFERING])
        found.append(f"But other things differed, too: {also}.")
    found += _by_label(result, comparison)
    found += _offers(result, comparison)
    found += [f"{each.reason[0].upper()}{each.reason[1:]}." for each in result.judgement.reasons if each.rule == "R8"]
    if result.pair.clusters:
        what = title(result.pair.clusters)
        found.append(f"They never had the same {what}, so soaks of one {what} are counted together.")
    elif result.pair.varies is DesignKind.BETWEEN and never_shared(sides_of(result.pair), MONTH):
        best = started(result.pair.level, result.pair.against, result.pair.alternate)
        found.append(f"The two were never started in the same month: {lower(best)}.")
    return found


def _by_label(result: PairResult, comparison: Comparison) -> list[str]:
    """Where the difference goes with what is held alike: what it is at each label."""
    found = []
    for each in result.interplays:
        if each.differs:
            measure = comparison.query.measure
            said = partial(words.number, unit=measure.unit, decimals=measure.decimals)
            values = [f"{said(value)} with {words.label(label)}" for label, value in each.differences]
            what = f"{result.pair.level} less {result.pair.against} is not the same for each {title(each.factor)}"
            found.append(f"But {what}, more than by chance: {listed(values)}.")
    return found


def _offers(result: PairResult, comparison: Comparison) -> list[str]:
    """Where the pair would be compared with more alike: within labels, or within the soaks that hold both."""
    found = [f"Or hold the rest alike: {command(comparison, result.strata[0])}."] if result.strata else []
    if result.pair.varies is DesignKind.BOTH and result.pair.split >= LEAST_FOR_A_VERDICT:
        found.append(f"Or look soak by soak, in the {result.pair.split} that hold both: add --split.")
    return found


def by_label(found: Interplay, measure: Measure) -> str:
    """Return the pair's difference at each label of a factor: "strain: grey 25.3, pink -4.1"."""
    values = [
        f"{words.label(label)} {words.number(value, decimals=measure.decimals)}" for label, value in found.differences
    ]
    return f"{title(found.factor)}: {', '.join(values)}"


def also_differed(each: Differing, result: PairResult) -> str:
    """Return what else differed, with its labels (over how many soaks) or means on both sides."""
    ours, theirs = (f"{side['']:.3g}" if each.strength is None else _labels(side) for side in (each.ours, each.theirs))
    return f"{title(each.factor)} ({result.pair.level}: {ours}; {result.pair.against}: {theirs})"


def _labels(counts: Mapping[str, float]) -> str:
    ordered = sorted(counts.items(), key=lambda each: (-each[1], each[0]))
    named = [f"{words.label(label)} {count:.2g}" for label, count in ordered[:MOST_LABELS]]
    more = len(ordered) - MOST_LABELS
    return ", ".join(named) + (f" and {more} more" if more > 0 else "")


def within_text(held: Sequence[tuple[str, str]]) -> str:
    """Return these labels as --within takes them."""
    parts = [f"{factor}={label}" for factor, label in held]
    return " ".join(f'--within "{part}"' if " " in part else f"--within {part}" for part in parts)


def command(comparison: Comparison, stratum: Stratum) -> str:
    """Return the command that compares the pair where what differed is alike, and how many soaks it would have."""
    query, units = comparison.query, comparison.units
    held = [*query.within, *(each for each in stratum.within if each[0] not in dict(query.within))]
    parts = ["gillbook compare", query.factor]
    if query.measure.name != "be":
        parts.append(f"--measure {query.measure.name}")
    if (query.measure.by_flush or query.measure.by_day) and units.to_day is not None:
        parts.append(f"--to-day {units.to_day}")
    elif query.measure.by_flush and units.through != DEFAULT_FLUSH:
        parts.append(f"--through-flush {units.through}")
    if query.edges:
        parts.append(f"--bands {','.join(f'{edge:g}' for edge in query.edges)}")
    return f"{' '.join([*parts, within_text(held)])} ({stratum.soaks} and {stratum.soaks_against} soaks)"


def measured(measure: Measure, units: FarmUnits) -> str:
    """Return what is measured, like "BE of flushes 1 to 2"."""
    what = measure.title.format(flush=units.through)
    if measure.by_flush and measure.least_flush == 1:
        if units.to_day is not None:
            what += f" up to day {units.to_day}"
        else:
            what += " of flush 1" if units.through == 1 else f" of flushes 1 to {units.through}"
    return f"{what[0].upper()}{what[1:]}"


def heading(comparison: Comparison) -> str:
    """Return what is compared, as one line."""
    query = comparison.query
    held = "".join(f", {title(factor)} {words.label(label)}" for factor, label in query.within)
    split = ", in soaks that hold both" if query.split_only else ""
    return f"{measured(query.measure, comparison.units)} by {title(query.factor)}{held}{split}"
