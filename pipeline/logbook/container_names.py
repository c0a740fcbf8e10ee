"""Names as they are typed for containers: one by one, or as a range like 11-20, B01-B12 or 20L-4..6."""

from __future__ import annotations

import re
from abc import abstractmethod
from collections.abc import Collection, Iterable, Sequence

from schemas.finding import WrongRequest

RANGE = re.compile(r"(?P<stem>.*?)(?P<first>\d+)(?:-|\.\.\.?|\u2013|\u2026)(?P=stem)?(?P<last>\d+)\Z", re.ASCII)
# More at once is a slip of the hand: our choice, no source.
MOST = 500
# A longer line is first held to the longest name that there is: our choice.
FEW_WORDS = 12
# No number of a container has more digits.
MOST_DIGITS = 18


class KnownNames(Collection[str]):
    """Names of which each is looked up alone, so that asking for one does not go through all."""

    @abstractmethod
    def alike(self, name: str) -> list[str]:
        """Return the names of which only the case of letters differs, itself among them."""


def known_name(name: str, known: Collection[str]) -> str:
    """Return the known name that is meant, where only the case of its letters differs; else the name itself, without
    the blanks at its ends, which the cells of files lose too.
    """
    name = name.strip()
    if name in known:
        return name
    found = alike(name, known)
    return found[0] if len(found) == 1 else name


def alike(name: str, known: Iterable[str]) -> list[str]:
    """Return the known names of which only the case of letters differs, this name itself among them."""
    if isinstance(known, KnownNames):
        return known.alike(name)
    return [each for each in known if each.casefold() == name.casefold()]


def words_of_name(words: Sequence[str], names: Collection[str]) -> list[int]:
    """Return how many of the first words make a known name, in any case of letters; the longest first."""
    most = len(words) if len(words) <= FEW_WORDS else min(len(words), most_words(names))
    return [count for count in range(most, 0, -1) if alike(" ".join(words[:count]), names)]


def most_words(names: Iterable[str]) -> int:
    """Return of how many words the longest of these names is: so many are tried, however long a line is."""
    return max((len(name.split()) for name in names), default=0)


def expand_ranges(typed: Sequence[str], known: Collection[str]) -> list[str]:
    """Return the containers that are meant, each once. Raises WrongRequest for a range backwards or too long,
    for names with a comma between, and for a blank name.
    """
    found: dict[str, None] = {}
    for name in (each.strip() for each in typed):
        if not name:
            raise WrongRequest("A container's name is blank. Write each container, like 7 9 11-20. Nothing was done.")
        for each in _range(name, known):
            found[known_name(each, known)] = None
    return list(found)


def _range(name: str, known: Collection[str]) -> list[str]:
    if name not in known and re.search(r"[,;]", name):
        shown = " ".join(re.split(r"[,;]\s*", name.strip(",;")))
        raise WrongRequest(
            f"{name}: is that one container, or several? Names stand apart, like {shown}. Nothing was done."
        )
    parts = RANGE.match(name)
    if parts is None or name in known:
        return [name]
    width, digits = len(parts["first"]), max(len(parts["first"]), len(parts["last"]))
    first, last = (int(parts[name]) if digits <= MOST_DIGITS else MOST for name in ("first", "last"))
    if digits > MOST_DIGITS or last < first or last - first >= MOST:
        raise WrongRequest(
            f"{name[:100]}: a range goes from the lower number to the higher, over at most {MOST} containers."
        )
    return [f"{parts['stem']}{number:0{width}}" for number in range(first, last + 1)]
