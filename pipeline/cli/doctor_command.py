"""The command for one who helps, or wants help: doctor."""

from __future__ import annotations

from pathlib import Path

from pipeline.cli.clock import now
from pipeline.cli.farm_access import farm_folder
from pipeline.cli.options import FarmOption, JsonOption
from pipeline.cli.show import notify, print_json, print_line
from schemas.finding import WrongRequest


def doctor(json: JsonOption = False, farm: FarmOption = None) -> None:
    """Tell in ten lines what state the farm is in, and what to send to someone who helps. Nothing is written."""
    from pipeline.doctor.state import farm_lines, program_lines

    moment = now()
    try:
        folder = farm_folder(farm)
        lines, problem = farm_lines(folder, moment), None
    except WrongRequest as none_here:
        folder, lines, problem = Path(), program_lines(moment), none_here
    if json:
        print_json([vars(each) for each in lines])
    else:
        for each in lines:
            print_line(f"{each.about:9} {each.text}", hanging=" " * 10)
    if problem is not None:
        raise problem
    _say_what_to_send(folder)


def _say_what_to_send(folder: Path) -> None:
    crash = folder / "out" / "crash.txt"
    more = " Send out/crash.txt too; look it through first, it names folders." if crash.is_file() else ""
    notify(
        "To someone who helps, send these lines and the command with what it said. They name no batch, container, "
        f"person, weight, note or folder.{more} Your files, kept/ and the ledger stay with you."
    )
