"""The clock: the one place where it is read."""

from __future__ import annotations

import os
from datetime import date, datetime

from schemas.finding import OutOfReach


def now() -> datetime:
    """Return the present moment, with its time zone. Raises OutOfReach where the computer's zone is none."""
    try:
        return datetime.now().astimezone()
    except (ValueError, OverflowError) as problem:
        zone = os.environ.get("TZ", "")
        raise OutOfReach(f"The time zone of this computer is none (TZ is {zone}). Set it, like TZ=UTC.") from problem


def moment() -> str:
    """Return the present moment as it is written down: to the second, with its time zone."""
    return now().isoformat(timespec="seconds")


def today() -> date:
    """Return the present day where the computer stands."""
    return now().date()
