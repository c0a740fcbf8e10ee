"""What this command wrote last, so that it can be taken back: `logbook.undo.jsonl`, one line an entry, safe to delete.

A line is written before its entry, so that an entry never stands in a file without one.
"""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path
from typing import Any

from pipeline.farm.folder import Farm
from pipeline.files.replace import replace_file

JOURNAL = "logbook.undo.jsonl"
# So much is kept when the journal grows beyond twice of it: some hundred entries. Our choice, no source.
KEPT_BYTES = 50_000
# So many of the last entries are looked for when another is written: our choice, no source.
LOOKED_AT = 40
# What a line tells of an entry; `call` is the id of the first entry that was written at once with it.
PARTS = {"entry", "call", "command", "file", "at", "cells"}


def note(farm: Farm, told: dict[str, Any]) -> None:
    """Notes what is about to be written, or was taken back. A journal that cannot be written stops no entry."""
    path = farm.folder / JOURNAL
    with suppress(OSError):
        with open(path, "ab", buffering=0) as out:
            out.write(json.dumps(told, ensure_ascii=False).encode("utf-8") + b"\n")
            size = out.tell()
        if size > 2 * KEPT_BYTES:
            _shorten(path)


def _shorten(path: Path) -> None:
    tail = path.read_bytes()[-KEPT_BYTES:]
    replace_file(path, tail[tail.index(b"\n") + 1 :])


def noted(farm: Farm) -> list[dict[str, Any]]:
    """Which entries does the journal tell that were not taken back, the latest last?"""
    try:
        lines = (farm.folder / JOURNAL).read_bytes().splitlines()
    except OSError:
        return []
    found: dict[str, dict[str, Any]] = {}
    for line in lines:
        # A line cut short by a full disk tells nothing.
        with suppress(ValueError, KeyError, TypeError):
            told = json.loads(line)
            if "undone" in told:
                found.pop(told["undone"], None)
            elif set(told) >= PARTS:
                found[told["entry"]] = told
    return list(found.values())


def astray(farm: Farm, name: str, data: bytes) -> list[dict[str, Any]]:
    """Which of the last entries for this file are not in it? Another program saved over them, or they were deleted, or
    they were never written because the machine stopped. Each is told once.
    """
    last = [each for each in noted(farm) if each["file"] == name][-LOOKED_AT:]
    found = [each for each in last if each["entry"].encode() not in data]
    for each in found:
        note(farm, {"undone": each["entry"]})
    return found
