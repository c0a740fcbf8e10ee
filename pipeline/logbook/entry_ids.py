"""Entry ids: short, sorted by time, unique without a network, and no number to a spreadsheet."""

from __future__ import annotations

import os
import re

# Digits and letters that are not taken for each other when read aloud (Crockford's base 32, without I, L, O, U).
LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"
# "w" for the weigh command and its like; a letter first, because digits with an e between them read as a number.
FIRST = "w"
# Nine letters of milliseconds since 1970 last until the year 3084; five by chance keep those of one moment apart, also
# of two machines that share the folder.
TIME_LETTERS, CHANCE_LETTERS = 9, 5


def new_entry_ids(now_ms: int, count: int = 1) -> list[str]:
    """Return the ids of so many entries that are written at this time (ms since 1970). No two of them are alike."""
    chance = int.from_bytes(os.urandom(4), "big")
    return [FIRST + _letters(now_ms, TIME_LETTERS) + _letters(chance + at, CHANCE_LETTERS) for at in range(count)]


def ids_in(data: bytes) -> set[str]:
    """Return what looks like an id from here in these bytes of a file."""
    return {found.decode() for found in re.findall(rb"w[0-9a-hjkmnp-tv-z]{14}", data)}


def entry_time_ms(entry: str) -> int | None:
    """Return when the entry of this id was written (ms since 1970); None for an id that is not from here."""
    if len(entry) != 1 + TIME_LETTERS + CHANCE_LETTERS or entry[0] != FIRST:
        return None
    value = 0
    for letter in entry[1 : 1 + TIME_LETTERS]:
        at = LETTERS.find(letter)
        if at < 0:
            return None
        value = value * 32 + at
    return value


def _letters(value: int, count: int) -> str:
    found = []
    for _ in range(count):
        value, rest = divmod(value, 32)
        found.append(LETTERS[rest])
    return "".join(reversed(found))
