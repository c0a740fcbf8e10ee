"""One entry at the scale: what it says, what it asks about, what it refuses, and taking it back."""

from __future__ import annotations

import csv
import re
import subprocess
import sys
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from conftest import Said
from ledgers import here, refreshed, rows

from pipeline.logbook.amounts import amount
from pipeline.logbook.entry_ids import entry_time_ms, new_entry_ids
from schemas.cell_format import CellFormat
from schemas.finding import WrongRequest

Farm = Callable[..., Path]
TABLES = {
    "batches": "batch,inoculated_on,substrate_wet_kg,moisture_pct\nA,2026-01-01,10,70\nB,2026-03-01,10,70",
    "fillings": "batch,container,fill_kg\nA,7,5\nA,8,5\nB,8,5",
    "observations": "seen_on,event,container,batch\n2026-02-20,contaminated,9,\n2026-04-01,emptied,8,B",
}
HEADER = "picked_on,fresh_weight_g,container,batch,flush,cap_stage,culled_g,picker,entry,note"


@pytest.fixture
def folder(farm: Farm, tmp_path: Path) -> Path:
    """A farm with containers 7 (of A) and 8 (of A, then of B, then emptied), and pickings of some 400 g."""
    made = farm(**TABLES)
    (made / "harvests").mkdir()
    lines = [HEADER, *(f"2026-01-{20 + at},{400 + at},7,A,1,,,,," for at in range(5)), ""]
    (made / "harvests/2026-01.csv").write_text("\n".join(lines), encoding="utf-8")
    return made


def weigh(folder: Path, *words: object) -> Said:
    return here("weigh", *words, "--farm", folder)


