"""The summaries of the files as they are saved beside the ledger: a small keyed store, of which an entry reads and
writes only the keys that it needs.

Safe to delete: it is made from the files, and made anew where it is broken, foreign or of another layout. It is written
whole under another name first and then swapped in; what is added later is one transaction, on disk before it counts.
"""

from __future__ import annotations

import json
import os
import sqlite3
from array import array
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, closing, contextmanager, suppress
from dataclasses import asdict, replace
from pathlib import Path

from pipeline.farm.folder import Farm, TableFile
from pipeline.files.looked import Stamp
from pipeline.files.replace import sync_folder
from pipeline.logbook.blocks import BlockFacts, lines_of, packed, unpacked
from pipeline.logbook.facts import FactsByKey, FileFacts, LineKind, Weights
from pipeline.logbook.stored import STORE
from pipeline.logbook.summaries import Shape, Summaries, Summary, rows_read
from schemas.finding import UnreadableFile

# "gill", so that no other program's file is taken for ours.
APPLICATION, LAYOUT = 0x67696C6C, 4
# What is added stands in parts of its own; with more than so many, those after the first become one.
PARTS = 8
TABLES = """
create table farm (settings text);
create table files (key text primary key, of_table text, stamp text, trouble text, shape text);
create table parts (part integer primary key autoincrement, file text, letters integer, alone blob, together blob);
create table blocks (part integer, kind text, ending text, body text, primary key (part, kind, ending));
"""
# No row: the part is gone. No text: it has no such block.
BLOCK = """
select (select b.body from blocks as b where b.part = p.part and b.kind = ? and b.ending = substr(?, -p.letters))
from parts as p where p.part = ?
"""
SECONDS = 2.0


class Lost(Exception):
    """What stood in the store is not there any more, or cannot be read."""


# What reading a store may raise that is broken, or that another run wrote anew.
FAILURES = (sqlite3.Error, Lost, ValueError, TypeError, AttributeError)


class StoredFacts:
    """What the store says of one file, in parts from its first row on. Where the store fails, the file is read."""

    def __init__(
        self, con: sqlite3.Connection, parts: tuple[int, ...], farm: Farm, source: TableFile, size: int
    ) -> None:
        self._con = con
        self.parts = parts
        self._farm, self._source, self._size = farm, source, size
        self._read: FileFacts | None = None

    def text(self, kind: LineKind, key: str) -> str:
        """Return the lines of this key; "" where there are none."""
        if self._read is None:
            try:
                return "".join(lines_of(self._block(kind, key, part), key) for part in self.parts)
            except FAILURES:
                self._read = self._read_anew()
        return self._read.text(kind, key)

    def _block(self, kind: LineKind, key: str, part: int) -> str:
        row = self._con.execute(BLOCK, (kind, key, part)).fetchone()
        if row is None:
            raise Lost
        return str(row[0] or "")

    def whole(self) -> FileFacts:
        """Return all of it."""
        if self._read is None:
            try:
                self._read = self.whole_of(self.parts)
            except FAILURES:
                self._read = self._read_anew()
        return self._read

    def whole_of(self, parts: Iterable[int]) -> FileFacts:
        """Return what these parts say. Raises Lost, sqlite3.Error."""
        found = FileFacts()
        query = "select body from blocks where part = ? and kind = ?"
        for part in parts:
            texts = {kind: unpacked(body for (body,) in self._con.execute(query, (part, kind))) for kind in LineKind}
            found = found.joined(FileFacts(texts, *(self._weights(part, column) for column in WEIGHTS)))
        return found

    def weights(self, together: bool) -> Weights:
        """Return the weights of pickings of containers; `together`: of batches weighed together."""
        if self._read is None:
            try:
                found = Weights()
                for part in self.parts:
                    more = self._weights(part, WEIGHTS[together])
                    found = found.joined(more) if found.mg else more
                return found
            except FAILURES:
                self._read = self._read_anew()
        return self._read.weights(together)

    def _weights(self, part: int, column: str) -> Weights:
        row = self._con.execute(f"select {column} from parts where part = ?", (part,)).fetchone()
        if row is None:
            raise Lost
        return _weights_of(row[0])

    def _read_anew(self) -> FileFacts:
        """Return what the file itself says, as far as the store did. One that cannot be read says nothing: it is
        looked at again before anything is written.
        """
        try:
            with open(self._source.path, "rb") as file:
                return rows_read(self._farm, self._source, file.read(self._size))[1][0]
        except (OSError, UnreadableFile):
            return FileFacts()


WEIGHTS = ("alone", "together")


def _weights_of(blob: bytes) -> Weights:
    numbers = array("q")
    numbers.frombytes(blob)
    half = len(numbers) // 2
    return Weights(numbers[:half], numbers[half:])


def load(farm: Farm, sources: Mapping[str, TableFile]) -> Summaries:
    """Return what is saved of these files; nothing where the store cannot be used. Raises sqlite3.Error, ValueError."""
    path = farm.folder / STORE
    con = sqlite3.connect(_address(path), uri=True, timeout=SECONDS, isolation_level=None, check_same_thread=False)
    parts: dict[str, tuple[int, ...]] = {}
    with ExitStack() as undone:
        # A store that is torn or another's is let go of at once, for a lock on it would keep others from writing.
        undone.callback(con.close)
        con.execute("pragma trusted_schema = off")
        con.execute("begin")
        if not _ours(con, farm):
            return {}
        for file, part in con.execute("select file, part from parts order by part"):
            parts[file] = (*parts.get(file, ()), part)
        rows = con.execute("select key, of_table, stamp, trouble, shape from files").fetchall()
        con.execute("commit")
        undone.pop_all()
    found: Summaries = {}
    for key, table, stamp, trouble, shape in rows:
        if key in sources:
            said = Stamp(**json.loads(stamp))
            facts = StoredFacts(con, parts[key], farm, sources[key], said.size) if key in parts else None
            found[key] = Summary(table, said, trouble, Shape(**json.loads(shape)), (facts,) if facts else ())
    return found


