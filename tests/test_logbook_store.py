"""What is saved of the files for the logbook is a keyed store: whatever becomes of it, the files are what counts."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from ledgers import here
from test_logbook_summaries import content, said

from pipeline.farm.folder import Farm, open_farm, table_files
from pipeline.files.looked import Stamp
from pipeline.logbook import store, summaries
from pipeline.logbook.blocks import BlockFacts
from pipeline.logbook.columns import read_columns
from pipeline.logbook.containers import Assignment, Containers
from pipeline.logbook.facts import LineKind
from pipeline.logbook.stored import STORE, load_summaries, save_summaries
from pipeline.logbook.summaries import Summary, current_summaries, rows_read

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
DAY = date(2026, 6, 1)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Farm:
    """The demo farm, of which all is saved."""
    folder = tmp_path_factory.mktemp("stored") / "farm"
    shutil.copytree(DEMO, folder)
    for path in folder.rglob("*.csv"):
        os.utime(path, (1_700_000_000, 1_700_000_000))
    farm = open_farm(folder)
    assert save_summaries(farm, current_summaries(farm, {})[0])
    return farm


def answers(places: Containers) -> list[object]:
    """What entries depend on, of the first containers and batches, each looked up by its key."""
    found: list[object] = [places.usual_g(together=False), places.usual_g(together=True)]
    for name in sorted(places.names)[:40]:
        held = places.held(name, DAY)
        assert held is not None
        found.append((held, places.end(held), places.pickings(held), places.most_g(held), name.lower() in places.names))
    for batch in sorted(places.batch_days)[:40]:
        whole = Assignment(batch, "", places.batch_days[batch])
        found.append((sorted(places.filled_from(batch)), places.end(whole), places.pickings(whole)))
    return found


def test_read_by_keys_it_says_what_the_files_say(demo: Farm) -> None:
    wanted = answers(Containers(demo, current_summaries(demo, {})[0]))
    loaded = load_summaries(demo)
    known, read = current_summaries(demo, loaded)
    assert read == 0
    assert answers(Containers(demo, known)) == wanted
    # Going through all names has read what names them; of the others, only keys were read.
    by_key = [part for each in known.values() if each.table in ("harvests", "observations") for part in each.facts]
    assert [part._read for part in by_key if isinstance(part, store.StoredFacts)] == [None] * len(by_key)
    running = [each.container for each in Containers(demo, known).running(DAY)]
    assert running == [each.container for each in Containers(demo, current_summaries(demo, {})[0]).running(DAY)]
    assert len(running) > 10


TABLE = "picked_on,fresh_weight_g,container,batch,flush,entry,note"
ROWS = {
    "plain": "2026-02-{day:02},4{day},C{at},,1,,",
    "of a batch": "2026-02-{day:02},4{day},,A,,,",
    "of both": "2026-02-{day:02},4{day}.5,C{at},A,,,wet",
    "quoted": '2026-02-{day:02},4{day},"C{at}",A,,,"wet, and ""old"""',
    "with blanks": " 2026-02-{day:02} , 4{day}, C{at} ,-,2 ,,",
    "guarded": "2026-02-{day:02},4{day},'=C{at},A,,,",
    "no day": "soon,4{day},C{at},A,,,",
    "no weight": "2026-02-{day:02},heavy,C{at},A,,,",
    "short": "2026-02-{day:02},4{day},C{at}",
    "long": "2026-02-{day:02},4{day},C{at},A,,,,,x",
    "blank": "",
    "other letters": "2026-02-{day:02},4{day},Kübel {at},Ä,,,",
    "young": "2026-02-{day:02},4{day},C{at},A,,{entry},",
}


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_read_by_columns_a_file_says_what_it_says_row_by_row(farm: Callable[..., Path], end: str) -> None:
    from pipeline.logbook.entry_ids import new_entry_ids
    from pipeline.logbook.facts import youngest_ms

    (entry,) = new_entry_ids(youngest_ms() + 1_000_000)
    lines = [
        row.format(day=1 + at % 28, at=at % 9, entry=entry)
        for at in range(30)
        for row in (*ROWS.values(), ROWS["plain"])
    ]
    folder = farm(batches="batch,inoculated_on\nA,2026-01-01")
    (folder / "harvests.csv").write_bytes(end.join([TABLE, *lines, ""]).encode())
    said_by_both(open_farm(folder), {"harvests.csv"})


def said_by_both(farm: Farm, wanted: set[str]) -> None:
    compared = set()
    for source in table_files(farm.folder, farm.conventions.files):
        data = source.path.read_bytes()
        found = read_columns(source, data, farm, {})
        if found is None:
            continue
        compared.add(source.name)
        _, height, facts = found
        shape, parts = rows_read(farm, source, data)
        assert height == shape.rows
        one, other = (Summary(source.table, Stamp(), facts=each) for each in ((facts,), parts))
        assert said(one) == said(other), source.name
        for key in parts[0].texts[LineKind.ROWS]:
            assert facts.text(LineKind.ROWS, key) == parts[0].text(LineKind.ROWS, key)
    assert compared >= wanted


