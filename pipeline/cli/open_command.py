"""The command that shows the farm in the browser: open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.clock import now
from pipeline.cli.farm_access import open_the_farm, read_ledger
from pipeline.cli.options import FarmOption
from pipeline.cli.show import GATHERING, Gathered, print_line

if TYPE_CHECKING:
    from pipeline.farm.folder import Farm
    from pipeline.web.desk import Commands
    from schemas.finding import Finding


def open(
    port: Annotated[
        int, typer.Option("--port", metavar="N", min=0, max=65535, help="The port. Default: one that is free.")
    ] = 0,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser.")] = True,
    farm: FarmOption = None,
) -> None:
    """Show the farm in the browser: today, weighing, batches, what is to be mended, any month. For this machine alone,
    and nothing leaves it.
    """
    from pipeline.web.app import application
    from pipeline.web.desk import Desk
    from pipeline.web.keys import Keys
    from pipeline.web.server import HOME, bound, serve

    opened = open_the_farm(farm)
    keys, sockets = Keys(opened.folder), bound([HOME], port)
    taken = sockets[0].getsockname()[1]
    hosts = frozenset({f"{HOME}:{taken}", f"localhost:{taken}"})
    address = f"http://{HOME}:{taken}/enter?key={keys.desk}"

    def started() -> None:
        print_line(f"The farm is open at {address}")
        print_line("For this machine alone. Ctrl-C ends it.")
        if browser:
            typer.launch(address)

    serve(application(Desk(opened.folder, commands()), keys, hosts), sockets, None, started)
    print_line("Closed. What was entered is on disk.")


def commands() -> Commands:
    """Return what the pages have from the commands."""
    from pipeline.cli.failures import crash
    from pipeline.cli.report_command import gather, with_last_audit
    from pipeline.web.desk import Commands

    return Commands(
        now,
        read_ledger,
        lambda ledger, farm, first, as_of: with_last_audit(ledger, farm, gather(ledger, farm, first, as_of)),
        _findings,
        hearing,
        crash,
    )


def _findings(farm: Farm, as_of: date) -> Sequence[Finding]:
    from pipeline.cli.check_command import found_now

    return found_now(farm, as_of, False)[0]


@contextmanager
def hearing() -> Iterator[list[str]]:
    """Gather the messages that a command would print, for the page to show."""
    gathered = Gathered()
    GATHERING.into = gathered
    try:
        yield gathered.notes
    finally:
        GATHERING.into = None
