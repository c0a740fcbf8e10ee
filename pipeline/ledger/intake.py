"""Taking files in: those that changed are read and screened, several at a time, in portions that bound memory."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING

from pipeline.farm import TableFile
from pipeline.ledger.manifest import FileMark
from schemas.finding import OutOfReach, UnreadableFile

if TYPE_CHECKING:
    from pipeline.read import RawTable
    from pipeline.screen import Screened
    from schemas.finding import Finding

# Files of a table are taken together up to about this many bytes: large enough to be quick, small enough for memory.
PORTION_BYTES = 8_000_000


@dataclass(frozen=True)
class Taken:
    """A portion of one table's files: the mark of each, those whose content changed screened together (None: none
    changed), and what kept files from being read.
    """

    marks: dict[str, FileMark]
    screened: Screened | None
    problems: tuple[Finding, ...] = ()

    @property
    def changed(self) -> list[str]:
        """Which files changed?"""
        return [raw.source.name for raw in self.screened.raws] if self.screened else []


def take_in(sources: Sequence[TableFile], hashes: dict[tuple[str, str], str]) -> Iterator[Taken]:
    """What do these files hold? `hashes` are the contents known already; portions come in the order of the files."""
    # Cut once: a file that grows meanwhile must not part the files from what is known of them.
    portions = _portions(sources)
    known = [[hashes.get((source.table, source.name)) for source in portion] for portion in portions]
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        yield from pool.map(_take, portions, known)


def _portions(sources: Sequence[TableFile]) -> list[list[TableFile]]:
    portions: list[list[TableFile]] = []
    for _, files in groupby(sources, key=lambda source: source.table):
        size = PORTION_BYTES
        for source in files:
            if size >= PORTION_BYTES:
                portions.append([])
                size = 0
            portions[-1].append(source)
            size += _size(source)
    return portions


def _size(source: TableFile) -> int:
    try:
        return source.path.stat().st_size
    except OSError:
        return 0  # read_bytes tells what is wrong with it


def _take(sources: Sequence[TableFile], known: Sequence[str | None]) -> Taken:
    from pipeline.screen import screen

    marks: dict[str, FileMark] = {}
    raws: list[RawTable] = []
    problems: list[Finding] = []
    for source, digest in zip(sources, known, strict=True):
        try:
            mark, raw = _read_file(source, digest)
        except UnreadableFile as problem:
            problems += problem.findings
            continue
        marks[source.name] = mark
        if raw is not None:
            raws.append(raw)
    screened = screen(raws) if raws else None
    if screened:
        # The texts are in the screened frame now.
        lean = tuple(replace(raw, frame=raw.frame.clear()) for raw in screened.raws)
        screened = replace(screened, raws=lean)
    return Taken(marks, screened, tuple(problems))


def _read_file(source: TableFile, known: str | None) -> tuple[FileMark, RawTable | None]:
    from pipeline.read import content_hash, read_bytes, read_table

    started = time.time_ns()
    try:
        before = source.path.stat()
    except OSError as problem:
        raise OutOfReach(f"{source.name} cannot be read: {problem.strerror}.") from problem
    data = read_bytes(source)
    digest = content_hash(data)
    mark = FileMark(source.table, before.st_size, before.st_mtime_ns, started, digest)
    return mark, read_table(source, data) if digest != known else None
