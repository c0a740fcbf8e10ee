"""Pages that answer as a command does: Compare, Money and Plan ask it, and show its sentences and tables."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from pipeline.web.desk import Answer, Desk
from reports.screens import answers as screens
from reports.screens.answers import Choice
from schemas.answers import ComparedMeasure
from schemas.finding import WrongRequest

MONEY_BY = ("recipe", "batch", "month", "kind")
MEASURES = tuple(ComparedMeasure)
# What is wanted each week at the most, in kg: our choice, no source.
MOST_KG = 10_000


@dataclass(frozen=True)
class AnsweringPages:
    """The pages of one desk that ask a command. No text of a form becomes an option: each is one of a list or a
    number.
    """

    desk: Desk

    async def compare(self, request: Request) -> Response:
        """What is compared, by which measure."""
        from pipeline.compare.factors import FACTORS

        query = request.query_params
        factors = Choice("factor", "What", ("all in brief", *FACTORS), query.get("factor", "all in brief"))
        measure = Choice("measure", "By", MEASURES, query.get("measure", "be"))
        _check(factors, measure)
        factor = [] if factors.chosen == "all in brief" else [factors.chosen]
        words = ["compare", *factor, "--measure", measure.chosen]
        return await self._answered("Compare", "/compare", [factors, measure], words, query)

    async def money(self, request: Request) -> Response:
        """What pays, by what."""
        by = Choice("by", "By", MONEY_BY, request.query_params.get("by", "recipe"))
        _check(by)
        return await self._answered("Money", "/money", [by], ["money", "--by", by.chosen], request.query_params)

    async def plan(self, request: Request) -> Response:
        """What to begin by when, for so many kg."""
        query = request.query_params
        kg = Choice("kg", "How many kg", (), query.get("kg", ""))
        every = Choice("every", "How often: every", ("week", "two-weeks"), query.get("every", "week"))
        _check(every)
        if kg.chosen and not (re.fullmatch(r"\d{1,5}([.,]\d{1,3})?", kg.chosen, re.ASCII)):
            raise WrongRequest(f"{kg.chosen}: write how many kg, like 12 or 12.5.")
        words = ["plan", "--kg", kg.chosen.replace(",", "."), "--every", every.chosen]
        return await self._answered("Plan", "/plan", [kg, every], words if kg.chosen else [], query)

    async def _answered(
        self, title: str, here: str, choices: Sequence[Choice], words: Sequence[str], query: Mapping[str, str]
    ) -> Response:
        answer = Answer()
        if words and query:
            answer = await self.desk.apart(lambda: self.desk.commands.answer(words))
        made = screens.answer(
            self.desk.farm_name(), title, here, choices, answer.paragraphs, answer.tables, answer.notes, answer.pictures
        )
        html, policy = made.render()
        return HTMLResponse(html, 200, {"content-security-policy": policy})


def _check(*choices: Choice) -> None:
    for each in choices:
        if each.chosen not in each.of:
            raise WrongRequest(f"{each.chosen}: choose one of {', '.join(each.of)}.")
