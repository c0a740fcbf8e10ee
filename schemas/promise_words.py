"""What is said of a promise: its chance, and what helps where that is small."""

from __future__ import annotations

from schemas.phrases import counted
from schemas.result_rows import Row, number_of, whole_of


def chance_words(row: Row) -> str:
    """Return the chance of a row of `promise_chances` (schemas/results), without a false figure at either end."""
    chance = number_of(row, "chance_pct")
    return "under 1 %" if chance < 1 else "over 99 %" if chance > 99 else f"{chance:.0f} %"


def advice(row: Row) -> str:
    """Return what would make the chance 80 %, in a sentence; "" where it is that already."""
    if row["enough"]:
        return ""
    if row["more_containers"] is None:
        return "nothing that can still be begun would make it 80 %. Promise less, a later day, or buy some in."
    more = counted(whole_of(row, "more_containers"), "container")
    return f"{more} more of {row['more_of']}, inoculated by {row['inoculate_by']}, would make it 80 %."
