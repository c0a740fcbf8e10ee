"""Commands as the grower reads them: ready to be typed, and never more than one command, whatever a name holds."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from functools import lru_cache

# Means itself in the shells of Linux, macOS and Windows.
PLAIN = re.compile(r"[\w./:+][\w./:+-]*|--?[\w-]+")
# Acts even within double quotes in one of these shells: $ ` \ ! in POSIX ones, % in cmd, $ ` and the curly quotation
# marks in PowerShell. From memory.
ACTING = re.compile('["$`\\\\!%\u201c\u201d\u201e]')


def typed(words: Sequence[str]) -> str | None:
    """Return the line that runs these words in any shell. None where a word holds a sign that some shell would act on
    however it is quoted, or that would be taken as an option.
    """
    quoted = [_quoted(word) for word in words]
    return None if None in quoted else " ".join(filter(None, quoted))


# Most words of many lines are the same.
@lru_cache(maxsize=1000)
def _quoted(word: str) -> str | None:
    if PLAIN.fullmatch(word):
        return word
    if not word or word.startswith("-") or ACTING.search(word) or not word.isprintable():
        return None
    return f'"{word}"'


def ending_command(container: str | None, batch: str, day: date) -> str | None:
    """Return the line that notes that this container, or the whole batch, was emptied on this day. None for a name that
    no shell takes.
    """
    containers = [container] if container else []
    if any(name.startswith("-") for name in (*containers, batch)):
        return None
    return typed(["gillbook", "note", *containers, "emptied", "--batch", batch, "--on", day.isoformat()])
