"""Two spellings of one word: they differ in nothing but case, accents, spaces and marks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from schemas.trade_words import plain_word


@dataclass(frozen=True)
class Spellings:
    """A word that is written in several ways: `usual`, the way that most cells have; `others`, the rest."""

    usual: str
    others: tuple[str, ...]


def spellings(counts: Mapping[str, int]) -> list[Spellings]:
    """Return the words that these texts, each with its number of cells, write in several ways."""
    alike: dict[str, list[str]] = {}
    for text in counts:
        alike.setdefault(plain_word(text), []).append(text)
    found = []
    for key, texts in alike.items():
        if key and len(texts) > 1:
            usual, *others = sorted(texts, key=lambda text: (-counts[text], text))
            found.append(Spellings(usual, tuple(others)))
    return found
