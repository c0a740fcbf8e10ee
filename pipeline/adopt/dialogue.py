"""What is settled with the grower while sheets are read: questions with a default, answers, and what is said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

YES_NO = ("y", "n")


@dataclass(frozen=True)
class Question:
    """What the files leave open. `name`: a setting, or a heading whose unit it is, or what it is about; `choices`: the
    first is the default; `option`: how it is answered on the command line.
    """

    name: str
    text: str
    choices: tuple[str, ...]
    option: str

    @property
    def yes_no(self) -> bool:
        """Whether it is answered by yes or no."""
        return set(self.choices) == set(YES_NO)


@dataclass
class Dialogue:
    """Questions met while sheets are read, by `answers` or by default, and `said`: what was done without asking.
    `today`: the day on which a day without a year is held to lie in the past.
    """

    answers: Mapping[str, str] = field(default_factory=dict)
    today: date = date(1900, 1, 1)
    questions: dict[str, Question] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)

    def agrees(self, name: str, text: str, default: bool = True) -> bool:
        """Return whether the grower says yes to this."""
        choices = YES_NO if default else tuple(reversed(YES_NO))
        return self.choose(name, text, choices) == "y"

    def choose(self, name: str, text: str, choices: Sequence[str]) -> str:
        """Return which of these the grower chooses: the first, where nothing is answered."""
        self.questions.setdefault(name, Question(name, text, tuple(choices), f"--answer '{name}={choices[-1]}'"))
        return self.answers.get(name, choices[0])

    def say(self, text: str) -> None:
        """Note what was done without asking."""
        if text not in self.said:
            self.said.append(text)
