"""The pages that ask what a command asks: a form of a few choices, then its sentences and tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from reports.screens.pictures import Picture
from reports.screens.screen import Screen
from reports.words import visible

# The headings and the rows of a table, as texts; which columns are numbers.
ShownTable = tuple[Sequence[str], Sequence[Sequence[str]]]


@dataclass(frozen=True)
class Choice:
    """A field of the form: its name and title, what may be chosen (nothing: a number is typed), and what is."""

    name: str
    title: str
    of: Sequence[str]
    chosen: str


def answer(
    farm: str,
    title: str,
    here: str,
    choices: Sequence[Choice],
    paragraphs: Sequence[str],
    tables: Sequence[ShownTable],
    notes: Sequence[str],
    pictures: Sequence[Picture] = (),
) -> Screen:
    """Return the form with what was chosen, and the answer to it."""
    shown = [
        ([visible(each) for each in heads], [[visible(cell) for cell in row] for row in rows]) for heads, rows in tables
    ]
    drawn = [(each, Markup(each.narrow), Markup(each.wide)) for each in pictures]
    values = {
        "choices": choices,
        "paragraphs": [visible(each) for each in paragraphs],
        "tables": shown,
        "pictures": drawn,
    }
    return Screen("answer.html.j2", title, farm, here, values, notes)
