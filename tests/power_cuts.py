"""What a disk may hold after a power cut: a command's writes are recorded, and played back with every kind of loss.

The model. Bytes that were written to a file since it was last forced to disk (fsync) may be lost from any of them on,
the first lost one in part; a file may have its new length with zeros in place of lost bytes. Names that were made,
renamed or removed in a folder since the folder was last forced to disk may be lost from any of them on. A rename is
whole or not at all, also from folder to folder. Times of change are those of the undisturbed run: they tell nothing.
"""

from __future__ import annotations

import os
import random
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

SOURCE = Path(__file__).with_name("watched_writes.c")
# Locks, and what is half written under a name of its own.
CLEARED = re.compile(r"\.lock$|ledger\.next|kept/drafts/|\.new$")
LARGE = 500_000
RUN = "from pipeline.cli import run; run()"
Tree: TypeAlias = "dict[str, Node]"


@dataclass(eq=False)
class Node:
    """A file or a folder. Of a file: its bytes at first, the writes (offset, bytes; None: cut to this size), how many
    of them are on disk for sure."""

    folder: bool = False
    base: bytes = b""
    writes: list[tuple[int, bytes | None]] = field(default_factory=list)
    synced: int = 0
    mtime_ns: int | None = None
    made: dict[tuple[int, int, int, bool], bytes] = field(default_factory=dict)

    def content(self, count: int, torn: int = 0, zeros: bool = False) -> bytes:
        """Its bytes with the first `count` writes, so many bytes of the next one, and zeros for the others."""
        which = (len(self.writes), count, torn, zeros)
        if which not in self.made:
            self.made[which] = self._content(count, torn, zeros)
        return self.made[which]

    def _content(self, count: int, torn: int, zeros: bool) -> bytes:
        found = bytearray(self.base)
        for at, (offset, data) in enumerate(self.writes):
            if data is None:
                if at < count:
                    found = found[:offset].ljust(offset, b"\0")
                continue
            part = data if at < count else data[:torn] if at == count else b""
            if part:
                found = found.ljust(offset, b"\0")
                found[offset : offset + len(part)] = part
            if zeros:
                found = found.ljust(offset + len(data), b"\0")
        return bytes(found)


@dataclass(frozen=True)
class Change:
    """A change of names: `node` gets `name` in `folder` (None: the name goes), and loses the one that it had."""

    folder: Node
    name: str
    node: Node | None
    before: tuple[Node, str] | None = None


@dataclass(frozen=True)
class State:
    """What a disk may hold: files and folders (None) by path; after how many events; whether the command had ended."""

    files: dict[str, bytes | None]
    mtimes: dict[str, int]
    after: int
    ended: bool

    @property
    def digest(self) -> int:
        """States of one number are alike, but for what the next command clears away."""
        parts = [(name, data) for name, data in self.files.items() if not CLEARED.search(name)]
        return hash((tuple(sorted(parts, key=lambda part: part[0])), self.ended))

    def written_to(self, folder: Path) -> Path:
        """Writes it all to this folder, which is emptied before."""
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        for name in sorted(self.files):
            path, data = folder / name, self.files[name]
            if data is None:
                path.mkdir(parents=True, exist_ok=True)
                continue
            path.parent.mkdir(parents=True, exist_ok=True)
            if len(data) > LARGE:
                # A ledger, which is only ever replaced: written once.
                pool = folder.with_name(f"{folder.name}-{hash(data):x}-{self.mtimes.get(name, 0)}")
                if not pool.exists():
                    pool.write_bytes(data)
                os.link(pool, path)
            else:
                path.write_bytes(data)
            if name in self.mtimes:
                os.utime(path, ns=(self.mtimes[name], self.mtimes[name]))
        return folder


def compiled(folder: Path) -> Path:
    """The recorder, made by the C compiler that is there."""
    made = folder / "watched.so"
    compiler = shutil.which("cc") or shutil.which("gcc")
    assert compiler, "a C compiler is needed"
    subprocess.run([compiler, "-shared", "-fPIC", "-w", "-o", str(made), str(SOURCE), "-ldl"], check=True)
    return made


class Recording:
    """A command that was run in `root`, and what it did to the files there."""

    def __init__(self, recorder: Path, root: Path, *words: object, code: int = 0) -> None:
        self.root = root
        self.names: dict[Node, dict[str, Node]] = {}
        self.top = self._read(root)
        log = recorder.with_name(f"log-{root.name}")
        log.unlink(missing_ok=True)
        env = {
            **os.environ,
            "LD_PRELOAD": str(recorder),
            "GILLBOOK_WATCHED": f"{root}/",
            "GILLBOOK_WATCHED_LOG": str(log),
        }
        given = [sys.executable, "-c", RUN, *map(str, words)]
        done = subprocess.run(given, env=env, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL)
        assert done.returncode == code, done.stderr
        self.said = done.stdout + done.stderr
        self.events = list(_events(log))
        self.final = {path: path.stat().st_mtime_ns for path in root.rglob("*") if path.is_file()}

    def _read(self, path: Path) -> Node:
        node = Node(path.is_dir())
        if node.folder:
            self.names[node] = {each.name: self._read(each) for each in path.iterdir()}
        else:
            node.base, node.mtime_ns = path.read_bytes(), path.stat().st_mtime_ns
        return node

    @property
    def moments(self) -> int:
        """After how many events the disk may hold something else than before."""
        return sum(what not in "OX" for what, *_ in self.events) + 1

    def states(self, dice: random.Random, each: int) -> Iterator[State]:
        """After each event, `each` states that the disk may hold then."""
        at_first = {node: dict(names) for node, names in self.names.items()}
        play = _Play(self.root, self.top, self.names)
        for what in self.events:
            play.take(*what)
        for path, mtime_ns in self.final.items():
            play.at(path).mtime_ns = mtime_ns
        # Once more from the beginning, with the nodes that were met.
        play.rewind(at_first)
        for after in range(len(self.events) + 1):
            if after:
                play.take(*self.events[after - 1])
            if 0 < after < len(self.events) and self.events[after - 1][0] in "OX":
                continue
            for at in range(each):
                yield play.state(dice, at, after, after == len(self.events))


