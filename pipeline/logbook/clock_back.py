"""A clock that stands before what gillbook wrote already: an entry of today would then get a wrong day."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime, timedelta

from pipeline.farm.folder import Farm
from pipeline.logbook.journal import read_journal

# Computers that share a folder differ by minutes, and a slip of summer time is an hour. Our choice, no source.
BACK = timedelta(minutes=90)
# So many entries are looked at: when as many were written by the present clock it counts as right. Ours, no source.
ENTRIES = 20
# They fit into so much of the journal.
TAIL = 20_000


def newest_entry(farm: Farm) -> datetime | None:
    """Return the latest moment of the last entries that gillbook wrote and nobody took back; None without any."""
    return max(_moments(farm), default=None)


def _moments(farm: Farm) -> Iterator[datetime]:
    for each in list(read_journal(farm, TAIL).entries.values())[-ENTRIES:]:
        # A moment without its zone, or none at all, is not from here.
        with suppress(ValueError):
            at = datetime.fromisoformat(each.at)
            if at.tzinfo is not None:
                yield at


def clock_back(farm: Farm, now: datetime) -> str:
    """Return what is to be said where the clock stands before the newest entry; "" where it does not."""
    newest = newest_entry(farm)
    if newest is None or newest - now < BACK:
        return ""
    return (
        f"this computer's clock stands at {now:%Y-%m-%d %H:%M}, before the newest entry, "
        f"which was written at {newest.astimezone(now.tzinfo):%Y-%m-%d %H:%M}: is the clock right?"
    )
