"""Files that only grew: rows that were read before need not be read again where those behind them change nothing."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.files.csv_scan import Marks
from pipeline.files.totals import sums_up


@dataclass(frozen=True)
class Beginning:
    """The part of a file that was read before: its bytes, and its rows below the header, `blank` of them blank."""

    size: int
    rows: int
    blank: int


def rest_begins(body: bytes, marks: Marks, separator: str, at: int) -> int | None:
    """Return `at`, the byte of a file's body up to which it was read before, if the rows from there on can be read
    alone; None where all are to be read. `body`: plainly well formed; `marks`: its quotation marks.

    What was read before must end with a whole row that is neither blank nor, as far as its last line shows, a sum of
    those above: such rows mean another thing once others follow.
    """
    if at <= 0 or body[at - 1 : at] != b"\n" or (marks < at).sum() % 2:
        return None
    last = body[body.rfind(b"\n", 0, at - 1) + 1 : at]
    cells = [cell.strip().strip('"').strip() for cell in last.decode("utf-8", errors="replace").split(separator)]
    # An odd number of quotation marks: the row began on a line before this one.
    if last.count(b'"') % 2 or not any(cells) or any(sums_up(cell) for cell in cells):
        return None
    return at
