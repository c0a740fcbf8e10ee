"""The currency of the farm, as the cells and headings of money name it. Of two nothing is guessed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pipeline.adopt.cells import NEUTRAL, InferredSetting
from pipeline.adopt.dialogue import Question
from pipeline.adopt.matching import SheetMatch
from pipeline.adopt.money_headings import parse_money_heading
from schemas.contract import contract
from schemas.currency import known_marks, mark_in, written_so
from schemas.phrases import listed

CURRENCY = "currency"


def marks_of(matches: Sequence[SheetMatch]) -> dict[str, str]:
    """Return the currencies that headings and cells of money name, as they are usually written, each with the first
    place that names it.
    """
    found: dict[str, str] = {}
    for match in matches:
        for each in match.matched:
            if not contract(each.table).field(each.column).money:
                continue
            named = parse_money_heading(each.heading).mark
            if named:
                found.setdefault(named, f'"{each.heading}" in {match.sheet.called}')
            for row, cell in match.sheet.column(each.at):
                mark = mark_in(cell)
                if mark:
                    found.setdefault(_usual(mark), f'"{cell.replace(NEUTRAL, ".")}" in {match.sheet.called}, row {row}')
    return found


def infer_currency(marks: dict[str, str]) -> InferredSetting:
    """Return the one currency that these are signs, codes or words of: its code, where one stands among them."""
    if not marks:
        return InferredSetting()
    fitting = [each for each in marks if {mark.casefold() for mark in marks} <= _ways(each)]
    if fitting:
        chosen = min(fitting, key=lambda each: not (len(each) == 3 and each.isalpha()))
        return InferredSetting(chosen, marks[chosen])
    doubt = f"{listed(list(marks.values()))} are amounts of different currencies, and a farm has one"
    return InferredSetting(doubt=doubt, between=("", *marks))


def currency_question(inferred: InferredSetting) -> Question:
    """Return the question that amounts of several currencies leave: nothing is taken by itself."""
    text = f"{inferred.doubt}. Which is the farm's? Amounts in another are named by check, and not used."
    return Question(CURRENCY, text, inferred.between, f"--answer {CURRENCY}={inferred.between[1]}")


def _usual(mark: str) -> str:
    """The mark as it is usually written, whatever its case in a cell."""
    known: Iterable[str] = (each for each in known_marks() if each.casefold() == mark.casefold())
    return next(iter(known), mark)


def _ways(currency: str) -> set[str]:
    return {each.casefold() for each in written_so(currency)}