def _address(path: Path) -> str:
    """Return the path so that SQLite opens what is there and makes nothing."""
    return f"{path.absolute().as_uri()}?mode=rw"


def _ours(con: sqlite3.Connection, farm: Farm) -> bool:
    """Whether this is a store of this layout, written by these settings, which say how cells are read."""
    marks = [con.execute(f"pragma {name}").fetchone()[0] for name in ("application_id", "user_version")]
    return marks == [APPLICATION, LAYOUT] and con.execute("select settings from farm").fetchone() == (
        farm.settings_hash,
    )


def save(farm: Farm, summaries: Summaries) -> None:
    """Save these summaries: what the store has not, where it can be added to; else a store made anew. Raises OSError,
    sqlite3.Error.
    """
    path = farm.folder / STORE
    if any(isinstance(part, StoredFacts) for each in summaries.values() for part in each.facts):
        with closing(sqlite3.connect(_address(path), uri=True, timeout=SECONDS, isolation_level=None)) as con:
            con.execute("pragma synchronous = full")
            con.execute("begin immediate")
            with con:
                if _ours(con, farm):
                    _write(con, summaries)
                    return
    _make(farm, path, {key: replace(each, facts=tuple(map(_own, each.facts))) for key, each in summaries.items()})


def _own(part: FactsByKey) -> FactsByKey:
    return part.whole() if isinstance(part, StoredFacts) else part


def _make(farm: Farm, path: Path, summaries: Summaries) -> None:
    """Make a store of these summaries alone, in one rename."""
    draft = path.with_name(f".{path.name}.{os.getpid()}.new")
    with _cleared(draft):
        with closing(sqlite3.connect(draft, isolation_level=None)) as con:
            con.execute("pragma journal_mode = off")
            con.execute("pragma synchronous = off")
            con.executescript(f"pragma application_id = {APPLICATION}; pragma user_version = {LAYOUT}; {TABLES}")
            con.execute("begin")
            con.execute("insert into farm values (?)", (farm.settings_hash,))
            _write(con, summaries)
            con.execute("commit")
        with open(draft, "rb+") as done:
            os.fsync(done.fileno())
        # What another run left unfinished belongs to the store that goes, and must not be taken for the new one's.
        for old in (path, path.with_name(f"{path.name}-journal")):
            old.unlink(missing_ok=True)
        os.replace(draft, path)
    sync_folder(path.parent)


@contextmanager
def _cleared(draft: Path) -> Iterator[None]:
    """Run the body with no file at this path, and leave none there."""
    draft.unlink(missing_ok=True)
    try:
        yield
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)


def _write(con: sqlite3.Connection, summaries: Summaries) -> None:
    """Write what the store has not of these summaries. What it has of other files, and parts that are in none, go."""
    there = {key: (stamp, shape) for key, stamp, shape in con.execute("select key, stamp, shape from files")}
    parts = dict(con.execute("select part, file from parts").fetchall())
    used: set[int] = set()
    for key, each in summaries.items():
        stamp, shape = json.dumps(asdict(each.stamp)), json.dumps(asdict(each.shape))
        stored = [part for facts in each.facts if isinstance(facts, StoredFacts) for part in facts.parts]
        if any(parts.get(part) != key for part in stored):
            raise sqlite3.OperationalError("another run wrote meanwhile")
        if there.get(key) != (stamp, shape):
            con.execute(
                "insert or replace into files values (?, ?, ?, ?, ?)", (key, each.table, stamp, each.trouble, shape)
            )
        used |= set(_with_parts(con, key, each.facts, stored))
    for part in parts.keys() - used:
        con.execute("delete from blocks where part = ?", (part,))
        con.execute("delete from parts where part = ?", (part,))
    con.executemany("delete from files where key = ?", [(key,) for key in there.keys() - summaries.keys()])


def _with_parts(con: sqlite3.Connection, key: str, facts: Iterable[FactsByKey], stored: list[int]) -> list[int]:
    """Write the parts of this file that are in memory alone, and return those of before that stay."""
    new: list[FactsByKey] = []
    for part in facts:
        if not isinstance(part, StoredFacts):
            new.append(part)
        elif len(part.parts) > PARTS:
            new.append(part.whole_of(part.parts[1:]))
            stored = stored[:1]
    for each in new:
        _insert(con, key, each if isinstance(each, BlockFacts) else packed(each.whole()))
    return stored


def _insert(con: sqlite3.Connection, key: str, facts: BlockFacts) -> None:
    blobs = [each.mg.tobytes() + each.up_to.tobytes() for each in (facts.alone, facts.together)]
    row = (key, facts.letters, *blobs)
    part = con.execute("insert into parts (file, letters, alone, together) values (?, ?, ?, ?)", row).lastrowid
    for kind, bodies in facts.bodies.items():
        rows = ((part, kind, ending, bodies[ending]) for ending in sorted(bodies))
        con.executemany("insert into blocks values (?, ?, ?, ?)", rows)
