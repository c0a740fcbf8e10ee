"""Settling: files are read, what they leave open is asked, and both again with the answers until nothing is open."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from pipeline.adopt.dialogue import Dialogue, Question
from pipeline.adopt.proposal import Answers, Proposal, propose
from pipeline.adopt.sheets import SourceFile
from pipeline.adopt.straighten import straight_sheets

Ask = Callable[[Question], str]


def settle(files: Sequence[SourceFile], answers: Answers, today: date, ask: Ask | None = None) -> Proposal:
    """Return what is proposed for these files, once `ask` has answered what they leave open (None: by default).

    Raises UnreadableFile for a file that cannot be read.
    """
    done: set[str] = set()
    while True:
        talk = Dialogue(answers.choices, today)
        proposal = propose(straight_sheets(files, talk), answers, talk)
        left = [each for each in proposal.questions if each.name not in done and each.name not in answers.choices]
        if not left or ask is None:
            return proposal
        done.add(left[0].name)
        answers = answers.with_answer(left[0], ask(left[0]))
