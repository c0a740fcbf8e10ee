"""What a file's bytes alone show of it. A scan of the bytes that matter is quicker than one of every cell."""

from __future__ import annotations

import re
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Marks: TypeAlias = npt.NDArray[np.intp]

QUOTE, NEW_LINE, RETURN, SPACE = ord('"'), ord("\n"), ord("\r"), ord(" ")


def _bytes(data: bytes) -> npt.NDArray[np.uint8]:
    return np.frombuffer(data, dtype=np.uint8)


def _bounds(separator: str) -> list[int]:
    """The bytes that may stand before an opening quotation mark and after a closing one."""
    return [ord(separator), NEW_LINE, RETURN]


def quotation_marks(data: bytes) -> Marks:
    """Return the positions of the quotation marks (bytes from 0)."""
    return np.flatnonzero(_bytes(data) == QUOTE)


def well_quoted(data: bytes, marks: Marks, separator: str = ",") -> bool:
    """Whether every quotation mark opens, closes or doubles as RFC 4180 has it, and every row ends with LF or CRLF, so
    that any reader reads the same rows. `marks`: see quotation_marks.
    """
    if b"\r" in data and data.count(b"\r") != data.count(b"\r\n"):
        return False
    if len(marks) == 0:
        return True
    if len(marks) % 2:
        return False
    if empty_quotes(marks):
        return _quoted_one_by_one(data, _bounds(separator))
    bytes_ = _bytes(data)
    opens, closes = marks[::2], marks[1::2]
    before = bytes_[opens[opens > 0] - 1]
    after = bytes_[closes[closes < len(bytes_) - 1] + 1]
    bounds = _bounds(separator)
    return bool(np.isin(before, bounds).all() and np.isin(after, bounds).all())


def _quoted_one_by_one(data: bytes, bounds: list[int]) -> bool:
    """As well_quoted, mark by mark: for data in which quotation marks stand side by side."""
    inside, skip = False, -1
    for match in re.finditer(rb'"', data):
        at = match.start()
        if at == skip:
            continue
        after = data[at + 1 : at + 2]
        if not inside:
            if at and data[at - 1] not in bounds:
                return False
            inside = True
        elif after == b'"':
            skip = at + 1
        elif not after or after[0] in bounds:
            inside = False
        else:
            return False
    return not inside


def _white(data: bytes) -> Marks:
    """The positions of white space that is no line end: ASCII up to 32 or, in UTF-8, from a byte above 127."""
    bytes_ = _bytes(data)
    low = (bytes_ <= SPACE) & (bytes_ != NEW_LINE)
    at = np.flatnonzero(low if data.isascii() else low | (bytes_ > 127))
    white: Marks = at[bytes_[at] != RETURN]
    return white


def empty_quotes(marks: Marks) -> bool:
    """Whether a cell may be a pair of quotation marks and nothing else. `marks`: see quotation_marks."""
    return bool((np.diff(marks) == 1).any())


def padded(data: bytes, marks: Marks, separator: str = ",") -> bool:
    """Whether any cell may begin or end with white space. `marks`: see quotation_marks."""
    bytes_ = _bytes(data)
    opens, closes = marks[::2], marks[1::2]
    # A line end is white space too where it stands just within quotation marks.
    if np.isin(bytes_[opens[opens < len(bytes_) - 1] + 1], [NEW_LINE, RETURN]).any():
        return True
    if np.isin(bytes_[closes - 1], [NEW_LINE, RETURN]).any():
        return True
    odd = _white(data)
    if separator == "\t":
        # Within quotation marks a tab is white space; else it stands between cells.
        odd = odd[(bytes_[odd] != ord("\t")) | (np.searchsorted(marks, odd) % 2 == 1)]
    if len(odd) == 0:
        return False
    quoted = np.searchsorted(marks, odd) % 2 == 1
    before = np.where(odd > 0, bytes_[odd - 1], NEW_LINE)
    after = np.where(odd < len(bytes_) - 1, bytes_[np.minimum(odd + 1, len(bytes_) - 1)], NEW_LINE)
    # Within quotation marks a comma or a line end is text; a character of several bytes is looked at whole.
    beside = (before == QUOTE) | (after == QUOTE) | (bytes_[odd] > 127)
    bounds = _bounds(separator)
    return bool((beside | (~quoted & (np.isin(before, bounds) | np.isin(after, bounds)))).any())
