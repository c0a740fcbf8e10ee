"""The session of weigh: it reads lines from a terminal, a scanner or a pipe until they end."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

import typer

from pipeline.cli.cell_texts import printable
from pipeline.cli.clock import moment, now
from pipeline.cli.prompts import picking_day
from pipeline.cli.show import notify, print_line
from pipeline.cli.streams import refuse_no_text
from pipeline.logbook.amounts import written
from pipeline.logbook.book import Book, Doubt, doubts_text
from pipeline.logbook.parsing import default_units, parse_name
from pipeline.logbook.session import HELP, SessionDefaults, SessionEntry, SessionLine, Tally, read_line
from pipeline.logbook.text import short_entry_text
from pipeline.logbook.undo import take_back
from pipeline.logbook.weigh import enter
from schemas.finding import CannotWork, WrongRequest

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.logbook.weigh import Logged


class _NotLogged(WrongRequest):
    """The question was not answered with yes. `line`: what was typed instead, if anything."""

    def __init__(self, line: str) -> None:
        super().__init__("Not logged.")
        self.line = line


class _Screen:
    """Where lines come from: a terminal, which is asked, or a pipe, which is read."""

    def __init__(self) -> None:
        self.asks = sys.stdin.isatty()
        self._typed_instead = ""
        self.number = 0

    def line(self, prompt: str) -> str | None:
        """Return the next line; None at the end."""
        if self._typed_instead:
            text, self._typed_instead = self._typed_instead, ""
            return text
        self.number += 1
        if self.asks:
            typer.echo(printable(prompt), nl=False, err=True)
        try:
            text = sys.stdin.readline()
        except OSError:
            # The terminal is gone.
            return None
        return refuse_no_text("", text.rstrip("\r\n")) if text else None

    def confirm(self, doubts: Sequence[Doubt]) -> None:
        """Ask whether to log it all the same. What is typed instead of an answer is the next line: scanners type."""
        text = doubts_text(doubts)
        if not self.asks:
            raise WrongRequest(f"{text} If it is right, end the line with ! or say --insist.")
        answer = self.line(f"{text[0].upper()}{text[1:]} Log it all the same? [y/N] ") or ""
        if answer.strip().lower() in ("y", "yes"):
            return
        if answer.strip().lower() not in ("", "n", "no"):
            self._typed_instead = answer
        raise _NotLogged(answer)


def session(farm: Farm, on: str | None, tare: str | None, picker: str | None, insist: bool) -> None:
    """Log line after line until the lines end, and tell what that came to."""
    screen, book = _Screen(), Book(farm)
    given = SessionDefaults(picking_day(on), tare, parse_name("--picker", picker))
    if screen.asks and on is None:
        day = _ask_day(screen, given.day)
        if day is None:
            typer.echo(Tally().summary)
            return
        given = replace(given, day=day)
    book.scan()
    unit = default_units(book, given.day)["fresh_weight_g"]
    if screen.asks:
        notify(HELP.format(unit=unit, mark=farm.conventions.cell_format.decimal_mark))
    tally = _lines(screen, book, given, insist)
    print_line(tally.summary)
    if tally.refused:
        shown = ", ".join(map(str, tally.refused))
        raise WrongRequest(f"{len(tally.refused)} of the lines were not logged: {shown}.")


def _ask_day(screen: _Screen, today: date) -> date | None:
    """Return the day that it is about; None where the session is ended instead."""
    while True:
        try:
            typed = screen.line(f"Day of picking [{today}]: ")
            return None if typed is None else picking_day(typed.strip() or None, "day")
        except KeyboardInterrupt:
            return None
        except WrongRequest as problem:
            notify(str(problem))


@dataclass(frozen=True)
class _State:
    """The state of a session: what holds, what it logged, and the containers that are still to be asked for."""

    given: SessionDefaults
    tally: Tally
    order: tuple[str, ...]


def _lines(screen: _Screen, book: Book, given: SessionDefaults, insist: bool) -> Tally:
    state = _State(given, Tally(decimal_mark=book.farm.conventions.cell_format.decimal_mark), ())
    if screen.asks:
        state = replace(state, order=tuple(each.container for each in book.scan().running(given.day)))
    while True:
        given = replace(state.given, next_up=state.order[0] if state.order else "")
        try:
            text = screen.line(f"{given.waiting}: weight? " if given.waiting else f"{given.next_up} > ")
            line = SessionLine("end") if text is None else read_line(book, text, given)
            if line.kind == "end":
                return state.tally
            # What was logged is counted before it is shown, so that an interruption finds it there.
            state, shown = _done(screen, book, replace(state, given=given), line, insist)
            if shown:
                print_line(shown)
        except KeyboardInterrupt:
            return state.tally
        except _NotLogged:
            notify("Not logged.")
            state = replace(state, given=replace(given, waiting=""))
        except CannotWork as problem:
            notify(f"Not logged: {problem}" if screen.asks else f"line {screen.number}: not logged: {problem}")
            if not screen.asks:
                state = replace(state, tally=state.tally.refusing(screen.number))


def _done(screen: _Screen, book: Book, state: _State, line: SessionLine, insist: bool) -> tuple[_State, str]:
    """Do what the line says, and return what the screen shows of it."""
    given = state.given
    if line.picking is not None:
        return _logged(state, enter(book, line.picking, insist or line.insist, screen.confirm, now), book)
    if line.kind == "undo":
        return _taken_back(book, state)
    if line.kind == "day":
        given = replace(given, day=picking_day(line.day, "on"))
        return replace(state, given=given), f"From here on, {given.day}."
    if line.kind == "container":
        return replace(state, given=replace(given, waiting=line.container)), ""
    if line.kind == "help":
        unit = default_units(book, given.day)["fresh_weight_g"]
        notify(HELP.format(unit=unit, mark=book.farm.conventions.cell_format.decimal_mark))
    elif given.waiting:
        state = replace(state, given=replace(given, waiting=""))
    else:
        # Enter alone goes on along the shelves.
        state = replace(state, order=state.order[1:])
    return state, ""


def _logged(state: _State, logged: Logged, book: Book) -> tuple[_State, str]:
    for each in (*(() if state.tally.entries else logged.plan.messages), *logged.missing):
        notify(each)
    assignment = logged.plan.assignment
    entry = SessionEntry(logged.entry, str(assignment), logged.plan.picking.weight.value, logged.file)
    tally = replace(state.tally, entries=(*state.tally.entries, entry))
    at = state.order.index(assignment.container) + 1 if assignment.container in state.order else 0
    state = _State(replace(state.given, waiting=""), tally, state.order[at:])
    return state, f"{short_entry_text(book.farm, logged.plan)}. {tally.so_far}."


def _taken_back(book: Book, state: _State) -> tuple[_State, str]:
    if not state.tally.entries:
        raise WrongRequest("nothing of this session is left to undo; gillbook weigh --undo takes back earlier entries.")
    *before, last = state.tally.entries
    take_back(book.farm, "weigh", moment(), last.entry)
    cell_format = book.farm.conventions.cell_format
    tally = replace(state.tally, entries=tuple(before))
    shown = f"Taken back: {last.assignment}, {written(last.weight_g, cell_format)} g. {tally.so_far}."
    return replace(state, tally=tally), shown
