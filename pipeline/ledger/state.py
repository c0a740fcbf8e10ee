"""The ledger as it stands: what it was made from, and whether it can be brought up to date or must be built anew."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path

from pipeline.farm.folder import Farm
from pipeline.ledger.backups import Key
from pipeline.ledger.manifest import write_ahead_log
from pipeline.models.lineage import LEDGER, STAGE
from pipeline.models.statements import connect, rows, statements_of
from schemas.contract import inputs_hash
from schemas.finding import OutOfReach

# Raised whenever the tables of the ledger change; an older ledger is rebuilt, a newer one is not touched.
LAYOUT_VERSION = 6
# Where one of these differs the ledger is built anew; other settings of the farm need less.
MADE_WITH = ("gillbook", "layout", "duckdb", "contracts", "decisions")
# What each of these that has a version is called.
VERSION_OF = {"gillbook": "gillbook", "layout": "layout", "duckdb": "DuckDB"}


@cache
def _decisions_hash() -> str:
    """One hash over the SQL files that make the stage and decide what is loaded: a ledger made by other statements is
    built anew.
    """
    digest = sha256()
    for text in (*statements_of(STAGE), *statements_of(LEDGER)):
        digest.update(text.encode())
    return digest.hexdigest()


def versions(farm: Farm) -> dict[str, str]:
    """Return what the ledger depends on beside the files."""
    return {
        "layout": str(LAYOUT_VERSION),
        "gillbook": version("gillbook"),
        "duckdb": version("duckdb"),
        "contracts": inputs_hash(),
        "decisions": _decisions_hash(),
        "farm": farm.settings_hash,
        "conventions": farm.conventions_hash,
    }


@dataclass(frozen=True)
class LedgerState:
    """The ledger as found: which file holds which content, how many rows (all, blank), and its status (and why); or why
    the ledger must be built anew ("" for no ledger yet). `conventions_changed`: all files are to be read anew.
    """

    hashes: dict[Key, str]
    reasons: dict[Key, tuple[str, str]]
    rebuild: str | None
    farm_changed: bool = False
    conventions_changed: bool = False
    row_counts: dict[Key, tuple[int, int]] = field(default_factory=dict)

    @property
    def known(self) -> dict[Key, str]:
        """The contents that need not be read again."""
        return {} if self.conventions_changed else self.hashes


def ledger_state(farm: Farm) -> LedgerState:
    """Return what the ledger was made from. One that is none of ours is moved out of the way. Raises OutOfReach for one
    of a newer layout, or one that is in use.
    """
    import duckdb

    if not farm.ledger.exists():
        return LedgerState({}, {}, rebuild="")
    try:
        state = _read_state(farm)
    except (duckdb.Error, KeyError, ValueError) as problem:
        return LedgerState({}, {}, rebuild=_unusable(farm.ledger, problem))
    if write_ahead_log(farm.ledger).exists():
        return LedgerState({}, {}, rebuild=_set_by(farm.ledger, "was changed by another program"))
    return state


def read_state(farm: Farm) -> LedgerState | None:
    """As ledger_state, of a ledger that nothing is done to; None where there is none that can be used."""
    import duckdb

    if not farm.ledger.exists():
        return None
    try:
        return _read_state(farm)
    except (duckdb.Error, KeyError, ValueError, OutOfReach):
        return None


def _read_state(farm: Farm) -> LedgerState:
    wanted = versions(farm)
    with connect(str(farm.ledger), read_only=True) as con:
        meta: dict[str, str] = dict(rows(con, "made_from"))
        _refuse_newer(farm.ledger, meta)
        other = next((key for key in MADE_WITH if meta.get(key) != wanted[key]), None)
        found = rows(con, "file_states") if other is None else []
    if other is not None:
        return LedgerState({}, {}, rebuild=_made_otherwise(other, meta, wanted))
    hashes = {(table, file): content for table, file, content, *_ in found}
    reasons = {(table, file): (status, reason) for table, file, _, status, reason, *_ in found}
    row_counts = {(table, file): (rows_in, blank) for table, file, *_, rows_in, blank in found}
    farm_changed, conventions_changed = (meta.get(key) != wanted[key] for key in ("farm", "conventions"))
    return LedgerState(hashes, reasons, None, farm_changed, conventions_changed, row_counts)


def _made_otherwise(other: str, meta: dict[str, str], wanted: dict[str, str]) -> str:
    """The sentence on a ledger that another gillbook made, or this one with other parts."""
    if other not in VERSION_OF:
        return f"gillbook's own {other} have changed: the ledger was built anew from the files."
    made, now = meta.get(other, "unknown"), wanted[other]
    return f"The ledger was made with {VERSION_OF[other]} {made}, not {now}: it was built anew from the files."


def _refuse_newer(ledger: Path, meta: dict[str, str]) -> None:
    if int(meta["layout"]) > LAYOUT_VERSION:
        raise OutOfReach(
            f"{ledger.name} was written by a newer gillbook ({meta.get('gillbook')}) and was not touched. "
            "Update gillbook, or delete the file: it is made from your files."
        )


def _unusable(ledger: Path, problem: Exception) -> str:
    """Move away a file that is no ledger of ours; return the sentence on it. Raises OutOfReach where it is in use."""
    text = str(problem).lower()
    if "set lock" in text or "being used" in text:
        raise OutOfReach(f"{ledger.name} is open in another program. Close it and try again.") from problem
    if "version number" in text:
        raise OutOfReach(
            f"{ledger.name} was written by a newer program and was not touched. "
            "Update gillbook, or delete the file: it is made from your files."
        ) from problem
    return _set_by(ledger, "is damaged or none of gillbook's")


def _set_by(ledger: Path, why: str) -> str:
    """Moves a file that is no ledger of ours out of the way (nothing of the grower's is ever lost) and says so."""
    number = 1
    while (target := ledger.with_name(f"ledger.broken-{number}.duckdb")).exists():
        number += 1
    os.replace(ledger, target)
    if write_ahead_log(ledger).exists():
        os.replace(write_ahead_log(ledger), write_ahead_log(target))
    return f"{ledger.name} {why}: it was moved to {target.name}, and the ledger was built anew from the files."
