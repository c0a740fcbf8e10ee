"""What the process that reads workbooks does: it answers one request after another until nobody asks.

It is given the number of bytes of memory that it may take. It writes nothing but its answers.
"""

from __future__ import annotations

import json
import os
import signal
import sys
from dataclasses import asdict
from pathlib import Path

from pipeline.farm.folder import TableFile
from pipeline.files.workbook_process import receive, send
from pipeline.files.workbook_reading import broken, read_sheet, sheet_names
from schemas.contract import contract
from schemas.finding import UnreadableFile


def main() -> None:
    """Answer requests from standard input until it ends."""
    _limit_memory(int(sys.argv[1]))
    # Ctrl-C is for the command, which ends this process with itself.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    while (request := receive(sys.stdin.buffer)) is not None and (data := receive(sys.stdin.buffer)) is not None:
        send(answers, json.dumps(_answer(json.loads(request), data)).encode())


def _limit_memory(size: int) -> None:
    """Let this process take so many bytes at most, and leave no picture of its memory behind."""
    if sys.platform == "win32":
        return
    import resource

    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    highest = resource.getrlimit(resource.RLIMIT_AS)[1]
    resource.setrlimit(resource.RLIMIT_AS, (size if highest < 0 else min(size, highest), highest))


def _answer(request: dict[str, str | None], data: bytes) -> dict[str, object]:
    table, name = contract(request["table"] or ""), request["name"] or ""
    source = TableFile(table.name, name, Path(name), request["sheet"])
    mark = request["decimal_mark"]
    try:
        if mark is None:
            return {"names": sheet_names(table, source, data)}
        return read_sheet(table, source, data, mark).record()
    except UnreadableFile as problem:
        refusal = problem
    except BaseException:  # a library that panics, or has no memory left: the file is what is wrong
        refusal = broken(table, source)
    return {"refused": [asdict(each) for each in refusal.findings]}


if __name__ == "__main__":
    main()
