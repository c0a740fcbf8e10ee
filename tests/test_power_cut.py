"""After a power cut at any moment, with any legal loss of what was not forced to disk (power_cuts.py has the model),
the next command finds every acknowledged entry, the new one whole or not at all, and the old ledger or the new one.

Two commands in `make test`; GILLBOOK_CRASH_STATES says how many states of the disk a command, and then all commands are
cut, as `make crash` does. Needs Linux and a C compiler.
"""

from __future__ import annotations

import os
import random
import shutil
import sys
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path

import pytest
from conftest import write_table
from ledgers import here, refreshed, rows
from power_cuts import Recording, State, compiled
from test_logbook_summaries import content

from pipeline.cli.farm_access import open_the_farm
from pipeline.farm.folder import is_farm, open_farm
from pipeline.ledger.history import read_history
from pipeline.logbook import journal, lost
from pipeline.logbook.stored import STORE, load_summaries
from pipeline.logbook.summaries import current_summaries

STATES = int(os.environ.get("GILLBOOK_CRASH_STATES", "0"))
# So many states that differ are followed by a refresh, which takes long: after entries, and after a refresh.
AFTER_ENTRIES, AFTER_REFRESH = 1, 20 if STATES else 1
Files = dict[str, bytes]
DAY = "2026-02-03"

pytestmark = pytest.mark.skipif(
    sys.platform != "linux" or not (shutil.which("cc") or shutil.which("gcc")),
    reason="writes are recorded by C on Linux",
)


@pytest.fixture(scope="module")
def recorder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return compiled(tmp_path_factory.mktemp("recorder"))


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A farm that was loaded, and logged to since."""
    folder = tmp_path_factory.mktemp("loaded") / "farm"
    folder.mkdir()
    (folder / "farm.toml").write_text('name = "Cut"\n', encoding="utf-8")
    write_table(folder, "batches", "batch,inoculated_on,substrate_wet_kg,moisture_pct\nA,2026-01-01,10,70")
    write_table(folder, "fillings", "batch,container,fill_kg\n" + "\n".join(f"A,{at},5" for at in range(1, 5)))
    write_table(
        folder, "harvests", "picked_on,fresh_weight_g,container\n2026-02-01,300,1\n2026-02-01,310,2", "harvests/old.csv"
    )
    refreshed(folder)
    for words in (["weigh", "1", "401"], ["weigh", "2", "402"], ["note", "3", "4", "pins"]):
        assert here(*words, "--on", DAY, "--farm", folder).code == 0
    return folder


@pytest.fixture
def disk(tmp_path: Path, loaded: Path) -> Path:
    """A folder with the farm in it, as it was loaded and logged to."""
    (tmp_path / "disk").mkdir()
    shutil.copytree(loaded, tmp_path / "disk/farm")
    return tmp_path / "disk"


def table_files(folder: Path) -> Files:
    """The grower's files."""
    found = [path for path in folder.rglob("*.csv") if not {"kept", "out"} & set(path.relative_to(folder).parts)]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found if not path.name.startswith(".")}


def copies_of(folder: Path) -> Files:
    kept = folder / "kept/files"
    return {path.relative_to(kept).as_posix(): path.read_bytes() for path in kept.rglob("*") if path.is_file()}


def tables_of(folder: Path) -> dict[str, list[tuple[object, ...]]]:
    names = [str(name) for (name,) in rows(folder, "show tables")]
    sums = "select count(*), coalesce(sum(hash(t)::hugeint), 0) from {} as t"
    return {name: rows(folder, sums.format(name)) for name in names}


def quietly(folder: Path) -> None:
    """What every command does first."""
    with redirect_stdout(StringIO()), redirect_stderr(StringIO()):
        open_the_farm(folder)


