"""What telephones exported is taken in at home: nothing is lost, nothing counts twice, what is doubtful is asked."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import WHY_NOT, Browser, chromium, there
from ledgers import here, rows
from weigh_pages import ago, cells, exported, opened, page_of, press, small_farm, weigh

COLUMNS = "picked_on,fresh_weight_g,container,batch,flush,cap_stage,culled_g,picker,entry,note"


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    return small_farm(tmp_path / "farm")


def export(path: Path, *lines: str, header: str = COLUMNS) -> Path:
    path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
    return path


def picked(farm: Path) -> list[tuple[object, ...]]:
    here("refresh", "--farm", farm)
    wanted = f"select container, fresh_weight_g::double from harvests where picked_on >= '{ago(1)}' order by all"
    return rows(farm, wanted)


ONE = f"{ago(0)},412,2,A,,flat,12,Mo,p0000000000000000000a,'=wet"
TWO = f"{ago(0)},300.5,10,A,,,,,p0000000000000000000b,"


def test_each_entry_counts_once_however_often_it_is_taken_in(farm: Path, tmp_path: Path) -> None:
    first = export(tmp_path / "first.csv", ONE)
    told = here("take-in", first, "--farm", farm)
    assert (told.code, told.out) == (0, "first.csv: 1 entry logged.\n"), told.err
    again = export(tmp_path / "again.csv", ONE, TWO)
    assert here("take-in", first, again, "--farm", farm).out == (
        "first.csv: 0 entries logged, 1 known already.\nagain.csv: 1 entry logged, 1 known already.\n"
    )
    assert picked(farm) == [("10", 300.5), ("2", 412.0)]
    kept = rows(
        farm, "select entry, cap_stage, culled_g::double, picker, note, flush from harvests where container = '2'"
    )
    assert kept == [("p0000000000000000000a", "flat", 12.0, "Mo", "=wet", 1)]


def test_what_is_taken_back_is_out_and_stays_out(farm: Path, tmp_path: Path) -> None:
    first = export(tmp_path / "first.csv", ONE, TWO)
    assert here("take-in", first, "--farm", farm).code == 0
    gone = f"{ago(0)},,2,A,,,,,p0000000000000000000c,,p0000000000000000000a"
    new = f"{ago(0)},421,2,A,,,,,p0000000000000000000d,,"
    second = export(tmp_path / "second.csv", gone, new, header=COLUMNS + ",takes_back")
    assert here("take-in", second, "--farm", farm).out == "second.csv: 1 entry logged, 1 taken back.\n"
    assert picked(farm) == [("10", 300.5), ("2", 421.0)]
    # Both files once more, in either order: nothing changes.
    assert here("take-in", second, first, "--farm", farm).out == (
        "second.csv: 0 entries logged, 1 known already.\nfirst.csv: 0 entries logged, 2 known already.\n"
    )
    assert picked(farm) == [("10", 300.5), ("2", 421.0)]
    assert "p0000000000000000000a" in (farm / "kept" / "edited.jsonl").read_text(encoding="utf-8")


def test_the_same_from_two_telephones_is_asked_and_neither_dropped_nor_doubled(farm: Path, tmp_path: Path) -> None:
    one = export(tmp_path / "one.csv", ONE)
    other = export(tmp_path / "other.csv", ONE.replace("000a", "000e"), TWO)
    assert here("take-in", one, "--farm", farm).code == 0
    told = here("take-in", other, "--farm", farm)
    assert (told.code, told.out) == (2, "other.csv: 1 entry logged.\n")
    assert "412 g stands there already, by another entry; two telephones may have logged one picking" in told.err
    assert "other.csv, row 2: left." in told.err
    assert picked(farm) == [("10", 300.5), ("2", 412.0)]
    # Who knows that there were two says so.
    assert here("take-in", other, "--insist", "--farm", farm).code == 0
    assert picked(farm) == [("10", 300.5), ("2", 412.0), ("2", 412.0)]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("picked_on,container\n2026-01-01,2\n", "it has no column fresh_weight_g, batch, entry"),
        ("", "is no export of the weigh page"),
        (f"{COLUMNS}\n{ago(0)},much,2,A,,,,,p1,\n", "row 2: left. fresh_weight_g much: that is no amount"),
        (f"{COLUMNS}\nyesterday,412,2,A,,,,,p1,\n", "row 2: left. row 2: Invalid isoformat"),
        (f"{COLUMNS}\n{ago(0)},412,2,A,,round,,,p1,\n", "there is no such stage"),
    ],
)
def test_what_is_no_export_is_refused_and_nothing_is_written(farm: Path, tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "x.csv"
    path.write_text(text, encoding="utf-8")
    told = here("take-in", path, "--farm", farm)
    assert told.code == 2
    assert said in " ".join(told.err.split()), told.err
    assert picked(farm) == []
    assert here("take-in", tmp_path / "none.csv", "--farm", farm).code == 3


@pytest.fixture
def browser() -> Iterator[Browser]:
    with chromium() as tab:
        yield tab


@pytest.mark.skipif(not there(), reason=WHY_NOT)
def test_from_a_telephone_to_the_farm_and_back(browser: Browser, farm: Path, tmp_path: Path) -> None:
    opened(browser, page_of(farm))
    (tmp_path / "downloads").mkdir()
    weigh(browser, "2", "421")
    first = exported(browser, tmp_path / "downloads")
    assert here("take-in", first, "--farm", farm).code == 0
    browser.tap("#log-list button")
    press(browser, "#yes")
    for key in ("back", "back", "1", "2"):
        browser.tap(f"[data-key='{key}']")
    press(browser, "#log")
    second = exported(browser, tmp_path / "downloads")
    assert [row["takes_back"] for row in cells(second)] == [cells(first)[0]["entry"], ""]
    assert here("take-in", second, "--farm", farm).out.endswith(": 1 entry logged, 1 taken back.\n")
    assert picked(farm) == [("2", 412.0)]
    # Put into the folder by hand instead, it says what it cannot do, and nothing counts twice.
    with second.open(encoding="utf-8", newline="") as lines:
        assert next(csv.reader(lines))[-1] == "takes_back"
