"""Coded answers: the words that contracts, pipeline and pages share, each spelled once."""

from __future__ import annotations

from enum import StrEnum

CANNOT_TELL = "cannot tell"


class Direction(StrEnum):
    """Which way one level lies from another: tested against no difference, or, below that, how the records lean."""

    MORE = "more"
    LESS = "less"
    LEANS_MORE = "leans to more"
    LEANS_LESS = "leans to less"
    CANNOT_TELL = CANNOT_TELL

    @property
    def is_shown(self) -> bool:
        """Whether the records show it, and do not only lean."""
        return self in (Direction.MORE, Direction.LESS)


class Worth(StrEnum):
    """Whether a difference is large enough to act on: the same interval, held against the smallest that counts."""

    WORTH_IT = "worth it"
    OPEN = "open"
    NO_MATTER = "no difference that matters"
    CANNOT_TELL = CANNOT_TELL


def answered(direction: str, worth: str) -> bool:
    """Return whether these two answers answer anything: which way, or that it does not matter."""
    return Direction(direction).is_shown or worth == Worth.NO_MATTER


class FileStatus(StrEnum):
    """How a file of the farm was found, and so where its rows come from."""

    # In the folder and read well.
    PRESENT = "present"
    # Gone: its rows come from the copy.
    VANISHED = "vanished"
    # In the folder but not to be read: its rows come from the copy.
    UNREADABLE = "unreadable"
    # The same, but given up (gillbook forget): without rows.
    GIVEN_UP = "given_up"


class StepAnswer(StrEnum):
    """Whether a step from one spawn rate to the next pays; or, without prices, whether it gives more."""

    PAYS = "pays"
    DOES_NOT_PAY = "does not pay"
    GIVES_MORE = "gives more"
    GIVES_LESS = "gives less"
    CANNOT_TELL = CANNOT_TELL


class BestRateAnswer(StrEnum):
    """Whether a best spawn rate is named."""

    FOUND = "found"
    CANNOT_TELL = CANNOT_TELL


class WaitAnswer(StrEnum):
    """Whether waiting for another flush is worth the room."""

    WAIT = "wait"
    START_ANEW = "start anew"
    CANNOT_TELL = CANNOT_TELL


class ComparedMeasure(StrEnum):
    """What can be compared between levels."""

    BE = "be"
    DAYS = "days"
    COLONISED = "colonised"
    NEXT_FLUSH = "next-flush"
    DECLINE = "decline"
    LOSSES = "losses"
    CULLED = "culled"
    LATE = "late"
    KG = "kg"
    G_PER_LITRE = "g-per-litre"
    MARGIN = "margin"
    MARGIN_PER_DAY = "margin-per-day"

    @property
    def column(self) -> str:
        """What the columns of this measure begin with, where units are read."""
        return self.value.replace("-", "_")


class FlushSource(StrEnum):
    """Where the rule comes from by which a blank flush cell is numbered."""

    SET = "set"
    FITTED = "fitted"
    USUAL = "usual"