def cut(recording: Recording, tmp_path: Path, check: Callable[[State, Path], None], states: int) -> tuple[int, int]:
    """Checks states of the disk; returns how many there were, and how many that differ."""
    dice = random.Random(4)
    each = max(6, -(-states // recording.moments))
    tried, seen = 0, set()
    for state in recording.states(dice, each):
        tried += 1
        if state.digest in seen:
            continue
        seen.add(state.digest)
        check(state, state.written_to(tmp_path / "crashed") / "farm")
    return tried, len(seen)


def logged_whole(disk: Path, tmp_path: Path, recorder: Path, *words: str) -> None:
    """Cuts a command that writes entries."""
    before = table_files(disk / "farm")
    recording = Recording(recorder, disk, *words, "--farm", disk / "farm")
    after = table_files(disk / "farm")
    assert before != after
    refreshes = [0]
    wanted: dict[bool, object] = {}

    def check(state: State, folder: Path) -> None:
        quietly(folder)
        found = table_files(folder)
        assert found in ([after] if state.ended else [before, after]), (state.after, words)
        opened = open_farm(folder)
        assert lost.lost_entries(opened) == [], (state.after, words)
        assert not journal.read_journal(opened).unfinished
        if refreshes[0] < AFTER_ENTRIES:
            refreshes[0] += 1
            refreshed(folder)
            tables = tables_of(folder)
            # The ledger is made of the files alone.
            assert wanted.setdefault(found == after, tables) == tables

    many = cut(recording, tmp_path, check, STATES or 60)
    print(
        f"{' '.join(words[:2])}: {many[0]} states after {recording.moments} moments, {many[1]} of them differ: all hold"
    )


LOGGING = {
    "weigh": ("weigh", "1", "412", "--on", DAY),
    "weigh a new month": ("weigh", "1", "412", "--on", "2026-03-03"),
    "note": ("note", "1-3", "pins", "--on", DAY, "--insist"),
    "batch": ("batch", "B", "--on", "2026-01-20", "--substrate", "straw", "--strain", "grey"),
    "fill": ("fill", "11-13", "--batch", "A", "--kg", "5", "--insist"),
    "edit": ("edit", "2", "--on", DAY, "--table", "harvests", "--set", "weight=999", "--yes"),
    "edit that removes": ("edit", "2", "--on", DAY, "--table", "harvests", "--remove", "--yes"),
    "undo": ("weigh", "--undo"),
    "undo of several": ("note", "--undo"),
}
FEW = ("weigh",)


@pytest.mark.parametrize("name", LOGGING if STATES else FEW)
def test_an_entry_is_whole_or_not_there_and_what_was_acknowledged_stays(
    disk: Path, tmp_path: Path, recorder: Path, name: str
) -> None:
    logged_whole(disk, tmp_path, recorder, *LOGGING[name])


@pytest.mark.parametrize("saved", [False, True])
def test_what_is_saved_of_the_files_is_whole_or_made_anew(
    disk: Path, tmp_path: Path, recorder: Path, saved: bool
) -> None:
    """Made whole at first, added to later: afterwards it says what the files say, or is not used."""
    notes = disk / "farm/harvests/notes.csv"
    row = f"2026-02-01,320,1,{'wet ' * 1000}\n"
    notes.write_text(f"picked_on,fresh_weight_g,container,note\n{row * 30}", encoding="utf-8")
    if saved:
        assert here("weigh", "1", "411", "--on", DAY, "--insist", "--farm", disk / "farm").code == 0
        with notes.open("a", encoding="utf-8") as out:
            out.write(row * 30)
    assert (disk / "farm" / STORE).exists() == saved
    recording = Recording(recorder, disk, "weigh", "1", "412", "--on", DAY, "--insist", "--farm", disk / "farm")
    assert (disk / "farm" / STORE).exists()
    used = [0]

    def check(state: State, folder: Path) -> None:
        quietly(folder)
        opened = open_farm(folder)
        known = load_summaries(opened)
        used[0] += bool(known)
        assert content(current_summaries(opened, known)[0]) == content(current_summaries(opened, {})[0]), state.after

    many = cut(recording, tmp_path, check, STATES or 30)
    assert used[0] > 0
    print(f"the store of the logbook: {many[0]} states, {many[1]} of them differ, {used[0]} were used: all hold")


@pytest.mark.skipif(not STATES, reason="make crash")
def test_entries_are_put_back_whole_or_not_at_all(disk: Path, tmp_path: Path, recorder: Path) -> None:
    folder = disk / "farm"
    file = folder / "harvests/2026-02.csv"
    entry = journal.undoable(open_farm(folder))[1].entry.encode()
    before = file.read_bytes()
    file.write_bytes(b"".join(line for line in before.splitlines(keepends=True) if entry not in line))
    without = table_files(folder)
    recording = Recording(recorder, disk, "lost", "--put-back", "--farm", folder)
    after = table_files(folder)

    def check(state: State, folder: Path) -> None:
        quietly(folder)
        found = table_files(folder)
        assert found in ([after] if state.ended else [without, after])
        assert [each.entry.encode() for each in lost.lost_entries(open_farm(folder))] == [entry] * (found == without)

    many = cut(recording, tmp_path, check, STATES)
    print(f"lost --put-back: {many[0]} states, {many[1]} of them differ: all hold")


@pytest.mark.parametrize("ledger", ["there", "not yet"] if STATES else ["there"])
def test_the_ledger_is_the_old_one_or_the_new_one(disk: Path, tmp_path: Path, recorder: Path, ledger: str) -> None:
    folder = disk / "farm"
    if ledger == "not yet":
        for path in (folder / "ledger.duckdb", folder / "ledger.manifest.json"):
            path.unlink()
        shutil.rmtree(folder / "kept")
    old = {path.name: path.read_bytes() for path in folder.glob("ledger.duckdb")}
    old_copies, files = copies_of(folder), table_files(folder)
    lines = len(read_history(open_farm(folder)).records)
    recording = Recording(recorder, disk, "refresh", "--farm", folder)
    new, new_copies, tables = (folder / "ledger.duckdb").read_bytes(), copies_of(folder), tables_of(folder)
    new_lines = len(read_history(open_farm(folder)).records)
    assert new_lines > lines
    refreshes = [0, 0]

    def check(state: State, folder: Path) -> None:
        there = [path.read_bytes() for path in folder.glob("ledger.duckdb")]
        assert there in ([[new]] if state.ended else [[*old.values()], [new]]), state.after
        for name, data in copies_of(folder).items():
            assert data in (old_copies.get(name), new_copies[name]), (state.after, name)
        assert table_files(folder) == files
        if refreshes[state.ended] < AFTER_REFRESH:
            refreshes[state.ended] += 1
            refreshed(folder)
            assert tables_of(folder) == tables
            assert copies_of(folder) == new_copies
            found = read_history(open_farm(folder))
            assert (len(found.records), found.torn) == (new_lines, []) or found.torn

    many = cut(recording, tmp_path, check, STATES or 60)
    print(f"refresh, ledger {ledger}: {many[0]} states, {many[1]} of them differ: all hold")


@pytest.mark.skipif(not STATES, reason="make crash")
def test_a_file_is_given_up_or_not(disk: Path, tmp_path: Path, recorder: Path) -> None:
    folder = disk / "farm"
    refreshed(folder)
    (folder / "harvests/old.csv").unlink()
    refreshed(folder)
    before = tables_of(folder)
    recording = Recording(recorder, disk, "forget", "harvests/old.csv", "--farm", folder)
    after = tables_of(folder)
    assert before != after
    refreshes = [0, 0]

    def check(state: State, folder: Path) -> None:
        if refreshes[state.ended] < AFTER_REFRESH:
            refreshes[state.ended] += 1
            refreshed(folder)
            assert tables_of(folder) in ([after] if state.ended else [before, after]), state.after
        data = [path.read_bytes() for path in folder.glob("kept/*/harvests/harvests/old.csv")]
        assert [each.count(b"2026-02-01") for each in data] == [2]

    many = cut(recording, tmp_path, check, STATES)
    print(f"forget: {many[0]} states, {many[1]} of them differ: all hold")


@pytest.mark.skipif(not STATES, reason="make crash")
def test_a_page_is_the_old_one_or_the_new_one(disk: Path, tmp_path: Path, recorder: Path) -> None:
    folder = disk / "farm"
    refreshed(folder)
    page = folder / "out/report-2026-02.html"
    page.parent.mkdir()
    page.write_text("the old one", encoding="utf-8")
    ledger, files = (folder / "ledger.duckdb").read_bytes(), table_files(folder)
    recording = Recording(recorder, disk, "report", "--month", "2026-02", "--as-of", "2026-02-28", "--farm", folder)
    new = page.read_bytes()

    def check(state: State, folder: Path) -> None:
        found = (folder / "out/report-2026-02.html").read_bytes()
        assert found in ([new] if state.ended else [b"the old one", new])
        assert (folder / "ledger.duckdb").read_bytes() == ledger
        assert table_files(folder) == files

    many = cut(recording, tmp_path, check, STATES)
    print(f"report: {many[0]} states, {many[1]} of them differ: all hold")


@pytest.mark.skipif(not STATES, reason="make crash")
@pytest.mark.parametrize("where", ["a new folder", "where they lie"])
def test_a_farm_made_of_files_is_there_whole_or_not_at_all(tmp_path: Path, recorder: Path, where: str) -> None:
    disk = tmp_path / "disk"
    home = disk / "farm" if where == "where they lie" else disk / "mine"
    home.mkdir(parents=True)
    path = write_table(home, "batches", "Batch,Inoculated on,Wet kg\nA,2026-01-01,10\nB,2026-01-08,12", "mine.csv")
    mine = path.read_bytes()
    given = [disk / "farm"] if where == "a new folder" else []
    recording = Recording(recorder, disk, "init", *given, "--from", path, "--yes")
    after = {each.name: each.read_bytes() for each in (disk / "farm").iterdir() if each.is_file()}
    assert "farm.toml" in after

    def check(state: State, folder: Path) -> None:
        assert (tmp_path / "crashed" / home.name / "mine.csv").read_bytes() == mine
        if state.ended or (folder / "farm.toml").exists() or (where == "a new folder" and folder.exists()):
            assert is_farm(folder)
            assert {each.name: each.read_bytes() for each in folder.iterdir() if each.is_file()} == after

    many = cut(recording, tmp_path, check, STATES)
    print(f"init --from, {where}: {many[0]} states, {many[1]} of them differ: all hold")
