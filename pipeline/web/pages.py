"""The pages of the desk: each asks what its command asks, and hands the answer to a screen of reports."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from pipeline.logbook.typed_days import typed_month
from pipeline.web import forms, sale_forms
from pipeline.web.desk import Desk, Done
from pipeline.web.forms import Doubtful, Form, Moment
from reports.screens import sales, screen
from reports.screens.promised import Promised
from reports.screens.sales import Proposed
from reports.screens.screen import Screen
from schemas.finding import CannotWork, DataNeedAttention, Finding, WrongRequest

if TYPE_CHECKING:
    from datetime import date

    from pipeline.farm.folder import Farm
    from pipeline.models.today import TodayAction
    from pipeline.planning.promised_soon import PromisedSoon

# A form has few fields: our choice, no source.
MOST_FIELDS = 200
WRITES: dict[str, Callable[[Farm, Form, Moment], Done]] = {
    "weigh": forms.weigh,
    "note": forms.note,
    "fill": forms.fill,
    "batch": forms.batch,
    "sell": sale_forms.sell,
    "promise": sale_forms.promise,
    "undo": forms.undo,
    "edit": forms.edit,
}
# Where one comes back to after a form.
BACK = ("/", "/weigh", "/sell", "/batches", "/mend")


@dataclass(frozen=True)
class Pages:
    """The pages of one desk."""

    desk: Desk

    async def today(self, _: Request) -> Response:
        """What is to be done, each line with what writes it."""

        def read() -> tuple[str, list[TodayAction], PromisedSoon | None, str]:
            from pipeline.models.today import today as actions
            from pipeline.models.view import Query
            from pipeline.planning.promised_soon import promised_soon

            farm, day = self._farm(), self.desk.today()
            with self.desk.commands.read_ledger(farm, "today") as ledger:
                rows, soon = actions(ledger.view(Query(day))), promised_soon(ledger, day)
            return _name(farm), rows, soon, typed_in(farm, day)

        (name, rows, soon, unit), notes = await self.desk.reading(read)
        promised = None
        if soon:
            due = [{**vars(each), "promised_kg": float(each.weight_g) / 1000} for each in soon.due]
            promised = Promised(due, soon.check.chances, soon.check.why_not or "", soon.check.unknown_strains)
        shown = [vars(each) for each in rows]
        return self._shown(screen.today(name, self.desk.today(), shown, promised, unit, notes))

    async def sell(self, request: Request) -> Response:
        """The forms that log what left and what is promised."""

        def read() -> tuple[str, Proposed]:
            from pipeline.farm.settings import text
            from pipeline.models.sale_words import sale_words

            farm = self._farm()
            with self.desk.commands.read_ledger(farm, "sell") as ledger:
                known = sale_words(ledger)
            buyers = [name for name, _ in known.buyers]
            return _name(farm), Proposed(text(farm.settings, "currency") or "", buyers, known.strains, known.batches)

        (name, proposed), notes = await self.desk.reading(read)
        return self._shown(sales.sell(name, self.desk.today(), proposed, dict(request.query_params), notes))

    async def weigh(self, request: Request) -> Response:
        """The form at the scale."""
        day = self.desk.today()
        unit, _ = await self.desk.reading(lambda: typed_in(self._farm(), day))
        return self._shown(screen.weigh(self.desk.farm_name(), day, unit, dict(request.query_params)))

    async def batches(self, _: Request) -> Response:
        """What is running, and the forms that note and fill."""

        def read() -> tuple[str, list[dict[str, object]]]:
            from pipeline.models import measures
            from pipeline.models.view import Query

            farm = self._farm()
            with self.desk.commands.read_ledger(farm, "shelves") as ledger:
                return _name(farm), [
                    dict(each) for each in measures.running_units(ledger.view(Query(self.desk.today())))
                ]

        (name, rows), notes = await self.desk.reading(read)
        return self._shown(screen.batches(name, self.desk.today(), rows, notes))

    async def mend(self, _: Request) -> Response:
        """Every finding, with the row that it is about."""

        def read() -> tuple[str, list[Finding]]:
            farm = self._farm()
            return _name(farm), list(self.desk.commands.findings(farm, self.desk.today()))

        (name, found), notes = await self.desk.reading(read)
        return self._shown(screen.mend(name, found, notes))

    async def row(self, request: Request) -> Response:
        """One row, to be corrected."""
        query = dict(request.query_params)

        def read() -> tuple[str, str, int, dict[str, str], str]:
            farm = self._farm()
            _, found = forms.row_meant(farm, query)
            cells = {column: found.cell(column) for column in found.table.at}
            return _name(farm), found.source.name, found.row, cells, forms.row_text(found)

        (name, file, row, cells, was), notes = await self.desk.reading(read)
        return self._shown(screen.row(name, file, row, cells, was, notes))

    async def months(self, _: Request) -> Response:
        """Which month's report is wanted."""
        return self._shown(screen.months(self.desk.farm_name(), self.desk.today()))

    async def month(self, request: Request) -> Response:
        """The report of a month, as `gillbook report` writes it."""
        first = typed_month("", request.query_params.get("month", ""))
        today = self.desk.today()
        if first > today:
            raise WrongRequest(f"{first:%Y-%m}: that month has not begun.")

        def read() -> str:
            from pipeline.models.measures import last_day
            from reports.page import render

            farm = self._farm()
            with self.desk.commands.read_ledger(farm, "measures") as ledger:
                gathered = self.desk.commands.gather(ledger, farm, first, min(last_day(first), today))
            return render(gathered, False)

        page, _ = await self.desk.reading(read)
        # The page carries its own policy, by the hashes of its scripts.
        return HTMLResponse(page, headers={"content-security-policy": "frame-ancestors 'none'"})

    async def write(self, request: Request) -> Response:
        """Write what a form says; then back to where it was sent from, which says what was written."""
        form = await read_form(request)
        kind, back = request.path_params["kind"], form.get("back", "/")
        back = back if back in BACK else "/"
        if kind not in WRITES:
            raise WrongRequest("There is no such form.")
        try:
            done = await self.desk.writing(lambda farm: WRITES[kind](farm, form, Moment(self.desk.commands.clock())))
        except Doubtful as doubt:
            again = {name: value for name, value in form.items() if name != "insist"}
            return self._shown(screen.ask(self.desk.farm_name(), str(doubt), kind, again, back))
        self.desk.done = done
        return RedirectResponse(back, 303)

    def _shown(self, made: Screen) -> Response:
        done = self.desk.take_done()
        undo = (done.command, done.entry) if done and done.command else None
        html, policy = made.render(done.sentences if done else (), undo)
        return HTMLResponse(html, made.status, {"content-security-policy": policy})

    def _farm(self) -> Farm:
        from pipeline.farm.folder import open_farm

        return open_farm(self.desk.folder)

    def failure(self, problem: Exception) -> Response:
        """What is shown of an error: its sentences, never a traceback."""
        if isinstance(problem, DataNeedAttention):
            status, said = 409, [each.sentence() for each in problem.findings]
        elif isinstance(problem, WrongRequest):
            status, said = 400, [str(problem)]
        elif isinstance(problem, CannotWork):
            status, said = 503, [str(problem)]
        else:
            status, said = 500, [self.desk.commands.crashed(problem)]
        html, policy = screen.failure(said, status).render()
        return HTMLResponse(html, status, {"content-security-policy": policy})


