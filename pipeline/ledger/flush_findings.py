"""What check says of blank flush cells: how many there are, by which rule they were numbered, how sure that is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from schemas.contract import HARVESTS
from schemas.finding import Finding

if TYPE_CHECKING:
    from pipeline.models.flush_rule import FlushRule

EXPECTED = "the flush of each picking"


def flush_findings(rule: FlushRule) -> list[Finding]:
    """Return a notice that counts the blank cells, and a warning where their numbers are unsure; at the first cell."""
    if rule.file is None or rule.row is None:
        return []
    derived = Finding(
        HARVESTS,
        rule.file,
        rule.row,
        "flush",
        "flush_derived",
        "notice",
        None,
        f"is blank here and in {rule.counted_blank()} in all; {rule.in_words()}",
        EXPECTED,
        "Nothing to do; numbers that you write yourself are surer.",
    )
    unsure = Finding(
        HARVESTS,
        rule.file,
        rule.row,
        "flush",
        "flush_unsure",
        "warning",
        None,
        f"is blank, and {rule.gaps_unsure} of {rule.gaps} gaps between pickings may begin a new flush or not, so that "
        "flush 2 is unsure",
        EXPECTED,
        "Write the flush of each picking; or set new_flush_after_days in farm.toml, if you know it.",
    )
    return [derived, unsure] if rule.unsure else [derived]
