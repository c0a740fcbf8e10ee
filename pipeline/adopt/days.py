"""Days as people write them: with the month's name, without a year, or the day of the month alone."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from pipeline.adopt.cells import ISO, YEAR_FIRST, YEAR_LAST
from pipeline.adopt.dialogue import Dialogue
from schemas.trade_words import plain_word, trade_words

# A point stands behind the month too, for 12.5 is a number.
NO_YEAR = re.compile(r"(\d{1,2})(?:([/-])(\d{1,2})|(\.)(\d{1,2})\.)")
YEAR = re.compile(r"(?<!\d)(20\d\d)(?!\d)")
DAY_ALONE = re.compile(r"(\d{1,2})(?:st|nd|rd|th|\.)?")


@dataclass(frozen=True)
class PartialDay:
    """A day as far as it is written: None for what is not. `open`: day and month may be the other way round."""

    year: int | None
    month: int | None
    day: int
    open: bool = False


def whole_day(text: str) -> bool:
    """Whether it is a day with a year in a form that tables are read in."""
    return any(pattern.fullmatch(text) for pattern in (ISO, YEAR_LAST, YEAR_FIRST))


def month_of(text: str) -> int | None:
    """Return the month that this text names, with nothing beside it but a year."""
    words = [word for word in plain_word(text).split() if not YEAR.fullmatch(word)]
    found = trade_words("month").get(words[0]) if len(words) == 1 else None
    return int(found) if found else None


def partial_day(text: str) -> PartialDay | None:
    """Return the day that this cell or heading writes in words, or without its year. None for anything else."""
    short = NO_YEAR.fullmatch(text.strip())
    if short:
        one, two = int(short[1]), int(short[3] or short[5])
        if not (1 <= one <= 31 and 1 <= two <= 31) or min(one, two) > 12:
            return None
        if one > 12 or (two <= 12 and short[4]):
            return PartialDay(None, two, one)
        return PartialDay(None, one, two, open=two <= 12)
    return _named(text)


def _named(text: str) -> PartialDay | None:
    words = re.findall(r"\d+|[^\W\d_]+", plain_word(text))
    months = [int(trade_words("month")[word]) for word in words if word in trade_words("month")]
    numbers = [word for word in words if word.isdigit()]
    if len(months) != 1 or not 1 <= len(numbers) <= 2 or len(words) > 5:
        return None
    years = [word for word in numbers if len(word) == 4]
    rest = [word for word in numbers if len(word) < 3]
    if len(rest) == 2:
        years, rest = [f"20{rest[1]}"], rest[:1]
    if len(rest) != 1 or not 1 <= int(rest[0]) <= 31:
        return None
    return PartialDay(int(years[0]) if years else None, months[0], int(rest[0]))


def iso(year: int, month: int, day: int) -> str | None:
    """Return this day, year first. None where there is no such day."""
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        return None


def year_for(days: Iterable[PartialDay], texts: Iterable[str], where: str, talk: Dialogue) -> int:
    """Return the year of days without one: that of the titles and names around them, or the last in which all of them
    are past, which is asked.
    """
    found = {int(year) for text in texts for year in YEAR.findall(text)}
    if len(found) == 1:
        return found.pop()
    latest = max(((each.month or 1, each.day) for each in days), default=(1, 1))
    year = talk.today.year if latest <= (talk.today.month, talk.today.day) else talk.today.year - 1
    if talk.agrees(f"year of {where}", f"The days in {where} have no year. Are they of {year}?"):
        return year
    return int(talk.choose(f"other year of {where}", "Of which year, then?", (str(year - 1), str(year + 1))))


def months_first(days: Iterable[PartialDay], imperial: bool, where: str, talk: Dialogue) -> bool:
    """Whether the month stands before the day in days like 3/4 (asked where no other of them says it)."""
    found = list(days)
    if any(not each.open and each.month != each.day for each in found):
        return True
    default = "month first" if imperial else "day first"
    other = "day first" if imperial else "month first"
    text = f"Days in {where} can be read two ways. What comes first in them?"
    return talk.choose(f"order of days in {where}", text, (default, other)) == "month first"
