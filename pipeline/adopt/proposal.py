"""The proposal: what the grower's files hold, how they are written, and what is left to decide."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipeline.adopt.cells import Marks, Told, marks_of, order_of, said
from pipeline.adopt.headings import bare
from pipeline.adopt.placing import Known, Placed, Placing, middle, place
from pipeline.adopt.sheets import LyingSheet, header_below
from pipeline.farm.conventions import folded, folded_word
from pipeline.farm.units import units_of
from schemas.cell_format import DATE_ORDERS
from schemas.contract import INPUTS, Field, contract
from schemas.finding import nearest

MARKS = (("decimal_mark", "."), ("thousands_mark", ""))
# Between these the middle value of a column lies that is in its own unit: our choice, no source. Outside of them a
# heading without a unit is not taken to be in it.
LIKELY = {
    "fresh_weight_g": (25, 10_000),
    "culled_g": (1, 5_000),
    "fill_kg": (0.2, 100),
    "substrate_wet_kg": (0.3, 1_000),
    "substrate_dry_kg": (0.05, 500),
    "spawn_kg": (0.01, 100),
    "volume_l": (0.5, 250),
    "incubation_c": (5, 35),
}


@dataclass(frozen=True)
class Answers:
    """What the grower told: settings by name, and units by bare heading."""

    settings: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Question:
    """What the files leave open. `name`: a setting, or a heading whose unit it is; `option`: how it is answered on the
    command line.
    """

    name: str
    asked: str
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
    """What farm.toml would say of the files. `settings`: each with the cell that tells it."""

    placings: tuple[Placing, ...]
    settings: Mapping[str, Told]
    words: tuple[Word, ...]
    questions: tuple[Question, ...]
    doubts: tuple[str, ...]

    @property
    def tables(self) -> tuple[str, ...]:
        """Which tables do the files hold?"""
        return tuple(table for table in INPUTS if any(table in each.tables for each in self.placings))


def propose(sheets: Sequence[LyingSheet], answers: Answers) -> Proposal:
    """What do these sheets hold, and how are they written?"""
    known = [Known(answers.units) for _ in sheets]
    placings = _placed(sheets, known)
    settings, doubts, questions = _settings(placings, answers)
    asked: dict[str, Question] = {}
    for at, each in enumerate(placings):
        doubtful = _doubtful(each, settings)
        asked |= {question.name: question for _, question in doubtful.values()}
        known[at] = replace(known[at], doubtful={place: why for place, (why, _) in doubtful.items()})
    if asked:
        placings = _placed(sheets, known)
        settings, doubts, questions = _settings(placings, answers)
    return Proposal(
        tuple(placings),
        settings,
        tuple(_unknown_words(placings)),
        (*questions, *asked.values()),
        (*doubts, *_taken_units(placings), *_told_fillings(placings), *_headers_below(placings)),
    )


def _placed(sheets: Sequence[LyingSheet], known: Sequence[Known]) -> list[Placing]:
    placings = [place(*each) for each in zip(sheets, known, strict=True)]
    if any("fillings" in each.tables for each in placings):
        return placings
    return [place(sheet, replace(each, fillings_too=True)) for sheet, each in zip(sheets, known, strict=True)]


def _cells(placings: Sequence[Placing], types: Sequence[str]) -> list[tuple[str, str]]:
    """Which cells stand in columns of these types, and where?"""
    found: dict[tuple[str, int], str] = {}
    for each in placings:
        for one in each.placed:
            if _field(one).type in types:
                column = each.sheet.column(one.at)
                found |= {(f"{each.sheet.called}, row {row}", one.at): cell for row, cell in column}
    return [(where, cell) for (where, _), cell in found.items() if said([cell])]


def _field(placed: Placed) -> Field:
    return contract(placed.table).field(placed.column)


def _settings(placings: Sequence[Placing], answers: Answers) -> tuple[dict[str, Told], list[str], list[Question]]:
    """What do the cells, and the grower, tell of marks and dates, what is in doubt, and what is to be asked?"""
    marks: Marks = marks_of(_cells(placings, ("number", "integer")), answers.settings.get("decimal_mark"))
    told = {
        "decimal_mark": marks.decimal,
        "thousands_mark": marks.thousands,
        "date_order": order_of(_cells(placings, ("date",))),
    }
    choices = {"decimal_mark": (".", ","), "thousands_mark": ("", ",", ".", " ", "'"), "date_order": DATE_ORDERS}
    found: dict[str, Told] = {}
    doubts: list[str] = []
    questions: list[Question] = []
    for name, each in told.items():
        if name in answers.settings:
            found[name] = Told(answers.settings[name], "as you said")
        elif each.value is not None:
            found[name] = each
        if each.doubt and name not in answers.settings:
            doubts.append(f"{each.doubt}, so {name} is left open.")
            taken = found.get("decimal_mark", Told()).value
            between = each.between or tuple(choice for choice in choices[name] if choice != taken)
            option = f"--{name.replace('_', '-')} {' or '.join(map(json.dumps, between))}"
            questions.append(Question(name, f"{each.doubt}. Which {name} do your files have?", between, option))
    if found.get("decimal_mark", Told(".")).value == found.get("thousands_mark", Told("")).value:
        del found["thousands_mark"]
    return found, doubts, questions


def _doubtful(placing: Placing, settings: Mapping[str, Told]) -> dict[int, tuple[str, Question]]:
    """Which headings name no unit, and hold numbers that are unlikely in ours?"""
    found: dict[int, tuple[str, Question]] = {}
    for each in placing.placed:
        low_high = LIKELY.get(each.column)
        if not each.no_unit or low_high is None:
            continue
        decimal, thousands = (settings.get(name, Told(mark)).value or mark for name, mark in MARKS)
        value = middle(placing.sheet, each.at, decimal, thousands)
        if value is not None and not low_high[0] <= value <= low_high[1]:
            ours = _field(each).unit
            why = f"names no unit, and its middle value, {value:g}, is unlikely in {ours}"
            asked = f'"{each.heading}" {why}. Which unit is it in?'
            option = f"--unit '{each.heading}={units_of(ours)[-1]}'"
            found[each.at] = why, Question(bare(each.heading).words, asked, units_of(ours), option)
    return found


def _taken_units(placings: Sequence[Placing]) -> list[str]:
    """Which headings name no unit, and are taken to be in ours?"""
    return [
        f'"{each.heading}" ({placing.sheet.called}) names no unit and is taken as {_field(each).unit}.'
        for placing in placings
        for each in placing.placed
        if each.no_unit and units_of(_field(each).unit)
    ]


def _told_fillings(placings: Sequence[Placing]) -> list[str]:
    """In which sheets of pickings does a row alone tell that a container was filled?"""
    return [
        f"{each.sheet.called}: a container counts as filled from a batch where a row names both. One that was filled "
        "and never stands in a row is not counted: add a row for it, with no picking in it."
        for each in placings
        if "fillings" in each.tables and "harvests" in each.tables
    ]


def _headers_below(placings: Sequence[Placing]) -> list[str]:
    told = []
    for each in placings:
        below = header_below(each.sheet)
        if below:
            told.append(
                f"{each.sheet.called}: the headings seem to stand in row {below}, but they are read from row "
                f"{each.sheet.row}. Delete the rows above them."
            )
    return told


def _unknown_words(placings: Sequence[Placing]) -> list[Word]:
    """Which words of coded columns are not known, and what may they mean?"""
    found: dict[tuple[str, str], Word] = {}
    for each in placings:
        for one in each.placed:
            column = _field(one)
            if not column.words:
                continue
            for row, cell in each.sheet.column(one.at):
                word = folded_word(cell)
                if word in column.words or word in column.synonyms or not said([cell]):
                    continue
                ours = column.guesses.get(word) or nearest(word, (*column.words, *column.guesses))
                ours = column.guesses.get(ours, ours) if ours else None
                where = f"{each.sheet.called}, row {row}"
                found.setdefault((one.column, word), Word(one.column, folded(cell), ours, where))
    return list(found.values())
