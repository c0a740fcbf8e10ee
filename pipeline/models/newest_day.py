"""How the newest row lies to the day that figures are of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipeline.farm.settings import whole
from pipeline.models.view import Ledger, Query
from schemas.phrases import counted


@dataclass(frozen=True)
class NewestDay:
    """The newest day with a picking or an observation up to the day that is asked about (None: there is none); after
    it, how many rows lie, and how many containers count as ended only because nothing was noted. third: the third
    newest day of all, for two rows alone after that day may be slips of the pen, which `check` names.
    """

    day: date | None
    third: date | None
    later: int
    lapsed: int

    def sentence(self, today: date) -> str:
        """Return what is to be said as of today by the clock; "" where nothing is."""
        if self.third is not None and self.third > today:
            return (
                f"Today is {today} by this computer's clock, and {self.later} pickings and notes are of later days, "
                f"like {self.third}: these are in no figure. Is the clock right? "
                f"As of another day: --as-of {self.third}"
            )
        if self.day is not None and self.lapsed:
            return (
                f"Today is {today} by this computer's clock, and nothing is noted after {self.day}: "
                f"{counted(self.lapsed, 'container')} that ran then {'counts' if self.lapsed == 1 else 'count'} as "
                f"ended since. As it was then: --as-of {self.day}"
            )
        return ""


def newest_day(ledger: Ledger, today: date, as_of: date) -> NewestDay:
    """Return how the newest row lies to this day by the clock. as_of: the day that figures are of, for as of an earlier
    one nothing counts as ended since. Views made before it may be over.
    """
    ledger.set_variables(until=today)
    ((newest, third, later),) = ledger.tuples("newest_day")
    first = min(whole(ledger.settings, name) for name in ("lapse_days", "lapse_unpicked_days"))
    if newest is None or as_of < today or (today - newest).days < first:
        return NewestDay(newest, third, later, 0)
    view = ledger.view(Query(today))
    view.set_variables(until=newest)
    ((lapsed,),) = view.tuples("lapsed_after")
    return NewestDay(newest, third, later, lapsed)
