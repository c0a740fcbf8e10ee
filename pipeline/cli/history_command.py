"""The commands about what was loaded: history, forget."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.cli.options import FarmOption, JsonOption, refreshed, tell
from pipeline.cli.options import the_farm as open_the_farm
from schemas.finding import OutOfReach

if TYPE_CHECKING:
    from collections.abc import Mapping


def history(json: JsonOption = False, farm: FarmOption = None) -> None:
    """Tell what was loaded when, file by file, and what changed since the time before. The newest is last."""
    from pipeline.cli.show import Column, as_json, as_table
    from pipeline.ledger.history import history_path, read_history
    from schemas.contract import contract

    opened = open_the_farm(farm)
    refreshed(opened)
    where = history_path(opened).relative_to(opened.folder).as_posix()
    try:
        found = read_history(opened)
    except OSError as problem:
        raise OutOfReach(f"{where} cannot be read ({problem.strerror}). Mend its rights.") from problem
    for line in found.torn:
        tell(f"{where}, line {line}: cannot be read and is left out. It was half written when the machine stopped.")
    if json:
        as_json([{name: each.get(name) for name in contract("history").names} for each in found.records])
        return
    if not found.records:
        tell("Nothing was loaded yet.")
        return
    columns = [Column("time", "when", whole=True), Column("file", "file"), Column("event", "what", whole=True)]
    counts = {"loaded": "loaded", "set_aside": "aside", "rows_added": "came", "rows_gone": "went"}
    columns += [Column(key, heading, 0) for key, heading in counts.items()]
    as_table([_shown(each) for each in found.records], columns)
    tell("aside: set aside or waiting. came, went: rows since the time before; one that was changed did both.")
    tell("--json has more: content hashes, and rows that moved, were freed or held.")


def _shown(each: Mapping[str, Any]) -> dict[str, Any]:
    """How does a record look in the plain table?"""
    table, file = each["table_name"], each["file"]
    own = file.startswith((f"{table}.", f"{table}/"))
    return {
        **each,
        "time": each["time"][:16].replace("T", " "),
        "file": file if own else f"{file} ({table})",
        "set_aside": each["set_aside"] + each["waiting"],
    }


def forget(
    file: Annotated[
        str, typer.Argument(metavar="FILE", help="The file, as its path within the farm folder: harvests/2026-05.csv.")
    ],
    farm: FarmOption = None,
) -> None:
    """Give up a file that is gone or cannot be read. Its last good rows go; its copy stays in kept/forgotten/."""
    from pipeline.cli.show import say
    from pipeline.ledger.forget import forget as give_up

    opened = open_the_farm(farm)
    done = give_up(opened, file, datetime.now().astimezone().isoformat(timespec="seconds"))
    copies = " and ".join(done.copies)
    say(
        f"{done.file} is given up.",
        f"The copy is now {copies}; to undo this, copy it back." if copies else "",
        "The file itself stays where it is, and is passed over until it can be read." if done.still_there else "",
    )
    refreshed(opened, strict=True)
