"""Taking files in: those that changed are read and validated, several at a time, in portions that bound memory.

A file that is gone or cannot be read is taken from its copy; of one that was read well the copy is renewed.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.farm.folder import Farm, TableFile
from pipeline.farm.table_names import WORKBOOKS
from pipeline.ledger.backups import (
    Key,
    copy_path,
    forget_words,
    keep,
    way_back,
    why_not_there,
)
from pipeline.ledger.manifest import NEVER_READ, FileMark, mark_if_same, stat_of
from pipeline.ledger.portions import large_apart, portions_of
from schemas.answers import FileStatus
from schemas.contract import HARVESTS, contract
from schemas.finding import Finding, UnreadableFile

if TYPE_CHECKING:
    from pipeline.files.grown import Beginning
    from pipeline.files.read import RawTable
    from pipeline.files.validate import ValidatedRows

THREADS = os.cpu_count() or 1
# A file that another program writes just now is read again so often, after so many seconds: a sync tool is done with
# one file by then. Common practice, no source.
READINGS, BETWEEN_S = 3, 0.2


@dataclass(frozen=True)
class Sources:
    """What there is to take in: `files` in the order of the tables, those that are gone as their copies; `vanished` are
    these; `known` are the contents on the stage already, and `row_counts` the rows of each, all and blank ones;
    `given_up` the files that need not be readable; `marks` what they were when they were last read.
    """

    files: Sequence[TableFile]
    vanished: frozenset[Key]
    known: Mapping[Key, str]
    given_up: frozenset[Key]
    row_counts: Mapping[Key, tuple[int, int]] = field(default_factory=dict)
    marks: Mapping[Key, FileMark] = field(default_factory=dict)


@dataclass(frozen=True)
class Taken:
    """A portion of one table's files: the mark of each, those whose content changed validated together (None: none
    changed), why files stand in their copies (or, given up, nowhere), and what kept files from being read.
    """

    marks: dict[Key, FileMark]
    validated: ValidatedRows | None
    reasons: dict[Key, str]
    problems: tuple[Finding, ...] = ()

    @property
    def table(self) -> str:
        """The table of its rows; none without any."""
        return self.validated.raws[0].source.table if self.validated else ""

    @property
    def changed(self) -> list[str]:
        """The names of the files that changed, and all rows of which are here or were."""
        return [raw.source.name for raw in self.validated.raws] if self.validated and not self.validated.more else []

    def without_rows(self) -> Taken:
        """Return the same, once its rows are where they belong."""
        return replace(self, validated=self.validated and replace(self.validated, frame=self.validated.frame.clear()))


def key_of(source: TableFile) -> Key:
    """Return the table and the file's name."""
    return source.table, source.name


def hash_of(source: TableFile) -> str:
    """Return the hash of what this file holds. Raises UnreadableFile when the operating system does not give it."""
    from pipeline.files.read import content_hash, read_bytes

    return content_hash(read_bytes(source))


def as_taken(taken: Taken) -> Taken:
    """Return a portion as it is."""
    return taken


def nothing() -> None:
    """Do nothing."""


def take_in(
    farm: Farm,
    sources: Sources,
    then: Callable[[Taken], Taken] = as_taken,
    most_rows: int | None = None,
    before_pickings: Callable[[], None] = nothing,
) -> Iterator[Taken]:
    """Yield what these files hold, in portions. They come in the order of the files; `then` is done to each in the
    thread that took it in, with several at a time. A file of more than twice `most_rows` comes in several portions.
    `before_pickings` is done once all files before those of pickings are taken in, while pickings are.
    """
    from concurrent.futures import ThreadPoolExecutor

    def take(portion: Sequence[TableFile]) -> list[Taken]:
        return [then(each) for each in _take(farm, sources, portion, most_rows)]

    portions = portions_of(sources.files)
    with ThreadPoolExecutor(THREADS) as pool:
        begun = {at: pool.submit(take, portions[at]) for at in large_apart(portions)}
        # What the decisions need of numpy, whose import would else be waited for: the threads hardly need Python.
        import pipeline.stats.gaps  # noqa: F401

        try:
            for at, portion in enumerate(portions):
                if portion[0].table == HARVESTS and (at == 0 or portions[at - 1][0].table != HARVESTS):
                    before_pickings()
                yield from begun.pop(at).result()
        finally:
            for each in begun.values():
                each.cancel()


