"""The command that takes in what telephones exported: take-in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.clock import now
from pipeline.cli.farm_access import open_the_farm, refreshed
from pipeline.cli.options import FarmOption
from pipeline.cli.prompts import ask_on_terminal
from pipeline.cli.show import notify, print_line
from schemas.finding import WrongRequest
from schemas.phrases import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.logbook.book import Doubt
    from pipeline.logbook.take_in import TakenIn


def take_in(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="What the weigh page exported.")],
    insist: Annotated[bool, typer.Option("--insist", help="Log it although something about it is doubtful.")] = False,
    farm: FarmOption = None,
) -> None:
    """Take in what the weigh page exported: each entry once; what it takes back is taken out again.

    Where two telephones say the same of one container and day, or of one buyer, it is asked; of a sale also what sell
    asks.
    """
    from pipeline.logbook.book import Book
    from pipeline.logbook.take_in import Intake, read_export

    opened = open_the_farm(farm)
    exports = [(path, read_export(opened, path)) for path in files]

    def confirm(doubts: Sequence[Doubt]) -> None:
        if not insist:
            ask_on_terminal(doubts)

    done = [(path, Intake(Book(opened)).take_in(sent, confirm, now)) for path, sent in exports]
    for path, each in done:
        print_line(f"{path.name}: {_summary(each)}.")
        for row, why in each.left:
            notify(f"{path.name}, row {row}: left. {why}")
    refreshed(opened)
    if left := sum(len(each.left) for _, each in done):
        raise WrongRequest(f"{counted(left, 'row')} left: in no figure. Answer on a terminal, or say --insist.")


def _summary(each: TakenIn) -> str:
    parts = [f"{counted(each.logged, 'entry', 'entries')} logged"]
    parts += [f"{each.known} known already"] if each.known else []
    parts += [f"{each.taken_back} taken back"] if each.taken_back else []
    return ", ".join(parts)