Page = Callable[[Request], Awaitable[Response]]


async def read_form(request: Request) -> dict[str, str]:
    """Return the fields of a form. Raises WrongRequest for what is none, and for a field that stands twice."""
    if request.headers.get("content-type", "").split(";")[0].strip() != "application/x-www-form-urlencoded":
        raise WrongRequest("That is no form of this page.")
    try:
        pairs = parse_qsl(
            (await request.body()).decode("utf-8"),
            keep_blank_values=True,
            strict_parsing=False,
            encoding="utf-8",
            errors="strict",
            max_num_fields=MOST_FIELDS,
        )
    except ValueError as problem:
        raise WrongRequest("What was sent is no text (UTF-8), or too many fields. Nothing was written.") from problem
    form = dict(pairs)
    if len(form) < len(pairs) or any(letter in value for value in form.values() for letter in "\0\r\n"):
        raise WrongRequest("What was sent is no form of this page. Nothing was written.")
    return form


def typed_in(farm: Farm, day: date) -> str:
    """Return the unit of a picking's weight that is typed without one: that of the column it goes into."""
    from pipeline.logbook.book import Book
    from pipeline.logbook.parsing import default_units

    book = Book(farm)
    book.scan()
    return default_units(book, day)["fresh_weight_g"]


def _name(farm: Farm) -> str:
    from pipeline.farm.settings import text

    return text(farm.settings, "name") or ""
