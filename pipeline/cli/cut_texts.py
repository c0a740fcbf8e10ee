"""Texts that are too long for their column of a table: cut so that no two that differ are shown alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
    for alike in _alike(shown):
        numbers, taken = (f"~{number}" for number in count(1)), {*shown.values()}
        for text in (each for each in alike if len(each) > size):
            free = (f"{text[: size - len(number)]}{number}" for number in numbers)
            shown[text] = next(each for each in free if each not in taken)
    return shown


def _alike(shown: Mapping[str, str]) -> list[list[str]]:
    """The texts that are shown as others are."""
    by_shown: dict[str, list[str]] = {}
    for text, short_text in shown.items():
        by_shown.setdefault(short_text, []).append(text)
    return [texts for texts in by_shown.values() if len(texts) > 1]
