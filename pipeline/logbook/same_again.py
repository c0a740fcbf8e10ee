"""Whether an entry says what another one said minutes ago: its command may have been ended before it answered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from pipeline.farm.folder import Farm
from pipeline.logbook.book import Doubt, plain_values
from pipeline.logbook.destination import Values
from pipeline.logbook.journal import TAIL, JournalEntry, read_journal
from pipeline.logbook.lost import entry_words
from schemas.pickings import SAME_WITHIN_MS


def same_again(
    farm: Farm, command: str, rows: Sequence[Values], now: datetime, but: Sequence[str] = ("entry",)
) -> list[Doubt]:
    """Return the doubt that this command wrote one of these rows minutes ago, if it did. `but`: columns that differ in
    each entry.
    """
    new = [_compared(plain_values(row), but) for row in rows]
    for each in reversed(read_journal(farm, TAIL).entries.values()):
        age_ms = _age_ms(each, now)
        if each.command == command and age_ms < SAME_WITHIN_MS and _compared(each.values, but) in new:
            return [Doubt("same again", f"the same ({entry_words(farm, each)}) was entered {ago(age_ms)}")]
    return []


def ago(age_ms: float) -> str:
    """Return how long ago that is, in words; below 0 the clock was set back since."""
    minutes = int(age_ms // 60_000)
    known = {0: "a moment ago", 1: "a minute ago"}
    return "already" if age_ms < 0 else known.get(minutes, f"{minutes} minutes ago")


def _compared(values: Mapping[str, str], but: Sequence[str]) -> dict[str, str]:
    return {name: text for name, text in values.items() if name not in but}


def _age_ms(entry: JournalEntry, now: datetime) -> float:
    """How old the entry is; one of the future, by a clock that was set back, is young."""
    return (now - datetime.fromisoformat(entry.at)).total_seconds() * 1000
