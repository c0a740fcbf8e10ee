"""What files were written in: `kept/written.json`. It goes with the folder, so that a changed farm.toml never makes
faults of rows that gillbook wrote.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path

WRITTEN = "kept/written.json"


@dataclass(frozen=True)
class WrittenIn:
    """What one file was written in. `columns`: by folded heading the table, the column and its unit (None: the
    contract's). `own`: gillbook made the file. `rewritten`: the hash of the file once it is written anew as farm.toml
    has it; this note holds no more then.
    """

    decimal_mark: str
    thousands_mark: str
    date_order: str
    columns: Mapping[str, tuple[str, str, str | None]] = field(default_factory=dict)
    own: bool = True
    rewritten: str = ""


Notes = dict[str, WrittenIn]


def load_notes(folder: Path) -> Notes:
    """Return what is noted, by the files' names; nothing where no note can be read. Those that were written anew since
    are left out.
    """
    try:
        raw = json.loads((folder / WRITTEN).read_bytes())
        found = {name: WrittenIn(**each) for name, each in raw.items()}
    except (OSError, ValueError, RecursionError, TypeError, AttributeError):
        return {}
    return {name: each for name, each in found.items() if not each.rewritten or not _is_now(folder / name, each)}


def _is_now(path: Path, note: WrittenIn) -> bool:
    try:
        return sha256(path.read_bytes()).hexdigest() == note.rewritten
    except OSError:
        return False
