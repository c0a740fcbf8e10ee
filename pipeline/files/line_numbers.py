"""The numbers of rows within the ledger: a file's number, then that of the row in its file."""

from __future__ import annotations

from zlib import crc32


def file_part(table: str, file: str) -> int:
    """Return the number by which the lines of this file's rows of this table begin: the same whatever was loaded before
    it.
    """
    return crc32(f"{table}:{file}".encode())
