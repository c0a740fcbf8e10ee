"""What is to come, in words: the weeks ahead, and how well they would have been told before."""

from __future__ import annotations

from reports.figures import Day, Name, Sentence, cell, measured, positive, several, total
from reports.month import Month


def outlook(month: Month) -> Sentence:
    """How many kg are to be expected in the first week ahead, and in all weeks that are told?"""
    rows = month.rows("outlook")
    if not rows:
        return ("What is to come cannot be told. ", Name(month.why_no_outlook or "Nothing was asked."))
    return (
        "In the week from ",
        Day(rows[0]["first_day"]),
        " about ",
        measured(month, "outlook", 0, "median_kg"),
        " is to be expected: in eight of ten cases from ",
        cell(month, "outlook", 0, "low80_kg"),
        " to ",
        measured(month, "outlook", 0, "high80_kg"),
        ".",
    )


def notes(month: Month) -> list[Sentence]:
    """Where does it come from, what is not in it, and how well did it hold?"""
    rows = month.rows("outlook")
    if not rows:
        return []
    told: list[Sentence] = []
    if rows[0]["past_told"]:
        told.append(
            (
                "Told in the same way on ",
                *several(cell(month, "outlook", 0, "past_told"), "past day"),
                ", the 80 % band of the first week held what came in ",
                measured(month, "outlook", 0, "past_held_80_pct"),
                " of them, and the median was off by ",
                measured(month, "outlook", 0, "past_off_kg"),
                " on average.",
            )
        )
    if rows[0]["widened_by"] is None:
        told.append(("The records are too short to widen the 80 % bands by how far they missed before.",))
    planned = total(month, "outlook", "planned_kg")
    if planned.value:
        told.append((planned, " kg of it would come from batches with a day of inoculation to come."))
    untold = positive(month, "outlook", "batches_untold")
    if untold.value:
        told.append(("In ", *several(untold, "week"), " some batches are in no figure: too few past ones are so old."))
    told.append(("Borrowed from what the farm's own past batches gave at the same age.",))
    return told