def _take(farm: Farm, sources: Sources, portion: Sequence[TableFile], most_rows: int | None) -> Iterator[Taken]:
    from pipeline.files.validate import validate

    marks: dict[Key, FileMark] = {}
    reasons: dict[Key, str] = {}
    raws: list[RawTable] = []
    problems: list[Finding] = []
    for source in portion:
        key = key_of(source)
        try:
            mark, raw, reason = _take_file(farm, sources, source)
        except UnreadableFile as problem:
            problems += problem.findings
            continue
        marks[key] = mark
        if reason is not None:
            reasons[key] = reason
        if raw is not None:
            raws.append(raw)
        # What is taken from the list below is to be gone.
        del raw
    if len(raws) == 1 and not problems and most_rows:
        # Typed rows beside their texts would take twice the memory.
        while raws[0].frame.height > 2 * most_rows:
            first = replace(raws[0], frame=raws[0].frame.head(most_rows), totals_rows=())
            raws[0] = replace(raws[0], frame=raws[0].frame.slice(most_rows))
            yield Taken({}, replace(_lean(validate([first], farm.conventions)), more=True), {})
    validated = _lean(validate(raws, farm.conventions)) if raws else None
    raws.clear()
    yield Taken(marks, validated, reasons, tuple(problems))


def _lean(validated: ValidatedRows) -> ValidatedRows:
    """Without the texts, which are in the validated frame now."""
    return replace(validated, raws=tuple(replace(raw, frame=raw.frame.clear()) for raw in validated.raws))


def _take_file(farm: Farm, sources: Sources, source: TableFile) -> tuple[FileMark, RawTable | None, str | None]:
    """A file's mark, its rows if they are new, and why they are not its own (None: they are)."""
    from pipeline.files.read import read_table

    key = key_of(source)
    known = sources.known.get(key)
    if key in sources.vanished:
        return _take_vanished(farm, source, known)
    as_it_was = _as_it_was(farm, sources, source)
    if as_it_was is not None:
        return as_it_was, None, None
    mark = NEVER_READ
    try:
        mark, data = _read_whole(source)
        raw = None
        if mark.content_hash != known:
            beginning = _beginning(farm, sources, key, data)
            raw = read_table(source, data, farm.conventions, mark.content_hash, beginning)
        if raw is not None:
            _refuse_cut_off(copy_path(farm, key), data, raw)
    except UnreadableFile as problem:
        return _take_copy(farm, sources, source, mark, problem)
    if raw is not None or stat_of(copy_path(farm, key)) != (mark.size, mark.mtime_ns):
        keep(farm, key, data, mark.mtime_ns)
    return mark.with_copy(copy_path(farm, key)), raw, None


def _as_it_was(farm: Farm, sources: Sources, source: TableFile) -> FileMark | None:
    """The file's mark, where it and its copy are as they were when it was last read and its rows are on the stage: then
    it need not be read again.
    """
    key = key_of(source)
    old, copy = sources.marks.get(key), stat_of(copy_path(farm, key))
    if old is None or old.status != FileStatus.PRESENT or old.content_hash != sources.known.get(key):
        return None
    return mark_if_same(source, old, hash_of) if copy == (old.size, old.mtime_ns) == old.copy else None


def _beginning(farm: Farm, sources: Sources, key: Key, data: bytes) -> Beginning | None:
    """How the file begins, if that is on the stage already: its copy has the size, and the hash proves the content."""
    from pipeline.files.grown import Beginning
    from pipeline.files.read import content_hash

    known, counts, copy = sources.known.get(key), sources.row_counts.get(key), stat_of(copy_path(farm, key))
    if known is None or counts is None or copy is None or copy[0] >= len(data):
        return None
    return Beginning(copy[0], *counts) if content_hash(data[: copy[0]]) == known else None


