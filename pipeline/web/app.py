"""The application: which address is which page, and who may ask for it."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from pipeline.web.answers import AnsweringPages
from pipeline.web.guard import Guard
from pipeline.web.keys import Keys
from pipeline.web.pages import Page, Pages
from pipeline.web.phones import Phones

DESK_COOKIE = "gillbook_desk"
KEY_NEEDED = (
    "This page is for the browser that gillbook opened. Open it by the whole address that gillbook open shows, "
    "with its key."
)


@dataclass(frozen=True)
class Door:
    """Lets the browser in that brings the key of this run, by a cookie that no other site's page can send along."""

    keys: Keys
    secure: bool = False

    async def enter(self, request: Request) -> Response:
        """Take the key out of the address and put it into a cookie."""
        key = request.query_params.get("key", "")
        if not self.keys.is_desk(key):
            return PlainTextResponse(KEY_NEEDED, 403)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(DESK_COOKIE, key, httponly=True, samesite="strict", secure=self.secure, path="/")
        return answer

    def guarded(self, page: Page) -> Page:
        """The page, for the browser of the desk alone."""

        async def for_desk(request: Request) -> Response:
            if not self.keys.is_desk(request.cookies.get(DESK_COOKIE, "")):
                return PlainTextResponse(KEY_NEEDED, 403)
            return await page(request)

        return for_desk


def application(phones: Phones, hosts: frozenset[str]) -> Guard:
    """Return the application that serves this desk and its telephones at these hosts (name and port)."""
    keys, secure = phones.keys, phones.secure
    answers = AnsweringPages(phones.desk)
    pages, door = Pages(phones.desk), Door(keys, secure)
    shown = {
        "/": pages.today,
        "/weigh": pages.weigh,
        "/sell": pages.sell,
        "/batches": pages.batches,
        "/mend": pages.mend,
        "/mend/row": pages.row,
        "/months": pages.months,
        "/month": pages.month,
        "/phones": phones.devices,
        "/compare": answers.compare,
        "/money": answers.money,
        "/plan": answers.plan,
    }
    routes = [Route(path, answering(pages, door.guarded(page)), methods=["GET"]) for path, page in shown.items()]
    routes.append(Route("/write/{kind}", answering(pages, door.guarded(pages.write)), methods=["POST"]))
    routes.append(Route("/enter", door.enter, methods=["GET"]))
    routes.append(Route("/phones", answering(pages, door.guarded(phones.shut_out)), methods=["POST"]))
    routes.append(Route("/join", answering(pages, phones.join), methods=["GET"]))
    routes.append(Route("/join", answering(pages, phones.let_in), methods=["POST"]))
    routes.append(Route("/phone", answering(pages, phones.guarded(phones.weigh)), methods=["GET"]))
    routes.append(Route("/entries", answering(pages, phones.guarded(phones.entries)), methods=["POST"]))
    app = Starlette(routes=routes, exception_handlers={HTTPException: _nothing_there})
    return Guard(app, hosts, "https" if secure else "http")


def answering(pages: Pages, page: Page) -> Page:
    """The page; of an error its sentences."""

    async def answered(request: Request) -> Response:
        try:
            return await page(request)
        except Exception as problem:
            return pages.failure(problem)

    return answered


async def _nothing_there(_: Request, problem: Exception) -> Response:
    status = problem.status_code if isinstance(problem, HTTPException) else 500
    said = {404: "There is no such page.", 405: "That cannot be asked here."}
    return PlainTextResponse(said.get(status, "That cannot be answered."), status)