def _events(log: Path) -> Iterator[tuple[str, int, int, str, bytes]]:
    with log.open("rb") as lines:
        while line := lines.readline():
            what, handle, offset, count, path = line[:-1].decode().split(" ", 4)
            yield what, int(handle), int(offset), path, lines.read(int(count))


class _Play:
    """The events, one after the other. Nodes that are made are remembered: a second play meets the same ones."""

    def __init__(self, root: Path, top: Node, names: dict[Node, Tree]) -> None:
        self.root, self.top, self.names = root, top, names
        self.made: list[Node] = []
        self.rewind({node: dict(each) for node, each in names.items()})

    def rewind(self, names: dict[Node, Tree]) -> None:
        self.first = {node: dict(each) for node, each in names.items()}
        self.names = {node: dict(each) for node, each in names.items()}
        self.changes: list[Change] = []
        self.synced: set[Change] = set()
        self.handles: dict[int, Node] = {}
        self.met = 0
        nodes = {*self.names, *(node for each in self.names.values() for node in each.values()), *self.made}
        for node in nodes:
            node.writes, node.synced = [], 0

    def _new(self, folder: bool) -> Node:
        if self.met == len(self.made):
            self.made.append(Node(folder))
        node = self.made[self.met]
        self.met += 1
        if folder:
            self.names[node] = {}
        return node

    def place(self, path: Path | str) -> tuple[Node, str]:
        """The folder that this path lies in, and its name there."""
        *folders, name = Path(path).relative_to(self.root).parts
        node = self.top
        for each in folders:
            node = self.names[node][each]
        return node, name

    def at(self, path: Path | str) -> Node:
        if Path(path) == self.root:
            return self.top
        folder, name = self.place(path)
        return self.names[folder][name]

    def _change(self, change: Change) -> None:
        self.changes.append(change)
        _apply(self.names, change)

    def take(self, what: str, handle: int, offset: int, path: str, data: bytes) -> None:
        if what in "CD":
            node = self._new(what == "D")
            self._change(Change(*self.place(path), node))
        if what == "R":
            here, there = path.split("\t")
            assert here, path
            assert there, path
            before = self.place(here)
            self._change(Change(*self.place(there), self.names[before[0]][before[1]], before))
        if what in "UF":
            self._change(Change(*self.place(path), None))
        if what in "OCT":
            self.handles[handle] = self.at(path)
        node = self.handles.get(handle, self.top)
        if what == "T":
            node.writes.append((0, None))
        if what == "W":
            node.writes.append((offset, data))
        if what == "Z":
            node.writes.append((offset, None))
        if what == "S":
            node.synced = len(node.writes)
            self.synced |= {change for change in self.changes if change.folder is node}

    def state(self, dice: random.Random, at: int, after: int, ended: bool) -> State:
        """One of the states: the first five are the extremes, the others are drawn."""
        kind = ("nothing", "all", "names", "zeros", "bytes")[at] if at < 5 else "drawn"
        names = {node: dict(each) for node, each in self.first.items()} | {
            node: {} for node in self.made[: self.met] if node.folder
        }
        left = self._names_left(dice, kind)
        for change in self.changes:
            if change in self.synced or change in left:
                _apply(names, change)
        files: dict[str, bytes | None] = {}
        mtimes: dict[str, int] = {}
        self._walk(names, self.top, "", kind, dice, files, mtimes)
        return State(files, mtimes, after, ended)

    def _names_left(self, dice: random.Random, kind: str) -> set[Change]:
        open_ = [change for change in self.changes if change not in self.synced]
        if kind in ("nothing", "bytes"):
            return set()
        if kind != "drawn":
            return set(open_)
        left: set[Change] = set()
        for folder in dict.fromkeys(change.folder for change in open_):
            of_folder = [change for change in open_ if change.folder is folder]
            left |= set(of_folder[: dice.randint(0, len(of_folder))])
        return left

    def _walk(
        self,
        names: dict[Node, Tree],
        folder: Node,
        before: str,
        kind: str,
        dice: random.Random,
        files: dict[str, bytes | None],
        mtimes: dict[str, int],
    ) -> None:
        for name, node in names[folder].items():
            path = f"{before}{name}"
            if node.folder:
                files[path] = None
                self._walk(names, node, f"{path}/", kind, dice, files, mtimes)
                continue
            # What is cleared away unread may hold anything.
            files[path] = b"half" if CLEARED.search(path) else _content(node, kind, dice)
            if node.mtime_ns is not None:
                mtimes[path] = node.mtime_ns


def _content(node: Node, kind: str, dice: random.Random) -> bytes:
    many = len(node.writes)
    if kind in ("all", "bytes"):
        return node.content(many)
    if kind in ("nothing", "names", "zeros"):
        return node.content(node.synced, 0, kind == "zeros")
    count = dice.choice((node.synced, many, dice.randint(node.synced, many)))
    part = node.writes[count][1] if count < many else None
    torn = dice.randint(0, len(part)) if part and dice.random() < 0.7 else 0
    return node.content(count, torn, dice.random() < 0.4)


def _apply(names: dict[Node, Tree], change: Change) -> None:
    if change.before is not None:
        folder, name = change.before
        if names[folder].get(name) is change.node:
            del names[folder][name]
    if change.node is None:
        names[change.folder].pop(change.name, None)
    else:
        names[change.folder][change.name] = change.node
