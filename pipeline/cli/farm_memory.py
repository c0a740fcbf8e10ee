"""How many farms are answered at once: as many as there are processors, where memory holds them."""

from __future__ import annotations

import os
from collections.abc import Sequence
from itertools import accumulate
from pathlib import Path

from pipeline.farm.folder import LEDGER

# A command of a large farm holds about so many times the bytes of its ledger. Measured, at most in GB: of ten million
# pickings (a ledger of 0.48) `report` 6.2, `yields` 2.8, a first refresh 1.3; of a million (0.055) `next-soak` 1.9,
# `compare` 0.8, `flushes` 0.6, `yields` 0.5.
TIMES, TIMES_OF = 20, {"refresh": 3, "next-soak": 35}
# The entries that a ledger comes from have one and a half times its bytes.
LEDGER_OF_FILES = 2 / 3
# Nobody asks how much memory there is for less than this.
SURELY_BYTES = 1_000_000_000


def at_once(farms: Sequence[Path], command: str) -> int:
    """Return how many of these farms may answer this command at the same time, whichever they are: at least 1."""
    number = max(1, min(len(farms), os.cpu_count() or 1))
    times = TIMES_OF.get(command, TIMES)
    needs = sorted((times * _ledger_bytes(each) for each in farms), reverse=True)[:number]
    if sum(needs) <= SURELY_BYTES:
        return number
    from pipeline.models.statements import memory_bytes

    there = memory_bytes()
    return max(1, sum(together <= there for together in accumulate(needs)))


def _ledger_bytes(farm: Path) -> float:
    """The size of the farm's ledger, or what it is likely to be."""
    try:
        return (farm / LEDGER).stat().st_size
    except OSError:
        return LEDGER_OF_FILES * sum(_size(each) for each in (*farm.glob("*.csv"), *farm.glob("*/*.csv")))


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0
