"""The proposal: what the grower's files hold, how they are written, and what is left to decide."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipeline.adopt.cells import InferredMarks, InferredSetting, filled, infer_date_order, infer_marks
from pipeline.adopt.currencies import CURRENCY, currency_question, infer_currency, marks_of
from pipeline.adopt.dialogue import Dialogue, Question
from pipeline.adopt.handed_settings import settings_handed_on
from pipeline.adopt.headings import parse_heading
from pipeline.adopt.matching import Hints, MatchedHeading, SheetMatch, match_sheet, middle
from pipeline.adopt.own_words import Word, one_spelling, unknown_words
from pipeline.adopt.sheets import SourceSheet
from pipeline.farm.units import conversion, units_of
from schemas.cell_format import DATE_ORDERS
from schemas.contract import FILLINGS, HARVESTS, INPUTS, Field, contract
from schemas.currency import without_mark

MARKS = (("decimal_mark", "."), ("thousands_mark", ""))
# The settings that files may leave open.
IMPERIAL = ("oz", "lb", "F", "US gal")
SETTINGS = ("decimal_mark", "thousands_mark", "date_order")


@dataclass(frozen=True)
class Answers:
    """What the grower answered: settings by name, units by the words of a heading, and the rest by what it is about.
    `taken`: the names of those that are taken by default.
    """

    settings: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    choices: Mapping[str, str] = field(default_factory=dict)
    taken: frozenset[str] = frozenset()

    def with_answer(self, question: Question, answer: str, taken: bool = False) -> Answers:
        """Return the answers with this one."""
        done = self.taken | {question.name} if taken else self.taken - {question.name}
        if question.name in SETTINGS:
            return replace(self, settings={**self.settings, question.name: answer}, taken=done)
        if question.option.startswith("--unit"):
            return replace(self, units={**self.units, question.name: answer}, taken=done)
        return replace(self, choices={**self.choices, question.name: answer}, taken=done)


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


def propose(sheets: Sequence[SourceSheet], answers: Answers, talk: Dialogue | None = None) -> Proposal:
    """Return what these sheets hold, and how they are written. What is not answered is taken by default, and stands
    among the questions.
    """
    talk = talk or Dialogue(answers.choices)
    found: dict[str, Question] = {}
    while True:
        proposal = _propose(sheets, answers, talk)
        new = [each for each in proposal.questions if each.name not in found]
        if not new:
            break
        for each in new:
            found[each.name] = each
            answers = answers.with_answer(each, each.choices[0], taken=True)
    questions = (*talk.questions.values(), *found.values())
    return replace(proposal, questions=questions, doubts=(*talk.said, *proposal.doubts))


def _propose(sheets: Sequence[SourceSheet], answers: Answers, talk: Dialogue) -> Proposal:
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
    currency, doubtful_currency = _currency(matches, answers)
    handed, left_out = settings_handed_on([each.sheet for each in matches])
    return Proposal(
        tuple(matches),
        {**settings, **currency, **handed},
        (*unknown_words(matches, talk), *one_spelling(matches, talk)),
        (*questions, *unit_questions.values(), *doubtful_currency),
        (*doubts, *left_out, *_taken_units(matches), *_implied_fillings(matches)),
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
                plain = without_mark if _field(one).money else str
                found |= {(f"{each.sheet.called}, row {row}", one.at): plain(cell) for row, cell in column}
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
            why = f"taken: {each.doubt}; mend it if it is the other way" if name in answers.taken else "as you said"
            found[name] = InferredSetting(answers.settings[name], why)
        elif each.value is not None:
            found[name] = each
        if each.doubt and name not in answers.settings:
            taken = found.get("decimal_mark", InferredSetting()).value
            between = each.between or tuple(choice for choice in choices[name] if choice != taken)
            if name == "date_order" and _imperial(matches):
                between = tuple(sorted(between, key=lambda order: order != "month_day_year"))
            option = f"--{name.replace('_', '-')} {' or '.join(map(json.dumps, between))}"
            questions.append(Question(name, f"{each.doubt}. Which {name} do your files have?", between, option))
    if found.get("decimal_mark", InferredSetting(".")).value == found.get("thousands_mark", InferredSetting("")).value:
        del found["thousands_mark"]
    return found, doubts, questions


def _currency(
    matches: Sequence[SheetMatch], answers: Answers
) -> tuple[dict[str, InferredSetting], tuple[Question, ...]]:
    """Return the currency of the amounts, where it is one or the grower named it; and the question that several
    leave.
    """
    inferred = infer_currency(marks_of(matches))
    if not inferred.doubt:
        return ({CURRENCY: inferred} if inferred.value else {}), ()
    answer = answers.choices.get(CURRENCY)
    if answer is None:
        return {}, (currency_question(inferred),)
    return ({CURRENCY: InferredSetting(answer, "as you said")} if answer else {}), ()


def _doubtful(match: SheetMatch, settings: Mapping[str, InferredSetting]) -> dict[int, tuple[str, Question]]:
    """Return the headings that name no unit and hold numbers unlikely in ours, each with why and the question."""
    found: dict[int, tuple[str, Question]] = {}
    imperial = _imperial([match])
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
            likely = tuple(sorted(units_of(ours), key=lambda unit: _unlikely(value, unit, _field(each), imperial)))
            found[each.at] = why, Question(parse_heading(each.heading).words, text, likely, option)
    return found


def _imperial(matches: Sequence[SheetMatch]) -> bool:
    """Whether the sheets have pounds, ounces or degrees Fahrenheit: where these are used, the month mostly stands first
    (common usage).
    """
    return any(each.unit in IMPERIAL for match in matches for each in match.matched)


def _unlikely(value: float, unit: str, column: Field, imperial: bool) -> float:
    """How far this value in this unit lies from the middle of what is likely, in powers of e. `imperial`: the sheets
    have such units elsewhere; where they do not, these are as unlikely as one power more (our choice, no source).
    """
    low, high = column.likely or (1, 1)
    there = float(conversion(unit, column.unit or unit).factor) * value
    foreign = (unit in IMPERIAL) != imperial
    return abs(math.log(there / math.sqrt(low * high))) + foreign if there > 0 else math.inf


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
