"""The command that shows the farm in the browser: open."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.clock import now
from pipeline.cli.farm_access import open_the_farm, read_ledger
from pipeline.cli.options import FarmOption, spread
from pipeline.cli.show import GATHERING, Gathered, print_line
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.web.desk import Answer, Commands
    from reports.screens.pictures import Picture
    from schemas.finding import Finding


# One port from day to day: what a telephone keeps, it keeps for this very address. Our choice, no source.
PHONE_PORT = 7469


@dataclass(frozen=True)
class PhoneOptions:
    """How telephones reach this computer."""

    phone: Annotated[
        bool,
        typer.Option("--phone", help="Listen in your own network too: a telephone scans the code, weighs, and sends."),
    ] = False
    address: Annotated[
        str | None,
        typer.Option(
            "--address", metavar="ADDRESS", help="With --phone: this computer's address there. Default: found."
        ),
    ] = None
    cert: Annotated[
        Path | None, typer.Option("--cert", metavar="FILE", help="A certificate (PEM): what is sent is encrypted.")
    ] = None
    cert_key: Annotated[Path | None, typer.Option("--cert-key", metavar="FILE", help="The certificate's key.")] = None

    def found_address(self) -> str:
        """Return the address of this computer in its network. Raises WrongRequest where it is in none."""
        from pipeline.web.server import own_address

        found = self.address or own_address()
        if found is None:
            raise WrongRequest("--phone: this computer is in no network. Join your own, or name its --address.")
        return found


@spread
def open(
    port: Annotated[
        int | None,
        typer.Option(
            "--port", metavar="N", min=0, max=65535, help="The port. Default: one that is free; with --phone 7469."
        ),
    ] = None,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser.")] = True,
    *,
    phones: PhoneOptions,
    farm: FarmOption = None,
) -> None:
    """Show the farm in the browser: today, weighing, batches, what is to be mended, any month. For this machine alone,
    unless --phone lets telephones weigh too.
    """
    from pipeline.web.app import application
    from pipeline.web.certificate import read_certificate
    from pipeline.web.desk import Desk
    from pipeline.web.keys import Keys
    from pipeline.web.phones import Phones
    from pipeline.web.server import HOME, bound, host_of, serve

    tls, opened = read_certificate(phones.cert, phones.cert_key), open_the_farm(farm)
    addresses = [HOME, phones.found_address()] if phones.phone else [HOME]
    keys = Keys(opened.folder)
    sockets = bound(list(dict.fromkeys(addresses)), (PHONE_PORT if phones.phone else 0) if port is None else port)
    taken = sockets[0].getsockname()[1]
    scheme = "https" if tls else "http"
    outside = f"{scheme}://{host_of(scheme, addresses[-1], taken)}" if phones.phone else ""
    served = Phones(Desk(opened.folder, commands(opened.folder)), keys, outside, bool(tls))
    # Where the certificate holds; browsers warn elsewhere.
    names = [HOME, "localhost", *addresses[1:]]
    desk = next((each for each in names if tls is None or not tls.trouble_at(each)), HOME)
    home = f"{scheme}://{host_of(scheme, desk, taken)}/enter?key={keys.desk}"

    def started() -> None:
        print_line(f"The farm is open at {home}")
        if phones.phone:
            _show_code(served.invitation(), bool(tls))
        if tls and (trouble := tls.trouble_at(addresses[-1])):
            print_line(f"{tls.cert}: browsers will warn at {addresses[-1]}: {trouble}.")
        print_line(f"{'The first address is for' if phones.phone else 'For'} this machine alone. Ctrl-C ends it.")
        if browser:
            typer.launch(home)

    hosts = frozenset(host_of(scheme, name, taken) for name in names)
    serve(application(served, hosts), sockets, tls, started)
    print_line("Closed. What was entered is on disk.")


def _show_code(address: str, encrypted: bool) -> None:
    """Show the code that a telephone scans, and the caution."""
    import segno

    if sys.stdout.isatty():
        segno.make(address, micro=False).terminal(compact=True)
    print_line(f"A phone scans the code, or opens {address}")
    print_line("It is good once, for a quarter of an hour; the page Phones makes others, and shuts phones out.")
    if not encrypted:
        print_line("The network must be your own: who is in it can read what is sent.")


def commands(folder: Path) -> Commands:
    """Return what the pages have from the commands."""
    from pipeline.cli.failures import crash
    from pipeline.cli.report_command import gather, with_last_audit
    from pipeline.cli.sheet_command import shelves_now
    from pipeline.web.desk import Commands

    return Commands(
        now,
        read_ledger,
        lambda ledger, farm, first, as_of: with_last_audit(ledger, farm, gather(ledger, farm, first, as_of)),
        _findings,
        shelves_now,
        partial(_answer, folder),
        hearing,
        crash,
    )


def _findings(farm: Farm, as_of: date) -> Sequence[Finding]:
    from pipeline.cli.check_command import found_now

    return found_now(farm, as_of, False)[0]


def _answer(folder: Path, words: Sequence[str]) -> Answer:
    """Return what a command of this farm would show: asked in a process of its own, for it may take long and much."""
    from pipeline.cli.compare_pictures import answer_with_pictures
    from pipeline.cli.farm_answers import answers_of
    from pipeline.cli.together import FAILED
    from pipeline.web.desk import Answer

    command = [*words, "--farm", str(folder.resolve())]
    pictures: Sequence[Picture] = ()
    if words[0] == "compare":
        found, pictures = answer_with_pictures(command)
    else:
        (found,) = answers_of({"": command}).values()
    if found.code >= FAILED:
        return Answer(notes=found.gathered.notes)
    tables = [
        (
            ["\n".join(column.heading).replace("-\n", "").replace("\n", " ") for column in table.columns.values()],
            [list(row) for row in zip(*map(table.cells, table.columns), strict=True)],
        )
        for table in found.gathered.tables
    ]
    return Answer(found.gathered.paragraphs, tables, found.gathered.notes, pictures)


@contextmanager
def hearing() -> Iterator[list[str]]:
    """Gather the messages that a command would print, for the page to show."""
    gathered = Gathered()
    GATHERING.into = gathered
    try:
        yield gathered.notes
    finally:
        GATHERING.into = None
