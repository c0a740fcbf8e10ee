"""What is due in the next days, and the chances of it, at no cost where nothing is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from pipeline.models.promises import Delivery, deliveries, promises

if TYPE_CHECKING:
    from pipeline.models.view import Ledger
    from pipeline.planning.promise_tables import PromiseCheck

DAYS = 7


@dataclass(frozen=True)
class PromisedSoon:
    """What is due in the next seven days, and the chances of it."""

    due: Sequence[Delivery]
    check: PromiseCheck


def promised_soon(ledger: Ledger, as_of: date) -> PromisedSoon | None:
    """Return what is due in the next seven days; None where nothing is."""
    due = deliveries(promises(ledger), as_of, as_of + timedelta(days=DAYS))
    if not due:
        return None
    from pipeline.planning.promise_tables import check_promises

    return PromisedSoon(due, check_promises(ledger, as_of, weeks=1, with_room=False))
