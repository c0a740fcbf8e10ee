"""Coded answers: the words that contracts, pipeline and pages share, each spelled once."""

from __future__ import annotations

from enum import StrEnum

CANNOT_TELL = "cannot tell"


class Verdict(StrEnum):
    """What may be said of one level held against another."""

    MORE = "more"
    LESS = "less"
    NO_MATTER = "no important difference"
    CANNOT_TELL = CANNOT_TELL


class FileStatus(StrEnum):
    """How a file of the farm stands: there, or taken from its copy, or given up."""

    PRESENT = "present"
    VANISHED = "vanished"
    UNREADABLE = "unreadable"
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
