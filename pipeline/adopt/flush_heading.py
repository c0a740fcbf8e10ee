"""Headings that name a flush by its number: "1st flush oz", "Flush 2 date", "F3", "2. Ernte"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from schemas.trade_words import plain_word, trade_words


@dataclass(frozen=True)
class FlushHeading:
    """The flush that a heading names. `rest`: the other words of it; `day`: they speak of a day."""

    flush: int
    rest: str
    day: bool


@cache
def flush_heading(heading: str) -> FlushHeading | None:
    """Return the flush that this heading names. None where it names none."""
    words = plain_word(re.sub(r"[\u00ba\u00aa\u00b0]", "", heading))
    numbers = trade_words("ordinal")
    words = " ".join(numbers.get(word, word) for word in words.split())
    flush = "|".join(sorted(map(re.escape, trade_words("flush")), key=len, reverse=True))
    for pattern in (
        rf"\b([1-9])(?:st|nd|rd|th|o|a|e|er|ere|re|eme)? ?(?:{flush})\b",
        rf"\b(?:{flush}) ?(?:no )?([1-9])\b",
    ):
        found = re.search(pattern, words)
        if found:
            rest = f"{words[: found.start()]} {words[found.end() :]}".split()
            return FlushHeading(int(found[1]), " ".join(rest), any(word in trade_words("day") for word in rest))
    return None
