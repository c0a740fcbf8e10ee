"""The kept result: the last audit, in out/audit.json, written whole or not at all."""

from __future__ import annotations

import json
import os
from pathlib import Path

from schemas.audit_outcome import Audit, audit_record, read_audit

FILE = "audit.json"


def keep(folder: Path, audit: Audit) -> Path:
    """Keeps the audit in this folder as the last one, and tells where. Raises OSError where it cannot be written."""
    folder.mkdir(exist_ok=True)
    path = folder / FILE
    draft = path.with_name(f"{FILE}.new")
    with open(draft, "w", encoding="utf-8", newline="\n") as out:
        json.dump(audit_record(audit), out, indent=1, ensure_ascii=False)
        out.write("\n")
        out.flush()
        os.fsync(out.fileno())
    os.replace(draft, path)
    return path


def last(folder: Path) -> Audit | None:
    """Which audit was kept last in this folder? None when there is none, or none that can be read."""
    try:
        return read_audit(json.loads((folder / FILE).read_text(encoding="utf-8")))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
