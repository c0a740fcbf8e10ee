"""The proposal: what the grower's files hold, how they are written, and what is left to decide."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipeline.adopt.cells import InferredMarks, InferredSetting, filled, infer_date_order, infer_marks
from pipeline.adopt.headings import parse_heading
from pipeline.adopt.matching import Hints, MatchedHeading, SheetMatch, match_sheet, middle
from pipeline.adopt.sheets import SourceSheet, header_below
from pipeline.farm.conventions import folded, folded_word
from pipeline.farm.units import units_of
from schemas.cell_format import DATE_ORDERS
from schemas.contract import FILLINGS, HARVESTS, INPUTS, Field, contract
from schemas.finding import nearest

MARKS = (("decimal_mark", "."), ("thousands_mark", ""))


@dataclass(frozen=True)
class Answers:
    """What the grower answered: settings by name, and units by the words of a heading."""

    settings: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Question:
    """What the files leave open. `name`: a setting, or a heading whose unit it is; `option`: how it is answered on the
    command line.
    """

    name: str
    text: str
    choices: tuple[str, ...]
    option: str


@dataclass(frozen=True)
class Word:
    """A word of a coded column that gillbook does not know. `ours`: what it may mean (None: nothing is near)."""

    column: str
    word: str
    ours: str | None
    where: str


@dataclass(frozen=True)
class Proposal:
    """What farm.toml would say of the files. `settings`: each with the cell that shows it."""

    matches: tuple[SheetMatch, ...]
    settings: Mapping[str, InferredSetting]
    words: tuple[Word, ...]
    questions: tuple[Question, ...]
    doubts: tuple[str, ...]

    @property
    def tables(self) -> tuple[str, ...]:
        """The tables that the files hold."""
        return tuple(table for table in INPUTS if any(table in each.tables for each in self.matches))


def propose(sheets: Sequence[SourceSheet], answers: Answers) -> Proposal:
    """Return what these sheets hold, and how they are written."""
    hints = [Hints(answers.units) for _ in sheets]
    matches = _matched(sheets, hints)
    settings, doubts, questions = _settings(matches, answers)
    unit_questions: dict[str, Question] = {}
    for at, each in enumerate(matches):
        doubtful = _doubtful(each, settings)
        unit_questions |= {question.name: question for _, question in doubtful.values()}
        hints[at] = replace(hints[at], doubtful={column: why for column, (why, _) in doubtful.items()})
    if unit_questions:
        matches = _matched(sheets, hints)
        settings, doubts, questions = _settings(matches, answers)
    return Proposal(
        tuple(matches),
        settings,
        tuple(_unknown_words(matches)),
        (*questions, *unit_questions.values()),
        (*doubts, *_taken_units(matches), *_implied_fillings(matches), *_headers_below(matches)),
    )


def _matched(sheets: Sequence[SourceSheet], hints: Sequence[Hints]) -> list[SheetMatch]:
    matches = [match_sheet(*each) for each in zip(sheets, hints, strict=True)]
    if any(FILLINGS in each.tables for each in matches):
        return matches
    return [match_sheet(sheet, replace(each, fillings_too=True)) for sheet, each in zip(sheets, hints, strict=True)]


def _cells(matches: Sequence[SheetMatch], types: Sequence[str]) -> list[tuple[str, str]]:
    """Return the cells of columns of these types, and where each stands."""
    found: dict[tuple[str, int], str] = {}
    for each in matches:
        for one in each.matched:
            if _field(one).type in types:
                column = each.sheet.column(one.at)
                found |= {(f"{each.sheet.called}, row {row}", one.at): cell for row, cell in column}
    return [(where, cell) for (where, _), cell in found.items() if filled([cell])]


def _field(matched: MatchedHeading) -> Field:
    return contract(matched.table).field(matched.column)


def _settings(
    matches: Sequence[SheetMatch], answers: Answers
) -> tuple[dict[str, InferredSetting], list[str], list[Question]]:
    """Return what the cells, and the grower, say of marks and dates, what is in doubt, and what is to be asked."""
    marks: InferredMarks = infer_marks(_cells(matches, ("number", "integer")), answers.settings.get("decimal_mark"))
    inferred = {
        "decimal_mark": marks.decimal,
        "thousands_mark": marks.thousands,
        "date_order": infer_date_order(_cells(matches, ("date",))),
    }
    choices = {"decimal_mark": (".", ","), "thousands_mark": ("", ",", ".", " ", "'"), "date_order": DATE_ORDERS}
    found: dict[str, InferredSetting] = {}
    doubts: list[str] = []
    questions: list[Question] = []
    for name, each in inferred.items():
        if name in answers.settings:
            found[name] = InferredSetting(answers.settings[name], "as you said")
        elif each.value is not None:
            found[name] = each
        if each.doubt and name not in answers.settings:
            doubts.append(f"{each.doubt}, so {name} is left open.")
            taken = found.get("decimal_mark", InferredSetting()).value
            between = each.between or tuple(choice for choice in choices[name] if choice != taken)
            option = f"--{name.replace('_', '-')} {' or '.join(map(json.dumps, between))}"
            questions.append(Question(name, f"{each.doubt}. Which {name} do your files have?", between, option))
    if found.get("decimal_mark", InferredSetting(".")).value == found.get("thousands_mark", InferredSetting("")).value:
        del found["thousands_mark"]
    return found, doubts, questions


def _doubtful(match: SheetMatch, settings: Mapping[str, InferredSetting]) -> dict[int, tuple[str, Question]]:
    """Return the headings that name no unit and hold numbers unlikely in ours, each with why and the question."""
    found: dict[int, tuple[str, Question]] = {}
    for each in match.matched:
        low_high = _field(each).likely
        if not each.no_unit or low_high is None:
            continue
        decimal, thousands = (settings.get(name, InferredSetting(mark)).value or mark for name, mark in MARKS)
        value = middle(match.sheet, each.at, decimal, thousands)
        if value is not None and not low_high[0] <= value <= low_high[1]:
            ours = _field(each).unit
            why = f"names no unit, and its middle value, {value:g}, is unlikely in {ours}"
            text = f'"{each.heading}" {why}. Which unit is it in?'
            option = f"--unit '{each.heading}={units_of(ours)[-1]}'"
            found[each.at] = why, Question(parse_heading(each.heading).words, text, units_of(ours), option)
    return found


def _taken_units(matches: Sequence[SheetMatch]) -> list[str]:
    """Return one sentence for each heading that names no unit and is taken to be in ours."""
    return [
        f'"{each.heading}" ({match.sheet.called}) names no unit and is taken as {_field(each).unit}.'
        for match in matches
        for each in match.matched
        if each.no_unit and units_of(_field(each).unit)
    ]


def _implied_fillings(matches: Sequence[SheetMatch]) -> list[str]:
    """Return one sentence for each sheet of pickings in which a row alone means that a container was filled."""
    return [
        f"{each.sheet.called}: a container counts as filled from a batch where a row names both. One that was filled "
        "and never stands in a row is not counted: add a row for it, with no picking in it."
        for each in matches
        if FILLINGS in each.tables and HARVESTS in each.tables
    ]


def _headers_below(matches: Sequence[SheetMatch]) -> list[str]:
    found = []
    for each in matches:
        below = header_below(each.sheet)
        if below:
            found.append(
                f"{each.sheet.called}: the headings seem to stand in row {below}, but they are read from row "
                f"{each.sheet.row}. Delete the rows above them."
            )
    return found


def _unknown_words(matches: Sequence[SheetMatch]) -> list[Word]:
    """Return the words of coded columns that are not known, and what they may mean."""
    found: dict[tuple[str, str], Word] = {}
    for each in matches:
        for one in each.matched:
            column = _field(one)
            if not column.words:
                continue
            for row, cell in each.sheet.column(one.at):
                word = folded_word(cell)
                if word in column.words or word in column.synonyms or not filled([cell]):
                    continue
                ours = column.guesses.get(word) or nearest(word, (*column.words, *column.guesses))
                ours = column.guesses.get(ours, ours) if ours else None
                where = f"{each.sheet.called}, row {row}"
                found.setdefault((one.column, word), Word(one.column, folded(cell), ours, where))
    return list(found.values())