def _unreadable(source: TableFile, message: str, fix: str, row: int = 0) -> UnreadableFile:
    finding = Finding(
        contract(source.table).name, source.name, row, "", "unreadable", "set_aside", None, message, "", fix
    )
    return UnreadableFile([finding])


def _take_vanished(farm: Farm, source: TableFile, known: str | None) -> tuple[FileMark, RawTable | None, str | None]:
    """As _take_file, of a file that is gone: `source` is its copy."""
    from pipeline.files.read import read_table

    try:
        mark, data = _read_whole(source)
        raw = read_table(source, data, farm.conventions, mark.content_hash) if mark.content_hash != known else None
    except UnreadableFile as problem:
        gone = why_not_there(farm, source.name)
        fix = f"{way_back(gone)}, or give it up: {forget_words(source.name)}"
        other = _unreadable(source, f"{gone}, and its copy in kept/ cannot be read", fix)
        raise UnreadableFile([*other.findings, *problem.findings]) from problem
    return replace(mark, status=FileStatus.VANISHED).with_copy(source.path), raw, ""


def _take_copy(
    farm: Farm, sources: Sources, source: TableFile, mark: FileMark, problem: UnreadableFile
) -> tuple[FileMark, RawTable | None, str | None]:
    """As _take_file, of a file that cannot be read. Raises `problem` where it was never read well."""
    from pipeline.files.read import read_table

    key = key_of(source)
    reason = " ".join(each.sentence() for each in problem.findings)
    copy = copy_path(farm, key)
    # One that was read well since it was given up has a copy again.
    if not copy.is_file():
        if key in sources.given_up:
            return replace(mark, status=FileStatus.GIVEN_UP), None, reason
        raise problem
    try:
        copied = replace(source, path=copy)
        copy_mark, data = _read_whole(copied)
        raw = read_table(copied, data, farm.conventions) if copy_mark.content_hash != sources.known.get(key) else None
    except UnreadableFile as worse:
        said = "cannot be read, and its copy in kept/ cannot be read either"
        other = _unreadable(source, said, f"Mend it, or farm.toml, or give it up: {forget_words(source.name)}")
        raise UnreadableFile([*other.findings, *problem.findings]) from worse
    return replace(mark, status=FileStatus.UNREADABLE).with_copy(copy), raw, reason


def _read_whole(source: TableFile) -> tuple[FileMark, bytes]:
    """The file's mark and its bytes. One that changes meanwhile is read again.

    Raises UnreadableFile when the operating system does not give it, or it does not come to rest.
    """
    from pipeline.files.read import content_hash, read_bytes

    for reading in range(READINGS):
        if reading:
            time.sleep(BETWEEN_S)
        started = time.time_ns()
        before = stat_of(source.path)
        data = read_bytes(source)
        if before is not None and before == stat_of(source.path) and before[0] == len(data):
            return FileMark(*before, started, content_hash(data)), data
    fix = "Wait until the program that writes it is done, and try again."
    raise _unreadable(source, "changes while it is read", fix)


def _refuse_cut_off(copy: Path, data: bytes, raw: RawTable) -> None:
    """Refuse a file that ends within a row where its copy goes on, as one does that is half-way replaced, maybe by an
    edited one. One that ends with a row has lost rows, which is an edit.
    """
    size = stat_of(copy)
    if size is None or size[0] <= len(data) or data.endswith((b"\n", b"\r")):
        return
    # A workbook is no text of lines; half of one is no workbook, and was refused for that.
    if raw.source.path.suffix.lower() in WORKBOOKS:
        return
    whole = copy.read_bytes()
    last, rows = data.splitlines()[-1], whole.splitlines()
    within = whole.startswith(data) and whole[len(data) : len(data) + 1] not in (b"\n", b"\r")
    if within or (last not in rows and any(row.startswith(last) for row in rows)):
        fix = "Write it whole again; or, if it is meant so, end its last row with a line end."
        number = raw.frame["row"][-1] if raw.frame.height else 1
        raise _unreadable(raw.source, "ends within this row, where it went on when last read", fix, number)