def entries(folder: Path, month: str) -> list[dict[str, str]]:
    with (folder / f"harvests/{month}.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def test_an_entry_is_a_row_of_its_months_file_with_batch_flush_and_id(folder: Path) -> None:
    said = weigh(folder, "7", "412", "--on", "2026-02-03", "--stage", "t", "--culled", "12", "--picker", "Mo")
    assert (said.code, said.err) == (0, "")
    (row,) = entries(folder, "2026-02")
    entry = row.pop("entry")
    assert row == {
        "picked_on": "2026-02-03", "fresh_weight_g": "412", "container": "7", "batch": "A", "flush": "2",
        "cap_stage": "turned_down", "culled_g": "12", "picker": "Mo", "note": "",
    }  # fmt: skip
    assert said.out.splitlines() == [
        "Logged: 7 (batch A), 2026-02-03: 412 g, flush 2 (proposed: picked 10 days before), turned_down, "
        "culled 12 g, Mo.",
        f"Written to harvests/2026-02.csv, row 2 (entry {entry}).",
        "7 (batch A) so far: 2422 g in 6 pickings. Take it back: gillbook weigh --undo",
    ]
    refreshed(folder)
    assert rows(folder, f"select batch, container, flush, fresh_weight_g from harvests where entry = '{entry}'") == [
        ("A", "7", 2, Decimal("412"))
    ]
    # The next one stands below it, and the ids sort as they were written.
    weigh(folder, "7", "300", "--on", "2026-02-03")
    first, second = entries(folder, "2026-02")
    assert (first["entry"], second["fresh_weight_g"], second["flush"]) == (entry, "300", "2")
    assert first["entry"] < second["entry"]


def test_the_flush_is_told_from_the_history_unless_it_is_given(folder: Path) -> None:
    assert "flush 1 (proposed: picked 6 days before)" in weigh(folder, "7", "401", "--on", "2026-01-30").out
    assert "flush 2 (proposed: picked 7 days before)" in weigh(folder, "7", "402", "--on", "2026-02-06").out
    assert ", flush 5." in weigh(folder, "7", "403", "--on", "2026-02-07", "--flush", "5").out
    assert "flush 5 (proposed: picked the day before)" in weigh(folder, "7", "404", "--on", "2026-02-08").out
    assert "flush 1 (proposed: its first picking)" in weigh(folder, "8", "405", "--on", "2026-03-20").out


@pytest.mark.parametrize(
    ("words", "grams"),
    [
        (["412"], "412"),
        (["412g"], "412"),
        (["0.41 kg"], "410"),
        (["0.41", "kg"], "410"),
        (["14.5oz"], "411.068"),
        (["1lb 2oz"], "510.291"),
        (["1", "lb", "2", "oz"], "510.291"),
        (["532", "--tare", "120 g"], "412"),
    ],
)
def test_weights_are_read_as_scales_show_them(folder: Path, words: list[str], grams: str) -> None:
    assert weigh(folder, "7", *words, "--on", "2026-02-03").code == 0
    assert entries(folder, "2026-02")[0]["fresh_weight_g"] == grams


@pytest.mark.parametrize("mark", [".", ","])
@pytest.mark.parametrize(
    ("text", "grams"), [("0,41 kg", "410"), ("0.41kg", "410"), ("412,5", "412.5"), ("0,412 kg", "412")]
)
def test_either_decimal_mark_is_taken_where_only_one_reading_exists(mark: str, text: str, grams: str) -> None:
    assert amount("weight", text, "g", "g", CellFormat(mark)).value == Decimal(grams)


def test_a_number_that_may_be_two_is_refused_with_what_to_type(folder: Path) -> None:
    assert amount("", "1.200", "g", "g", CellFormat(",", ".")).value == 1200
    assert amount("", "1.250 kg", "g", "g", CellFormat()).value == 1250
    with pytest.raises(WrongRequest, match=r"1\.250 may be 1250 or 1,250, for the decimal mark of this farm is ,"):
        amount("weight", "1.250", "g", "g", CellFormat(","))
    said = weigh(folder, "7", "1,250")
    assert (said.code, said.out) == (2, "")
    assert "1,250 may be 1250 or 1.250" in said.err
    assert "Write it without the mark, or like 412, 412g" in said.err


def test_a_pooled_weight_is_the_batchs(folder: Path) -> None:
    said = weigh(folder, "--batch", "A", "2.4", "kg", "--on", "2026-02-03")
    assert said.out.startswith(
        "Logged: batch A, 2026-02-03: 2400 g, from 2.4 kg, flush 1 (proposed: its first picking).\n"
    )
    assert {name: entries(folder, "2026-02")[0][name] for name in ("container", "batch")} == {
        "container": "",
        "batch": "A",
    }
    # With a container, the batch says which filling is meant: also one that ended.
    said = weigh(folder, "--batch", "A", "8", "300", "--on", "2026-02-03")
    assert said.out.startswith("Logged: 8 (batch A), 2026-02-03: 300 g")


SET_ASIDE = "so this picking would be set aside until it is"
DOUBTFUL = {
    "unknown": (["70", "400"], rf"container 70 is not in fillings.csv, {SET_ASIDE}. Did you mean 7\?"),
    "not yet filled": (
        ["8", "400", "--on", "2025-12-31"],
        r"container 8 was not filled before 2025-12-31 \(first from batch A, 2026-01-01\)",
    ),
    "another batch's": (
        ["--batch", "B", "7", "400"],
        r"container 7 is no filling of batch B: it would count for the batch as a whole",
    ),
    "unknown batch": (["--batch", "C", "400"], rf"batch C is not in batches.csv, {SET_ASIDE}"),
    "before its batch": (
        ["--batch", "B", "400", "--on", "2026-02-28"],
        r"batch B was inoculated on 2026-03-01, after 2026-02-28: this picking would be set aside",
    ),
    "emptied": (["8", "400", "--on", "2026-04-02"], r"8 \(batch B\) was emptied on 2026-04-01"),
    "emptied that day": (["8", "400", "--on", "2026-04-01"], r"8 \(batch B\) was emptied on 2026-04-01"),
    "filled anew": (
        ["--batch", "A", "8", "400", "--on", "2026-03-02"],
        r"8 \(batch A\) was filled anew on 2026-03-01",
    ),
    "too much": (["7", "4020"], r"4020 g is 10 times the usual 402 g \(one digit too many\?\)"),
    "in ounces": (["7", "14.5"], r"14.5 g is 28 times less than the usual 402 g \(in oz\?\)"),
}


@pytest.mark.parametrize("name", DOUBTFUL)
def test_what_is_doubtful_is_refused_and_written_where_one_insists(folder: Path, name: str) -> None:
    words, message = DOUBTFUL[name]
    words = words if "--on" in words else [*words, "--on", "2026-02-03"]
    said = weigh(folder, *words)
    assert (said.code, said.out) == (2, "")
    ended = "" if message.endswith("?") else r"\."
    assert re.fullmatch(rf"Nothing was written: {message}{ended} If it is right, say so with --insist\.\n", said.err), (
        said.err
    )
    assert len(list((folder / "harvests").iterdir())) == 1
    assert weigh(folder, *words, "--insist").code == 0
    assert len(list((folder / "harvests").iterdir())) == 2


def test_the_same_entry_minutes_ago_is_asked_about(folder: Path) -> None:
    day = ["--on", "2026-02-03"]
    assert weigh(folder, "7", "412", *day).code == 0
    said = weigh(folder, "7", "0.412 kg", *day)
    assert (said.code, said.out) == (2, "")
    assert "the same, 7 (batch A) 412 g, was logged a moment ago. If it is right, say so with --insist." in said.err
    assert weigh(folder, "7", "413", *day).code == 0
    # An older one is another picking.
    file = folder / "harvests/2026-02.csv"
    text = file.read_text(encoding="utf-8")
    for entry in re.findall(r"w[0-9a-z]{14}", text):
        text = text.replace(entry, new_entry_ids((entry_time_ms(entry) or 0) - 605_000)[0])
    file.write_text(text, encoding="utf-8")
    assert weigh(folder, "7", "412", *day).code == 0
    assert [row["fresh_weight_g"] for row in entries(folder, "2026-02")] == ["412", "413", "412"]


TOMORROW = (date.today() + timedelta(2)).isoformat()
WRONG = {
    "a future date": (["7", "412", "--on", TOMORROW], r"--on \S+: that day lies in the future; today is .+"),
    "no date": (["7", "412", "--on", "3.2.x"], r"--on 3.2.x: that is not a date\. .+"),
    "two dates": (["7", "412", "--on", "3.2.2026"], r"--on 3.2.2026: that may be two days\. Write 2026-02-03 or .+"),
    "below zero": (["7", "-5"], r"weigh -5: it must be more than 0\. .+"),
    "zero": (["7", "0"], r"weight 0: it must be more than 0\. Weigh again\."),
    "no weight": (["7", "4l2"], r"weight 4l2: that is no amount\. Write it like 412, 412g, 0.41 kg, .+"),
    "litres": (["7", "4 l"], r"weight 4 l: it cannot be in L\. Write it in g, kg, lb, oz\."),
    "no weight at all": (["7"], r"weigh 7: the weight is missing\. .+"),
    "culls above it": (["7", "412", "--culled", "0.5kg"], r"culled 0.5 kg is more than the 412 g it is part of\. .+"),
    "a heavier tub": (["7", "412", "--tare", "412"], r"--tare 412 g: the tub is not lighter than the 412 g .+"),
    "an unknown stage": (
        ["7", "412", "--stage", "turned"],
        r"--stage turned: there is no such stage\. Did you mean turned_\w+\? Stages: c curled, .+",
    ),
    "flush 0": (["7", "412", "--flush", "0"], r"--flush 0: flushes are counted from 1 to 99\. .+"),
    "undo and more": (["7", "412", "--undo"], r"--undo takes back the last entry; it goes alone\."),
    "a blank picker": (["7", "412", "--picker", " "], r"--picker: the name is missing\."),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_cannot_be_meant_is_refused_also_from_one_who_insists(folder: Path, name: str) -> None:
    words, message = WRONG[name]
    said = weigh(folder, *words, "--insist")
    assert (said.code, said.out) == (2, "")
    assert re.fullmatch(message + "\n", said.err), said.err
    assert len(list((folder / "harvests").iterdir())) == 1


def test_undo_takes_back_the_last_entry_and_no_other(folder: Path) -> None:
    before = (folder / "harvests/2026-01.csv").read_bytes()
    weigh(folder, "7", "401", "--on", "2026-01-30")
    weigh(folder, "7", "402", "--on", "2026-02-03")
    said = weigh(folder, "--undo")
    assert said.code == 0
    assert re.match(r"Taken back: 7 \(batch A\), 2026-02-03: 402 g, flush 1, entered at ", said.out)
    assert said.out.endswith("It stood in harvests/2026-02.csv, row 2.\n")
    assert entries(folder, "2026-02") == []
    # Rows that another entry added since stay.
    with (folder / "harvests/2026-01.csv").open("a", encoding="utf-8") as out:
        out.write("2026-01-31,55,8,A,1,,,,mine,\n")
    assert weigh(folder, "--undo").code == 0
    assert (folder / "harvests/2026-01.csv").read_bytes() == before + b"2026-01-31,55,8,A,1,,,,mine,\n"
    said = weigh(folder, "--undo")
    assert (said.code, said.err) == (2, "There is no entry that gillbook weigh wrote and could take back.\n")


def test_undo_refuses_a_row_that_was_changed_since(folder: Path) -> None:
    weigh(folder, "7", "401", "--on", "2026-02-03")
    weigh(folder, "7", "402", "--on", "2026-02-03")
    file = folder / "harvests/2026-02.csv"
    file.write_text(file.read_text(encoding="utf-8").replace(",402,", ",420,"), encoding="utf-8")
    before = file.read_bytes()
    said = weigh(folder, "--undo")
    assert (said.code, said.out) == (3, "")
    assert said.err == (
        "harvests/2026-02.csv, row 3: the entry was changed since it was written (fresh_weight_g was "
        '"402", now "420"). Nothing was removed. '
        f"If it is wrong: gillbook edit {entries(folder, '2026-02')[1]['entry']} --remove\n"
    )
    assert file.read_bytes() == before
    # One that is gone is said, and the one before it comes next.
    file.write_text("".join(file.read_text(encoding="utf-8").splitlines(keepends=True)[:2]), encoding="utf-8")
    said = weigh(folder, "--undo")
    assert said.code == 3
    assert "has no such entry any more" in said.err
    assert "It was 7 A 402 of " in said.err
    assert len(entries(folder, "2026-02")) == 1
    assert weigh(folder, "--undo").code == 0
    assert entries(folder, "2026-02") == []


def test_undo_finds_the_entry_where_a_spreadsheet_saved_the_file_anew(folder: Path) -> None:
    weigh(folder, "7", "401", "--on", "2026-02-03", "--note", "wet, caps")
    file = folder / "harvests/2026-02.csv"
    with file.open(encoding="utf-8", newline="") as lines:
        header, row = list(csv.reader(lines))
    turned = [list(reversed(header)), ["", *[""] * (len(header) - 1)], list(reversed(row))]
    file.write_text("\r\n".join(";".join(f'"{cell}"' for cell in cells) for cells in turned), encoding="utf-8-sig")
    said = weigh(folder, "--undo")
    assert said.code == 0, said.err
    assert "row 3" in said.out
    assert file.read_text(encoding="utf-8-sig").splitlines()[2:] == []


def test_neither_the_ledger_nor_a_heavy_library_is_needed(folder: Path) -> None:
    heavy = {"polars", "duckdb", "numpy", "altair", "scipy", "pandas", "great_expectations", "rich", "pydantic"}
    told = f"import atexit, sys; atexit.register(lambda: print(*{heavy} & set(sys.modules)))"
    code = f"{told}; from pipeline.cli import run; run()"
    for words in (
        ["weigh", "7", "412", "--on", "2026-02-03"],
        ["weigh", "--undo"],
        ["note", "7", "pins", "--on", "2026-02-03"],
        ["batch", "--like", "A"],
        ["fill", "--batch", "B", "7", "--insist"],
    ):
        done = subprocess.run(
            [sys.executable, "-c", code, *words, "--farm", str(folder)], capture_output=True, text=True, check=True
        )
        loaded = set(done.stdout.splitlines()[-1].split())
        # The library that converts numbers may be there for a number among the options, but never at the scale.
        assert loaded <= ({"pydantic"} if words[0] == "batch" else set()), words
    assert not list(folder.glob("ledger*"))


FIRST_FILLS = [
    ("fill_kg", "7.3", "7", ["4120"], "3650 g"),
    ("volume_l", "20", "7", ["4120"], "4000 g"),
    ("substrate_dry_kg", "2", "7", ["4.12kg"], "3000 g"),
    ("kind", "bucket", "7", ["4120"], "3000 g"),
]


@pytest.mark.parametrize(("column", "fill", "container", "weight", "most"), FIRST_FILLS)
def test_on_a_new_farm_the_fill_is_the_guard(
    farm: Farm, column: str, fill: str, container: str, weight: list[str], most: str
) -> None:
    folder = farm(batches=TABLES["batches"], fillings=f"batch,container,{column}\nA,7,{fill}\nA,8,{fill}")
    said = weigh(folder, container, *weight, "--on", "2026-02-03")
    assert (said.code, said.out) == (2, "")
    assert f"4120 g is more than a container of its fill gives at once, {most} at the most" in said.err
    assert weigh(folder, "7", "412", "--on", "2026-02-03").code == 0
    assert weigh(folder, "--batch", "A", "4120", "--on", "2026-02-04").code == 0
    said = weigh(folder, "--batch", "A", "41200", "--on", "2026-02-04")
    assert (said.code, "41200 g is more than all of batch A gives at once" in said.err) == (2, True)
