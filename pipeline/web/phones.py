"""Telephones: let in by an invitation that is good once, each gets the weigh page, and sends entries home."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response

from pipeline.web.desk import Desk, Done
from pipeline.web.keys import DEVICE_DAYS, Device, Keys
from pipeline.web.pages import Page, read_form
from reports.screens import phones as screens
from schemas.finding import CannotWork, WrongRequest

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.logbook.take_in import Intake

PHONE_COOKIE = "gillbook_phone"
# A telephone sends smaller portions: our choice, no source.
MOST_ENTRIES = 200
NOT_LET_IN = "This phone is not let in. Scan the code that gillbook open --phone shows, once more."


@dataclass
class Phones:
    """What telephones may ask, and the page of the desk that invites them and shuts them out. `address`: where they
    find this computer; "" where it listens to itself alone.
    """

    desk: Desk
    keys: Keys
    address: str = ""
    secure: bool = False
    # Of the thread that writes.
    intake: Intake | None = None

    def invitation(self) -> str:
        """Return a new address to be scanned."""
        return f"{self.address}/join?token={self.keys.invite(self.desk.commands.clock())}"

    async def join(self, request: Request) -> Response:
        """Ask whether to let this telephone in: following a link alone, as a preview does, uses nothing up."""
        html, policy = screens.join(request.query_params.get("token", "")).render()
        return HTMLResponse(html, headers={"content-security-policy": policy})

    async def let_in(self, request: Request) -> Response:
        """Let a telephone in that brings an invitation, which is used up."""
        form = await read_form(request)
        now, before = self.desk.commands.clock(), request.cookies.get(PHONE_COOKIE, "")
        key = self.keys.let_in(form.get("token", ""), now, before) if self.address else None
        if key is None:
            return PlainTextResponse("This code was used already, or is too old. Make a new one on the computer.", 403)
        answer = RedirectResponse("/phone", 303)
        days = DEVICE_DAYS * 24 * 3600
        answer.set_cookie(PHONE_COOKIE, key, days, httponly=True, samesite="strict", secure=self.secure, path="/")
        return answer

    def guarded(self, page: Page) -> Page:
        """The page, for telephones that are let in."""

        async def for_phone(request: Request) -> Response:
            if self._device(request) is None:
                return PlainTextResponse(NOT_LET_IN, 403)
            return await page(request)

        return for_phone

    def _device(self, request: Request) -> Device | None:
        key = request.cookies.get(PHONE_COOKIE, "")
        return self.keys.device(key, self.desk.commands.clock()) if self.address else None

    async def weigh(self, _: Request) -> Response:
        """The weigh page, which sends what it logs."""

        def read() -> str:
            from pipeline.farm.folder import open_farm
            from reports.sheets.weigh_page import render_weigh_page

            farm = open_farm(self.desk.folder)
            with self.desk.commands.read_ledger(farm, "shelves") as ledger:
                return render_weigh_page(self.desk.commands.shelves(farm, ledger, self.desk.today()), sends=True)

        page, _notes = await self.desk.reading(read)
        return HTMLResponse(page, headers={"content-security-policy": "frame-ancestors 'none'"})

    async def entries(self, request: Request) -> Response:
        """Write what a telephone sent, each entry once; tell which are on disk, and which cannot be taken and why."""
        if request.headers.get("content-type", "").split(";")[0].strip() != "text/csv":
            return JSONResponse({"error": "Entries are sent as text/csv."}, 415)
        body, by = await request.body(), self._device(request)
        if by is None:
            return PlainTextResponse(NOT_LET_IN, 403)
        try:
            home, left = await self.desk.writing(lambda farm: self._take_in(farm, body, by.name))
        except WrongRequest as problem:
            return JSONResponse({"error": str(problem)}, 400)
        except CannotWork as problem:
            return JSONResponse({"error": str(problem)}, 503)
        return JSONResponse({"home": home, "left": left})

    def _take_in(self, farm: Farm, body: bytes, by: str) -> tuple[list[str], dict[str, str]]:
        from pipeline.logbook.book import Book
        from pipeline.logbook.take_in import Intake, rows_of_export

        try:
            sent = rows_of_export(farm, body.decode("utf-8"), "What was sent")
        except UnicodeDecodeError as problem:
            raise WrongRequest("What was sent is no text (UTF-8).") from problem
        if len(sent) > MOST_ENTRIES or not all(is_id(each.cells.get("entry", "")) for each in sent):
            raise WrongRequest("What was sent is none of the weigh page's entries.")
        # None is asked, for nobody at the scale can tell: the ledger finds what two phones say alike, and Mend asks.
        self.intake = (self.intake or Intake(Book(farm))).of(farm)
        left = dict(self.intake.take_in(sent, None, self.desk.commands.clock, by).left)
        home = [each.cells["entry"] for each in sent if each.row not in left]
        return home, {each.cells["entry"]: left[each.row] for each in sent if each.row in left}

    async def devices(self, _: Request) -> Response:
        """The page of the desk: a code to scan, and the telephones that are let in."""
        known = [
            (each.name, each.since[:10], each.until[:10]) for each in self.keys.devices(self.desk.commands.clock())
        ]
        address = self.invitation() if self.address else ""
        done = self.desk.take_done()
        html, policy = screens.devices(self.desk.farm_name(), address, known).render(done.sentences if done else ())
        return HTMLResponse(html, headers={"content-security-policy": policy})

    async def shut_out(self, request: Request) -> Response:
        """Let a telephone in no more."""
        name = (await read_form(request)).get("name", "")
        if not self.keys.shut_out(name, self.desk.commands.clock()):
            raise WrongRequest(f"{name}: no such phone is let in.")
        self.desk.done = Done((f"{name} is let in no more. What it did not send yet stays on it; its export works.",))
        return RedirectResponse("/phones", 303)


def is_id(text: str) -> bool:
    """Whether this is an id like those that the weigh page makes: letters and digits, a letter first."""
    return 3 <= len(text) <= 40 and text.isascii() and text.isalnum() and text[0].isalpha()
