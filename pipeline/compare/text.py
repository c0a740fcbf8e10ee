"""What a comparison says, in sentences that a grower can act on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pipeline.compare import wording as words
from pipeline.compare.clusters import never_shared
from pipeline.compare.comparison import Comparison, Told
from pipeline.compare.confounding import sides_of
from pipeline.compare.factors import MONTH, title
from pipeline.compare.measures import DEFAULT_FLUSH, Measure
from pipeline.compare.other_differences import Differing, Stratum
from pipeline.compare.pairs import LEAST_FOR_A_VERDICT
from pipeline.compare.verdicts import CANNOT_TELL, MORE, NO_MATTER
from pipeline.models.compared_units import FarmUnits
from pipeline.stats.two_levels import Design

MOST_LABELS = 3  # labels of one factor told one by one
MOST_DIFFERING = 3  # factors told in a sentence; the table has them all


def pair_sentence(told: Told, comparison: Comparison) -> str:
    """What may be said of this pair, and what to do next?"""
    if told.verdict.word == CANNOT_TELL:
        return _cannot_tell(told, comparison)
    return " ".join([_difference(told, comparison), *_cautions(told, comparison)])


def _cannot_tell(told: Told, comparison: Comparison) -> str:
    """The first reason and what would help; a second reason; and where the pair could be compared better."""
    said = [f"{told.pair.level} against {told.pair.against}: cannot tell."]
    for first in told.verdict.stopped[:1]:
        said.append(f"{first.reason[0].upper()}{first.reason[1:]}. {first.next_step}.")
    said += [f"Also, {each.reason}." for each in told.verdict.stopped[1:2]]
    return " ".join([*said, *_offers(told, comparison)])


def _difference(told: Told, comparison: Comparison) -> str:
    pair, measure = told.pair, comparison.asked.measure
    low, high = pair.limits or (0.0, 0.0)
    least = f"{comparison.worthwhile:g} {measure.unit}"
    if told.verdict.word == NO_MATTER:
        return (
            f"{pair.level} and {pair.against}: no difference worth acting on. It lies between {words.number(low)} and "
            f"{words.number(high, measure.unit)}, within the {least} that count."
        )
    said = measure.more if told.verdict.word == MORE else measure.less
    near, far = (low, high) if told.verdict.word == MORE else (-high, -low)
    about = words.number(abs(pair.estimate.value))
    return (
        f"{pair.level} {said} {pair.against}: by {words.number(near)} to {words.number(far, measure.unit)}, about "
        f"{about}. Even the near end counts ({least} or more)."
    )


def _cautions(told: Told, comparison: Comparison) -> list[str]:
    found = []
    if told.differing:
        also = "; ".join(also_differed(each, told) for each in told.differing[:MOST_DIFFERING])
        found.append(f"But other things differed, too: {also}.")
    found += _offers(told, comparison)
    found += [f"{each.reason}." for each in told.verdict.reasons if each.rule == "R8"]
    if told.pair.runs:
        what = title(told.pair.runs)
        found.append(f"They never had the same {what}, so soaks of one {what} are counted together.")
    elif told.pair.varies is Design.BETWEEN and never_shared(sides_of(told.pair), MONTH):
        found.append("The two were never started in the same month; a soak split between them would settle it.")
    return found


def _offers(told: Told, comparison: Comparison) -> list[str]:
    """Where the pair would be compared with more alike: within labels, or within the soaks that hold both."""
    found = [f"Held alike: {command(comparison, told.strata[0])}."] if told.strata else []
    if told.pair.varies is Design.BOTH and told.pair.split >= LEAST_FOR_A_VERDICT:
        found.append(f"Soak by soak, in the {told.pair.split} that hold both: add --split.")
    return found


def also_differed(each: Differing, told: Told) -> str:
    """What else differed, with its labels (over how many soaks) or means on both sides?"""
    ours, theirs = (f"{side['']:.3g}" if each.strength is None else _labels(side) for side in (each.ours, each.theirs))
    return f"{title(each.factor)} ({told.pair.level}: {ours}; {told.pair.against}: {theirs})"


def _labels(counts: Mapping[str, float]) -> str:
    ordered = sorted(counts.items(), key=lambda each: (-each[1], each[0]))
    named = [f"{words.label(label)} {count:.2g}" for label, count in ordered[:MOST_LABELS]]
    more = len(ordered) - MOST_LABELS
    return ", ".join(named) + (f" and {more} more" if more > 0 else "")


def within_text(held: Sequence[tuple[str, str]]) -> str:
    """How does --within take these labels?"""
    parts = [f"{factor}={label}" for factor, label in held]
    return " ".join(f'--within "{part}"' if " " in part else f"--within {part}" for part in parts)


def command(comparison: Comparison, stratum: Stratum) -> str:
    """Which command compares the pair where what differed is alike, and how many soaks would it have?"""
    asked, units = comparison.asked, comparison.units
    held = [*comparison.within, *(each for each in stratum.within if each[0] not in dict(comparison.within))]
    parts = ["gillbook compare", asked.factor]
    if asked.measure.name != "be":
        parts.append(f"--measure {asked.measure.name}")
    if (asked.measure.by_flush or asked.measure.by_day) and units.to_day is not None:
        parts.append(f"--to-day {units.to_day}")
    elif asked.measure.by_flush and units.through != DEFAULT_FLUSH:
        parts.append(f"--through-flush {units.through}")
    if asked.edges:
        parts.append(f"--bands {','.join(f'{edge:g}' for edge in asked.edges)}")
    return f"{' '.join([*parts, within_text(held)])} ({stratum.soaks} and {stratum.soaks_against} soaks)"


def measured(measure: Measure, units: FarmUnits) -> str:
    """What is told of each unit, like "BE of flushes 1 to 2"?"""
    what = measure.title.format(flush=units.through)
    if measure.by_flush and measure.least_flush == 1:
        if units.to_day is not None:
            what += f" up to day {units.to_day}"
        else:
            what += " of flush 1" if units.through == 1 else f" of flushes 1 to {units.through}"
    return f"{what[0].upper()}{what[1:]}"


def heading(comparison: Comparison) -> str:
    """What is compared, as one line?"""
    asked = comparison.asked
    held = "".join(f", {title(factor)} {words.label(label)}" for factor, label in comparison.within)
    split = ", in soaks that hold both" if asked.split_only else ""
    return f"{measured(asked.measure, comparison.units)} by {title(asked.factor)}{held}{split}"
