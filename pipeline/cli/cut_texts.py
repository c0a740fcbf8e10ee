"""Texts that are too long for their column of a table: cut so that no two that differ are shown alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from itertools import count


def cut_apart(texts: Sequence[str], size: int) -> dict[str, str]:
    """Return each of these texts as it is shown in so many letters (four at least): cut at its end, or before what
    tells it from those that would be cut alike, or else with a number. No two that differ are shown alike.
    """
    shown = {text: text if len(text) <= size else text[: size - 1] + "~" for text in dict.fromkeys(texts)}
    for alike in _alike(shown):
        letters = enumerate(zip(*alike, strict=False))
        prefix = next((at for at, each in letters if len({*each}) > 1), min(map(len, alike)))
        for text in alike:
            if len(text) > size:
                end = text[prefix:][: size // 2] or text[-(size // 2) :]
                shown[text] = f"{text[: size - 1 - len(end)]}~{end}"
    free_from: dict[tuple[str, int], int] = {}
    taken = {*shown.values()}
    for alike in _alike(shown):
        number = 1
        for text in (each for each in alike if len(each) > size):
            number = _free(text, size, number, taken, free_from)
            shown[text] = _numbered(text, size, number)
            taken.add(shown[text])
            number += 1
    return shown


def _alike(shown: Mapping[str, str]) -> list[list[str]]:
    """The texts that are shown as others are."""
    by_shown: dict[str, list[str]] = {}
    for text, short_text in shown.items():
        by_shown.setdefault(short_text, []).append(text)
    return [texts for texts in by_shown.values() if len(texts) > 1]


def _numbered(text: str, size: int, number: int) -> str:
    return f"{text[: size - 1 - len(str(number))]}~{number}"


def _free(text: str, size: int, first: int, taken: Set[str], free_from: dict[tuple[str, int], int]) -> int:
    """The lowest number, from the first on, with which this text is shown as no other is. free_from: of each beginning
    and count of digits the number below which all are known to be taken, so that they are not tried again.
    """
    for digits in count(len(str(first))):
        key, lowest, end = (text[: size - 1 - digits], digits), 10 ** (digits - 1), 10**digits
        begun, known = max(first, lowest), free_from.get(key, lowest)
        numbers = range(max(begun, known), end)
        number = next((each for each in numbers if _numbered(text, size, each) not in taken), end)
        if begun <= known:
            free_from[key] = min(number + 1, end)
        if number < end:
            return number
    raise AssertionError("numbers have no end")
