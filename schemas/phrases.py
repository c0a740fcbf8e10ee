"""Parts of sentences that every message shares: counts, lists, what may have been meant."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from schemas.finding import nearest
from schemas.unseen import seen


def counted(count: int, one: str, many: str = "") -> str:
    """Return a count with its noun: "1 soak", "3 soaks"; `many` where an s does not make it."""
    return f"1 {one}" if count == 1 else f"{count} {many or one + 's'}"


def listed(names: Sequence[str], last: str = "and") -> str:
    """Return names as a sentence lists them: "a, b and c"; empty for none."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {last} {names[-1]}" if names else ""


def no_batch(as_of: date) -> str:
    """Return what is said where no batch is loaded that was started by this day."""
    return (
        f"No batch is loaded that was started by {as_of}. Fill in batches.csv, or mend it or its days: gillbook check."
    )


def did_you_mean(given: str, known: Iterable[str], any_case: bool = False) -> str:
    """Return " Did you mean NAME?" for the nearest of the known names, with its leading space; empty for none near.
    A sign that nobody sees is offered to be taken off. `any_case`: of names that growers give, which are near whatever
    their case.
    """
    known, without = tuple(known), seen(given)
    if without != given.strip() and (
        alike := next((each for each in known if each.casefold() == without.casefold()), "")
    ):
        return f" Did you mean {alike}, without the sign that nobody sees?"
    names = {each.lower().replace(" ", "_") if any_case else each: each for each in known}
    meant = nearest(given, tuple(names))
    if meant and seen(names[meant]) != names[meant]:
        return f" Did you mean {names[meant]}, which stands there with a sign that nobody sees?"
    return f" Did you mean {names[meant]}?" if meant else ""


# How an oven test is made, and what one adds to a farm that knows no dry mass.
OVEN_TEST = (
    "weigh a handful of the drained substrate, dry it until it loses no more, weigh it again "
    "(gillbook mix dry does the sum)."
)
ONE_OVEN_TEST = f"One oven test adds BE, which compares containers of any size and fill: {OVEN_TEST}"
