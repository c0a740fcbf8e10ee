"""The commands about what was loaded: history, forget."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.clock import moment
from pipeline.cli.farm_access import current_ledger, open_the_farm, refreshed
from pipeline.cli.options import FarmOption, JsonOption
from pipeline.cli.show import notify
from schemas.finding import OutOfReach

if TYPE_CHECKING:
    from pipeline.cli.show import Column
from schemas.result_rows import Row, number_of, text_of


def history(json: JsonOption = False, farm: FarmOption = None) -> None:
    """Tell what was loaded when, file by file, and what changed since the time before. The newest is last."""
    from pipeline.cli.show import print_records
    from pipeline.ledger.history import history_path, read_history
    from schemas.contract import contract

    opened = open_the_farm(farm)
    with current_ledger(opened):
        pass  # what changed is noted first
    where = history_path(opened).relative_to(opened.folder).as_posix()
    try:
        found = read_history(opened)
    except OSError as problem:
        raise OutOfReach(f"{where} cannot be read ({problem.strerror}). Mend its rights.") from problem
    for line in found.torn:
        notify(
            f"{where}, line {line}: cannot be read and is left out. It may have been half written when the machine "
            "stopped, or changed since."
        )
    records = found.records
    shown = [{name: each.get(name) for name in contract("history").names} if json else _shown(each) for each in records]
    if print_records(shown, _columns(), json, "Nothing was loaded yet."):
        notify("aside: set aside or waiting. came, went: rows since the time before; one that was changed did both.")
        notify("--json has more: content hashes, and rows that moved, were freed or held.")


def _columns() -> list[Column]:
    from pipeline.cli.show import Column

    columns = [Column("time", "when", whole=True), Column("file", "file"), Column("event", "what", whole=True)]
    counts = {"loaded": "loaded", "set_aside": "aside", "rows_added": "came", "rows_gone": "went"}
    return [*columns, *(Column(key, heading, 0) for key, heading in counts.items())]


def _shown(each: Row) -> Row:
    """Return a record as the plain table shows it."""
    table, file = text_of(each, "table_name"), text_of(each, "file")
    own = file.startswith((f"{table}.", f"{table}/"))
    return {
        **each,
        "time": text_of(each, "time")[:16].replace("T", " "),
        "file": file if own else f"{file} ({table})",
        "set_aside": number_of(each, "set_aside") + number_of(each, "waiting"),
    }


def forget(
    file: Annotated[
        str, typer.Argument(metavar="FILE", help="The file, as its path within the farm folder: harvests/2026-05.csv.")
    ],
    farm: FarmOption = None,
) -> None:
    """Give up a file that is gone or cannot be read. Its last good rows go; its copy stays in kept/forgotten/."""
    from pipeline.cli.show import print_sentences
    from pipeline.ledger.forget import forget as give_up

    opened = open_the_farm(farm)
    done = give_up(opened, file, moment())
    copies = " and ".join(done.copies)
    print_sentences(
        f"{done.file} is given up.",
        f"The copy is now {copies}; to undo this, copy it back." if copies else "",
        "The file itself stays where it is, and is passed over until it can be read." if done.still_there else "",
    )
    refreshed(opened, strict=True)
