"""A shop or a co-op reads page one and what follows it: short sentences, in a grower's words, each said once."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from html.parser import HTMLParser

import pytest
from test_report_meanings import months  # noqa: F401  of the demo farm and of simulated ones

from reports.month import Month
from reports.page import render

LONGEST = 19  # words of a sentence
LONGEST_BEHIND = 28  # in the appendix, where a recipe of four words is named
# Words of statistics, of the program, and of ledgers: in the appendix they are defined.
NOT_FOR_GROWERS = re.compile(
    r"\b(told|units?|limits|intervals?|estimates?|estimated|medians?|quantiles?|derived|bands?|sums? over|set apart"
    r"|verdicts?|factors?|levels?|null|records? backtested|hold both|probabilit\w+|distribution|sample|deviation)\b",
    re.IGNORECASE,
)
COMMAND = re.compile(r"\bgillbook [a-z]+|--[a-z]+")
BLOCKS = {"p", "li", "dt", "dd", "figcaption", "summary", "h2", "h3", "label", "button", "a"}
# Sections of the appendix whose texts are contracts' and sources.
DEFINED = ("definitions", "cautions")
VOID = {"meta", "br", "link", "input"}


@dataclass
class Reading(HTMLParser):
    """The texts of page one and of the sections, block by block, without the cells of tables and the appendix."""

    behind: bool = False  # the appendix in their place
    blocks: list[tuple[str, str]] = field(default_factory=list)
    _open: list[tuple[str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        if tag not in VOID:
            self._open.append((tag, f"{named.get('id') or ''} {named.get('class') or ''}"))
        if tag in BLOCKS:
            self.blocks.append((" ".join(each for _, each in self._open), ""))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop()[0] == tag

    def handle_data(self, data: str) -> None:
        tags = [tag for tag, _ in self._open]
        left_out = {"script", "style", "table", "title", "noscript", "select"} & {*tags}
        if "main" not in tags or left_out or any("appendix" in named for _, named in self._open) != self.behind:
            return
        if any(each in named for each in DEFINED for _, named in self._open):
            return
        block = next((tag for tag in reversed(tags) if tag in BLOCKS), None)
        if block:
            where, text = self.blocks[-1]
            self.blocks[-1] = (where, text + data)


def read(month: Month, behind: bool = False) -> list[tuple[str, str]]:
    page = Reading(behind)
    page.feed(render(month))
    page.close()
    return [(where, " ".join(text.replace("\u00a0", "~").split())) for where, text in page.blocks if text.strip()]


def sentences(blocks: Sequence[tuple[str, str]]) -> Iterator[str]:
    for _, text in blocks:
        yield from (each for each in re.split(r"(?<=[.!?])\s+(?=[A-Z0-9\u2068])", text) if each)


@pytest.fixture(scope="module")
def readings(months: dict[str, Month]) -> dict[str, list[tuple[str, str]]]:  # noqa: F811
    return {name: read(month) for name, month in months.items()}


def test_a_sentence_is_short(readings: dict[str, list[tuple[str, str]]]) -> None:
    assert all(len(blocks) > 20 for blocks in readings.values())
    long = {(len(each.split()), each) for blocks in readings.values() for each in sentences(blocks)}
    assert sorted(each for each in long if each[0] > LONGEST) == []


def test_a_sentence_of_the_appendix_is_not_long_and_names_no_command(months: dict[str, Month]) -> None:  # noqa: F811
    blocks = [text for month in months.values() for _, text in read(month, behind=True)]
    assert len(blocks) > 100
    long = {(len(each.split()), each) for text in blocks for each in sentences([("", text)])}
    assert sorted(each for each in long if each[0] > LONGEST_BEHIND) == []
    assert [text for text in blocks if COMMAND.search(text)] == []


def test_the_words_are_a_growers(readings: dict[str, list[tuple[str, str]]]) -> None:
    found = {
        (word[0], text)
        for blocks in readings.values()
        for _, text in blocks
        for word in [NOT_FOR_GROWERS.search(text)]
        if word
    }
    assert sorted(found) == []


def test_commands_stand_only_in_what_to_do_next(readings: dict[str, list[tuple[str, str]]]) -> None:
    steps = [text for blocks in readings.values() for where, text in blocks if "steps" in where]
    assert any(COMMAND.search(text) for text in steps)
    others = {
        text for blocks in readings.values() for where, text in blocks if "steps" not in where and COMMAND.search(text)
    }
    assert sorted(others) == []


def test_a_figure_of_a_sentence_has_three_digits_before_any_more(readings: dict[str, list[tuple[str, str]]]) -> None:
    told = [text for blocks in readings.values() for where, text in blocks if "finding" in where or "heads" in where]
    assert any("~kg" in text for text in told)
    assert [text for text in told if re.search(r"\b\d{2}\.\d{2}\b|\b\d{3}\.\d\b", text)] == []


def test_no_sentence_stands_twice(readings: dict[str, list[tuple[str, str]]]) -> None:
    for name, blocks in readings.items():
        said = [each for where, text in blocks for each in sentences([(where, text)]) if each.endswith(".")]
        assert [each for each in said if said.count(each) > 1] == [], name
