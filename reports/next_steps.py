"""What to do next: three lines at most of what, with whom or which containers, since when; the most pressing first."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from reports.figures import Day, Name, Part, Sentence, brief, count, named, several
from reports.month import Month
from reports.sections import promises
from schemas.result_rows import Row, day_of, text_of

# Lines, and names in one of them. Our choice, no source.
STEPS_SHOWN = 3
NAMES_SHOWN = 4


def next_steps(month: Month) -> list[Sentence]:
    """Return what to do next, the most pressing first: what, with which containers, since when.

    A row to mend is the last of them, but not left out.
    """
    mend = [each for each in [_mend(month)] if each]
    found = [_put_back(month), _promise(month), *(make(month) for make in ACTIONS)]
    urgent = [each for each in found if each][: STEPS_SHOWN - len(mend)]
    return [brief(each) for each in (*urgent, *mend)]


def _put_back(month: Month) -> Sentence:
    lost = count(month, "entries_lost")
    if not lost.value:
        return ()
    return ("Put back ", *several(lost, "logged entry", "logged entries"), ": gillbook lost --put-back does it.")


def _mend(month: Month) -> Sentence:
    roots = [each for each in month.findings if each.level == "set_aside" and each.waiting]
    if not roots:
        return ()
    worst = max(roots, key=lambda each: each.waiting)
    row = Name(f"row {worst.row} of {worst.file}")
    waits = "another row waits" if worst.waiting == 1 else "other rows wait"
    return ("Mend ", row, f": {waits} for it. gillbook check shows what is wrong.")


def _promise(month: Month) -> Sentence:
    """The soonest promise that may not be met; nothing where all likely are."""
    risky = promises.at_risk(month)
    if not risky:
        return ()
    return ("Warn ", *promises.warned(month, risky[0]), ".")


def _due(action: str, reason: str | None, start: str, since: str) -> Callable[[Month], Sentence]:
    """Return what makes the line of this action: what is due, first the oldest with its day and place."""

    def line(month: Month) -> Sentence:
        rows = [
            row
            for row in month.rows("today")
            if row["action"] == action and (reason is None or row["reason"] == reason)
        ]
        if not rows:
            return ()
        rows.sort(key=lambda row: (row["since"] is None, row["since"] or ""))
        oldest: dict[str, Row] = {}
        for row in rows:
            oldest.setdefault(text_of(row, "container") or f"batch {text_of(row, 'batch')}", row)
        return (f"{start} ", *_names(oldest, since), ".")

    return line


def _names(rows: Mapping[str, Row], since: str) -> Sentence:
    """Return the first of these names, where it stands and since when it waits; and that there are more."""
    last = "others" if len(rows) > NAMES_SHOWN else ""
    said: list[Part] = []
    for at, (name, row) in enumerate([*rows.items()][:NAMES_SHOWN]):
        between = " and " if at and at == len(rows) - 1 else ", " if at else ""
        said += [between, named(name), *(() if at else _where_and_when(row, since))]
    return (*said, f" and {last}") if last else tuple(said)


def _where_and_when(row: Row, since: str) -> Sentence:
    place = ", ".join(text_of(row, each) for each in ("room", "position") if row[each])
    where: Sentence = (named(place),) if place else ()
    when: Sentence = (f"{since} ", Day(day_of(row, "since"), short=True)) if row["since"] is not None else ()
    return (" (", *where, *([", "] if where and when else []), *when, ")") if where or when else ()


ACTIONS = (
    _due("look", "suspect", "Look first at", "suspect since"),
    _due("pick", None, "Pick", "due since"),
    _due("end", None, "End what is spent:", "nothing noted since"),
    _due("open", None, "Open", "colonised on"),
    _due("look", None, "Look at", "waiting since"),
    _due("fill", None, "Free to fill:", "since"),
)
