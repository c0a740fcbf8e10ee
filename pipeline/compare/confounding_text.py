"""Another explanation of a difference, in a grower's words, and the soak that would begin to part the two."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from pipeline.compare import wording as words
from pipeline.compare.confounding import (
    ALONG,
    DISCONNECTED,
    EARLIER,
    LOWER,
    NESTED,
    ONE_TO_ONE,
    TIE,
    TOGETHER,
    Confounder,
)
from pipeline.compare.factors import CLUSTERS, title
from pipeline.compare.side_by_side import lower, started
from pipeline.compare.sides import Sides
from pipeline.models.compared_units import MONTH
from schemas.phrases import listed

Explanation = tuple[str, str]  # why, and what would help


def explained(confounder: Confounder, sides: Sides) -> Explanation:
    """Return why the pair cannot be separated from this, and what would help."""
    return _WORDS[confounder.kind](confounder, sides)


def _beside(sides: Sides) -> str:
    return started(sides.level, sides.against, sides.alternate)


def _crossed(sides: Sides, ours: str, theirs: str) -> str:
    soak = f"Start one soak of {sides.level} with {theirs}, or of {sides.against} with {ours}"
    return f"{soak}: that would begin to part them"


def _one_to_one(confounder: Confounder, sides: Sides) -> Explanation:
    ours, theirs = words.either(confounder.labels), words.either(confounder.against_labels)
    what = confounder.factors[0]
    if what == MONTH:
        why = f"all soaks of {sides.level} were started in {ours}, those of {sides.against} in {theirs}"
        return why, f"{_beside(sides)}; or start {sides.level} in {theirs} of another year as well"
    why = (
        f"every soak of {sides.level} had {ours} ({title(what)}) and every one of {sides.against} {theirs}; "
        f"which of the two it was, nobody can tell"
    )
    return why, _crossed(sides, ours, theirs)


def _nested(confounder: Confounder, sides: Sides) -> Explanation:
    ours = len(confounder.labels) == 1
    one, other = (sides.level, sides.against) if ours else (sides.against, sides.level)
    single, several = (
        (confounder.labels, confounder.against_labels) if ours else (confounder.against_labels, confounder.labels)
    )
    if confounder.factors[0] == MONTH:
        return (
            f"all soaks of {one} were started in one month ({single[0]}), none of {other}",
            f"Start {one} in other months as well, best in one {'week' if sides.alternate else 'soak'} with {other}",
        )
    why = f"every soak of {one} had {words.label(single[0])} ({title(confounder.factors[0])}), and none of {other} did"
    return (
        why,
        f"Start one soak of {other} with {words.label(single[0])}, or of {one} with {words.either(several)}",
    )


def _disconnected(confounder: Confounder, sides: Sides) -> Explanation:
    ours, theirs = words.either(confounder.labels), words.either(confounder.against_labels)
    what = title(confounder.factors[0])
    why = f"they never had the same {what}: {sides.level} {ours}, {sides.against} {theirs}"
    if confounder.factors[0] in CLUSTERS:
        return why, f"{_beside(sides)}, with one {what} for both; or use three {what}s of each and more"
    return why, _crossed(sides, ours, theirs)


def _along(confounder: Confounder, sides: Sides) -> Explanation:
    what = title(confounder.factors[0])
    where = "in every split soak " if sides.split else ""
    return f"{where}the {what} changed along with it", f"{_beside(sides)}, with all else alike"


def _together(confounder: Confounder, sides: Sides) -> Explanation:
    names = listed([title(name) for name in confounder.factors])
    why = f"no two soaks of them are alike in {names}; together these explain it as well"
    return why, f"{_beside(sides)}, with all else alike"


def _tie(confounder: Confounder, sides: Sides) -> Explanation:
    names = listed([title(name) for name in confounder.factors])
    soak = words.soak_name(confounder.soak)
    why = f"only {soak} tells {sides.level} against {sides.against} apart from the {names}; one soak cannot carry that"
    return why, f"Start two more soaks like {soak}; or {lower(_beside(sides))}"


def _lower(confounder: Confounder, sides: Sides) -> Explanation:
    what = confounder.factors[0]
    ours, theirs = (side.means(what).tolist() for side in (sides.first, sides.second))
    if sides.split:
        less = sum(ours) / len(ours) < sum(theirs) / len(theirs)
        one, other = (sides.level, sides.against) if less else (sides.against, sides.level)
        why = f"in every split soak {one} had less {title(what)} than {other}"
        return why, f"{_beside(sides)}, at the same {title(what)}"
    less = max(ours) < min(theirs)
    one, other = (sides.level, sides.against) if less else (sides.against, sides.level)
    low, high = (max(ours), min(theirs)) if less else (max(theirs), min(ours))
    why = f"every soak of {one} had less {title(what)} ({low:.3g} at most) than any of {other} ({high:.3g} at least)"
    return why, f"Start one soak of each at the same {title(what)}: that would begin to part them"


def _earlier(confounder: Confounder, sides: Sides) -> Explanation:
    ours, theirs = (side.starts.tolist() for side in (sides.first, sides.second))
    one, other = confounder.labels[0], confounder.against_labels[0]
    last, first = (max(ours), min(theirs)) if one == sides.level else (max(theirs), min(ours))
    why = (
        f"all soaks of {one} were started (the last on {last}) before the first of {other} ({first}): season, room and "
        "spawn changed in between, too"
    )
    best = "in pairs of soaks of the same week" if sides.alternate else "best by splitting a soak between them"
    return why, f"Start {one} again beside {other}, {best}"


_WORDS: Mapping[str, Callable[[Confounder, Sides], Explanation]] = {
    ONE_TO_ONE: _one_to_one,
    NESTED: _nested,
    DISCONNECTED: _disconnected,
    ALONG: _along,
    TOGETHER: _together,
    TIE: _tie,
    LOWER: _lower,
    EARLIER: _earlier,
}
