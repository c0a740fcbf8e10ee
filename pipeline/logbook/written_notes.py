"""Saving what files were written in (see pipeline/farm/written_in.py)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path

from pipeline.farm.written_in import WRITTEN, WrittenIn
from pipeline.files.replace import replace_file


def save_notes(folder: Path, notes: Mapping[str, WrittenIn]) -> None:
    """Save these notes, whole or not at all. Raises OSError."""
    path = folder / WRITTEN
    path.parent.mkdir(exist_ok=True)
    record = {name: asdict(each) for name, each in sorted(notes.items())}
    replace_file(path, json.dumps(record, ensure_ascii=False).encode(), sync=True)
