"""Rows set aside: those that are in no figure, and what else was found in the rows."""

from __future__ import annotations

from reports.figures import Figure, Sentence, count, several
from reports.month import Month
from reports.section import Section, made
from reports.tables import findings_table, waiting_table


def sentence(month: Month) -> Sentence:
    """Return how many rows are in no figure, and how many of them only wait for another."""
    rows, waiting = count(month, "rows_set_aside"), count(month, "rows_waiting")
    if not rows.value and not waiting.value:
        return ("Every row of the files is counted: none is set aside.",)
    is_are = " is set aside" if rows.value == 1 else " are set aside"
    follow: Sentence = (
        (", and ", waiting, f" more {'waits' if waiting.value == 1 else 'wait'} for them") if waiting.value else ()
    )
    return (*several(rows, "row"), is_are, *follow, "; what they hold is in no figure above.")


def notes(month: Month) -> list[Sentence]:
    """Return what else was found in the rows."""
    counts: list[tuple[Figure, str]] = [
        (count(month, "rows_dropped"), "with a cell that could not be used"),
        (count(month, "rows_warning"), "with a warning"),
    ]
    lost = count(month, "entries_lost")
    of_lost: list[Sentence] = []
    if lost.value:
        they = "is in no file any more, and" if lost.value == 1 else "are in no file any more, and"
        of_lost.append((*several(lost, "entry", "entries"), f" that gillbook wrote {they} in no figure."))
    found = [(*several(figure, "row"), f" {words}: counted all the same.") for figure, words in counts if figure.value]
    return [*of_lost, *found]


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    by_level = {
        level: [each for each in month.findings if each.level == level] for level in ("lost", "set_aside", "waiting")
    }
    roots = sorted(by_level["set_aside"], key=lambda each: -each.waiting)
    whole = len(month.findings)
    others = [each for each in month.findings if each.level in ("dropped", "warning", "notice")]
    return made(
        "aside",
        "Rows to mend",
        sentence(month),
        notes(month),
        (),
        [
            findings_table("lost", "Lost: written by gillbook, and in no file any more", by_level["lost"], whole),
            findings_table("set-aside", "Rows set aside, those that others wait for first", roots, whole, waiting=True),
            waiting_table("Rows that wait for them", by_level["waiting"], whole),
            findings_table("warnings", "Counted all the same: dropped cells, warnings and notices", others, whole),
        ],
    )