def test_of_the_demo_farm_columns_say_what_rows_say(demo: Farm) -> None:
    said_by_both(demo, {"batches.csv", "fillings.csv", "observations.csv"})


def test_a_file_that_ends_with_a_sum_is_read_row_by_row(farm: Callable[..., Path]) -> None:
    rows = "\n".join(["2026-02-01,400,7,A,,,"] * 30)
    folder = farm(batches="batch,inoculated_on\nA,2026-01-01", harvests=f"{TABLE}\n{rows}\nTotal,12000,,,,,")
    opened = open_farm(folder)
    (source,) = (each for each in table_files(folder) if each.table == "harvests")
    assert read_columns(source, source.path.read_bytes(), opened, {}) is None


def test_much_is_read_by_columns_and_little_loads_neither_library(demo: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(summaries, "MUCH", 0)
    monkeypatch.setattr(summaries, "MUCH_OF_ONE", 0)
    known, _ = current_summaries(demo, {})
    assert any(isinstance(part, BlockFacts) for each in known.values() for part in each.facts)
    monkeypatch.undo()
    rows, _ = current_summaries(demo, {})
    assert content(known) == content(rows)
    assert answers(Containers(demo, known)) == answers(Containers(demo, rows))


def test_what_is_added_stands_in_parts_of_its_own_until_they_are_many(farm: Callable[..., Path]) -> None:
    folder = farm(batches="batch,inoculated_on\nA,2026-01-01", harvests=f"{TABLE}\n2026-02-01,400,7,A,,,")
    opened, file = open_farm(folder), folder / "harvests.csv"
    known, _ = current_summaries(opened, {})
    assert save_summaries(opened, known)
    counts = []
    for at in range(2 * store.PARTS):
        with file.open("a", encoding="utf-8") as out:
            out.write(f"2026-02-02,{401 + at},7,A,,,\n")
        known, read = current_summaries(opened, load_summaries(opened))
        assert 0 < read < 40
        assert save_summaries(opened, known)
        (part,) = load_summaries(opened)["harvests:harvests.csv"].facts
        assert isinstance(part, store.StoredFacts)
        counts.append(len(part.parts))
        known, _ = current_summaries(opened, load_summaries(opened))
        assert content(known) == content(current_summaries(opened, {})[0])
    assert max(counts) == store.PARTS + 1
    assert min(counts[store.PARTS :]) == 3  # the first, what was added and made one, and what was added since
    # A file that is gone leaves nothing.
    file.unlink()
    assert save_summaries(opened, current_summaries(opened, load_summaries(opened))[0])
    with sqlite3.connect(folder / STORE) as con:
        assert con.execute("select count(*) from parts").fetchone() == (1,)
        assert con.execute("select count(distinct part) from blocks").fetchone() == (1,)


def test_a_store_that_is_torn_anywhere_or_written_anew_meanwhile_changes_no_answer(demo: Farm, tmp_path: Path) -> None:
    folder = tmp_path / "farm"
    shutil.copytree(demo.folder, folder)
    farm = open_farm(folder)
    wanted = answers(Containers(farm, current_summaries(farm, {})[0]))
    data = (folder / STORE).read_bytes()
    page = 4096
    for at in range(0, len(data), max(page, len(data) // 24 // page * page)):
        for torn in (data[:at], data[:at] + bytes(page) + data[at + page :]):
            (folder / STORE).write_bytes(torn)
            known, _ = current_summaries(farm, load_summaries(farm))
            assert answers(Containers(farm, known)) == wanted, at
    (folder / STORE).write_bytes(data)
    known, _ = current_summaries(farm, load_summaries(farm))
    with sqlite3.connect(folder / STORE) as con:
        con.execute("delete from blocks")
        con.execute("delete from parts")
    con.close()
    assert answers(Containers(farm, known)) == wanted


def test_a_store_behind_a_link_is_neither_read_nor_written(demo: Farm, tmp_path: Path) -> None:
    folder = tmp_path / "farm"
    shutil.copytree(demo.folder, folder)
    (folder / STORE).rename(folder / "mine.sqlite")
    was = (folder / "mine.sqlite").read_bytes()
    (folder / STORE).symlink_to("mine.sqlite")
    farm = open_farm(folder)
    assert load_summaries(farm) == {}
    assert not save_summaries(farm, current_summaries(farm, {})[0])
    assert (folder / "mine.sqlite").read_bytes() == was
    (folder / STORE).unlink()
    (folder / STORE).symlink_to(tmp_path / "elsewhere.sqlite")
    refusal = here("weigh", "7", "400", "--farm", folder)
    assert (refusal.code, refusal.err.split(",")[0]) == (2, f"{STORE} is a link that leads out of the farm folder")
    assert not (tmp_path / "elsewhere.sqlite").exists()


def test_where_nothing_can_be_written_the_files_are_read(demo: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise PermissionError

    monkeypatch.setattr(store, "_make", refused)
    assert not save_summaries(demo, current_summaries(demo, {})[0])
