"""How two levels are put side by side: in one soak; or, where one bath cannot hold both, in soaks of the same week."""

from __future__ import annotations

from pipeline.compare.factors import PACKAGES, is_of_whole_soak
from pipeline.compare.pairs import Pair


def alternates(pair: Pair, factor: str) -> bool:
    """Return whether the levels of a pair can only be alternated: they differ in what is done to a whole bath (of a
    recipe, one of its parts). Where soaks hold both already, the farm can split them.
    """
    if pair.split:
        return False
    return is_of_whole_soak(factor) or any(_differs(pair, part) for part in PACKAGES.get(factor, ()))


def _differs(pair: Pair, part: str) -> bool:
    if not is_of_whole_soak(part):
        return False
    ours, theirs = (set(side.column(part).labels) for side in (pair.first, pair.second))
    return not ours & theirs


def started(level: str, against: str, alternate: bool, soaks: int = 1) -> str:
    """Return what to do next so that the levels stand side by side: an instruction without its full stop."""
    if alternate:
        if soaks == 1:
            return f"Start a pair of soaks in the same week, one of {level} and one of {against}"
        return f"Start {soaks} pairs of soaks, each pair in the same week: one of {level} and one of {against}"
    return f"Split the next {'soak' if soaks == 1 else f'{soaks} soaks'} between {level} and {against}"


def lower(instruction: str) -> str:
    """Return the instruction as the second half of a sentence."""
    return instruction[0].lower() + instruction[1:]
