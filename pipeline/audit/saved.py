"""The kept result: the last audit, in out/audit.json, written whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path

from pipeline.files.replace import replace_file
from schemas.audit_outcome import Audit, audit_record, read_audit

FILE = "audit.json"


def keep(folder: Path, audit: Audit) -> Path:
    """Keeps the audit in this folder as the last one, and tells where. Raises OSError where it cannot be written."""
    folder.mkdir(exist_ok=True)
    path = folder / FILE
    text = json.dumps(audit_record(audit), indent=1, ensure_ascii=False)
    replace_file(path, f"{text}\n".encode())
    return path


def last(folder: Path) -> Audit | None:
    """Return the audit that was saved last in this folder. None when there is none, or none that can be read."""
    try:
        return read_audit(json.loads((folder / FILE).read_text(encoding="utf-8")))
    except (OSError, ValueError, RecursionError, KeyError, TypeError, AttributeError):
        return None
