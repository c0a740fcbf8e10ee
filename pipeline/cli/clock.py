"""The clock: the one place where it is read."""

from __future__ import annotations

from datetime import date, datetime


def now() -> datetime:
    """Return the present moment, with its time zone."""
    return datetime.now().astimezone()


def moment() -> str:
    """Return the present moment as it is written down: to the second, with its time zone."""
    return now().isoformat(timespec="seconds")


def today() -> date:
    """Return the present day where the computer stands."""
    return now().date()
