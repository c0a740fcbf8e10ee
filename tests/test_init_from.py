"""A farm of files that a grower has already, end to end: looked at, proposed, made, checked and counted."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from datetime import date, datetime
from pathlib import Path

import openpyxl
import pytest
from ledgers import here
from own_files import saved

from pipeline.farm.conventions import read_conventions

LATE = ("--as-of", "2026-12-31")
# Ounces, pounds, decimal commas, days before months, words of the grower's own, a total at the bottom.
WIDE = """\
Mix;Inoculated;Strain;Base;Treated;Wet substrate (lb);Moisture %;Bucket #;Picked;Weight (oz);Caps;Sky
A1;1/4/2026;grey;straw;boiled;22,0462262185;70;01;1/5/2026;14,5;young;sun
A1;;;;;;;02;13/5/2026 18:30;7,25;flat;-
A1;1/4/2026;grey;straw;boiled;22,0462262185;70;01;2/6/26;3;old;
;;;;;;;;;;;
Total;;;;;;;;;24,75;;
"""
# By hand: 22.0462262185 lb are 10 kg, 3 kg dry. 14.5, 7.25 and 3 oz are 411.068, 205.534 and 85.049 g (exact ounces of
# 28.349523125 g, kept to 0.001 g): 701.651 g. The two buckets share the dry mass evenly.
WIDE_BE = 701.651 / 3000 * 100


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "desk" / "Picking log.csv"
    path.parent.mkdir()
    path.write_bytes(WIDE.replace("\n", "\r\n").encode("utf-8-sig"))
    return path


def yields(folder: Path) -> dict[str, float]:
    said = here("yields", "--by", "all", *LATE, "--farm", folder, "--json")
    assert said.code == 0, said.err
    return said.json[0]  # type: ignore[no-any-return]


def test_a_wide_sheet_of_ounces_and_commas_becomes_a_farm_that_counts_right(log: Path, tmp_path: Path) -> None:
    farm = tmp_path / "farm"
    said = here("init", farm, "--from", log, "--yes")
    assert (said.code, said.err) == (0, "")
    assert f"{farm} is ready: HOW-TO.md, Picking log.csv, farm.toml, observations.csv." in said.out
    assert (farm / log.name).read_bytes() == log.read_bytes()
    told = yields(farm)
    assert told["be_finished_pct"] == pytest.approx(WIDE_BE, rel=1e-12)
    assert told["fresh_g"] == pytest.approx(701.651)
    assert told["units"] == 2
    said = here("check", *LATE, "--farm", farm)
    assert said.code == 0, "a row of totals alone asks for nothing"
    assert said.out.startswith(
        "Set aside: these rows stay in their files and are in no figure. (1)\n"
        "  Picking log.csv, row 6: sums up the rows above, so it is no entry."
    )
    stages = here(
        "query", "select container, cap_stage, picked_on from harvests order by row", "--farm", farm, "--json"
    )
    assert [tuple(each.values()) for each in stages.json] == [
        ("01", "curled", "2026-05-01"),
        ("02", "flat", "2026-05-13"),
        ("01", "turned_up", "2026-06-02"),
    ]


def test_nothing_is_written_until_the_grower_says_so(log: Path, tmp_path: Path) -> None:
    said = here("init", tmp_path / "farm", "--from", log)
    assert said.code == 0
    assert said.err == "Nothing was written. To write it: the same command with --yes.\n"
    assert "Picking log.csv: batches, fillings, harvests" in said.out
    assert all(len(line) <= 80 for line in said.out.splitlines())
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [log]
    assert not (tmp_path / "farm").exists()


def test_what_is_shown_is_what_is_written_and_says_how_it_would_read(log: Path, tmp_path: Path) -> None:
    shown = here("init", tmp_path / "farm", "--from", log).out
    here("init", tmp_path / "farm", "--from", log, "--yes")
    written = (tmp_path / "farm" / "farm.toml").read_text(encoding="utf-8")
    assert "".join(f"  {line}\n" for line in written.splitlines()) in shown
    assert tomllib.loads(written) == {
        "decimal_mark": ",",
        "date_order": "day_month_year",
        "files": {"Picking log.csv": {"tables": ["batches", "fillings", "harvests"]}},
        "headings": {
            "batches": {
                "Mix": "batch",
                "Inoculated": "inoculated_on",
                "Strain": "strain",
                "Base": "substrate",
                "Treated": "treatment",
                "Wet substrate (lb)": {"column": "substrate_wet_kg", "unit": "lb"},
                "Moisture %": "moisture_pct",
            },
            "fillings": {"Mix": "batch", "Bucket #": "container"},
            "harvests": {
                "Mix": "batch",
                "Bucket #": "container",
                "Picked": "picked_on",
                "Weight (oz)": {"column": "fresh_weight_g", "unit": "oz"},
                "Caps": "cap_stage",
            },
        },
        "words": {"cap_stage": {"young": "curled", "old": "turned_up"}, "treatment": {"boiled": "hot_water"}},
    }
    assert '# "14,5" in Picking log.csv, row 2\n' in written
    assert '# "13/5/2026 18:30" in Picking log.csv, row 3\n' in written
    assert "# A guess (Picking log.csv, row 2):\n" in written
    assert '"Sky" stands for no column that gillbook knows.' in shown
    assert "Picking log.csv as batches: 1 row.\n" in shown
    assert "Picking log.csv as fillings: 2 rows.\n" in shown
    assert "Picking log.csv as harvests: 4 rows, of which 1 cannot be used.\n" in shown


def book() -> bytes:
    """A workbook with a wide sheet (the batch's name merged over its rows), one of events, and an empty one."""
    found = openpyxl.Workbook()
    sheet = found.active
    sheet.title = "Log"
    sheet.append([])
    sheet.append(
        [
            "Batch",
            "Spawned",
            "Variety",
            "Substrate",
            "Drained weight (kg)",
            "Water content",
            "Tub",
            "Picked",
            "Yield (lb)",
        ]
    )
    sheet.append(["A", date(2026, 4, 1), "grey", "straw", 10.5, 70, "007", date(2026, 5, 1), 0.5])
    sheet.append([None, None, None, None, None, None, 8, datetime(2026, 5, 2, 10), 0.25])
    sheet.merge_cells("A3:A4")
    events = found.create_sheet("Events")
    events.append(["Day", "What happened", "Tub", "Reason"])
    events.append([date(2026, 4, 20), "pinning", "007", None])
    events.append([date(2026, 6, 1), "thrown out", 8, "green_mould"])
    found.create_sheet("Prices")
    return saved(found)


# By hand: 10.5 kg at 70 % are 3.15 kg dry; half and a quarter pound are 226.796 and 113.398 g.
BOOK_BE = (226.796 + 113.398) / 3150 * 100


def test_a_workbook_of_several_sheets_becomes_a_farm_in_the_folder_that_it_lies_in(tmp_path: Path) -> None:
    data = book()
    (tmp_path / "log.xlsx").write_bytes(data)
    said = here("init", "--from", tmp_path / "log.xlsx", "--yes")
    assert (said.code, said.err) == (0, "")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["HOW-TO.md", "farm.toml", "log.xlsx"]
    assert (tmp_path / "log.xlsx").read_bytes() == data
    use = read_habits_of(tmp_path).files["log.xlsx"]
    assert use.tables == ("batches", "fillings", "observations", "harvests")
    assert use.sheets == {"batches": "Log", "fillings": "Log", "observations": "Events", "harvests": "Log"}
    assert yields(tmp_path)["be_finished_pct"] == pytest.approx(BOOK_BE, rel=1e-12)
    assert here("check", *LATE, "--farm", tmp_path).code == 0
    events = here(
        "query", "select event, container, cause from observations order by row", "--farm", tmp_path, "--json"
    )
    assert [tuple(each.values()) for each in events.json] == [
        ("pins", "007", None),
        ("contaminated", "8", "green_mould"),
    ]


def read_habits_of(folder: Path):  # type: ignore[no-untyped-def]
    from pipeline.farm.settings import read_settings

    return read_conventions(read_settings(tomllib.loads((folder / "farm.toml").read_text(encoding="utf-8")))[0])


OPEN = "Date;Bag;Wt\n3/4/2026;1;1,234\n4/4/2026;2;2,345\n"


def test_what_the_cells_leave_open_is_asked_for_and_can_be_told(tmp_path: Path) -> None:
    (tmp_path / "picks.csv").write_text(OPEN, encoding="utf-8")
    said = " ".join(here("init", tmp_path / "farm", "--from", tmp_path / "picks.csv").out.split())
    assert '"1,234" in picks.csv, row 2 may have decimals, or thousands. Which decimal_mark' in said
    assert "Which decimal_mark do your files have? --decimal-mark" in said
    assert '"3/4/2026" in picks.csv, row 2 can be read as two dates, and no other tells more' in said
    assert 'mend it if it is the other way date_order = "day_month_year"' in said.replace("# ", "")
    told = ["--decimal-mark", ",", "--date-order", "month_day_year"]
    said = " ".join(here("init", tmp_path / "farm", "--from", tmp_path / "picks.csv", *told).out.split())
    assert '"Wt" names no unit, and its middle value, 1.7895, is unlikely in g. Which unit is it in?' in said
    here("init", tmp_path / "farm", "--from", tmp_path / "picks.csv", *told, "--unit", "Wt=kg", "--yes")
    settings = tomllib.loads((tmp_path / "farm" / "farm.toml").read_text(encoding="utf-8"))
    assert settings["headings"]["harvests"]["Wt"] == {"column": "fresh_weight_g", "unit": "kg"}
    assert (settings["decimal_mark"], settings["date_order"]) == (",", "month_day_year")


@pytest.mark.skipif(os.name == "nt", reason="a terminal to type at is made in another way there")
def test_on_a_terminal_what_is_open_is_asked_and_nothing_is_written_without_a_yes(tmp_path: Path) -> None:
    import pty

    (tmp_path / "picks.csv").write_text(OPEN, encoding="utf-8")
    for answer in ("n", "y"):
        typed, terminal = pty.openpty()
        os.write(typed, f"\n,\nkg\nday_month_year\n{answer}\n".encode())
        done = subprocess.run(
            [sys.executable, "-c", "from pipeline.cli import run; run()", "init", "farm", "--from", "picks.csv"],
            cwd=tmp_path,
            stdin=terminal,
            capture_output=True,
            text=True,
            timeout=100,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        assert (tmp_path / "farm").exists() == (answer == "y")
        os.close(typed)
        os.close(terminal)
    written = tomllib.loads((tmp_path / "farm" / "farm.toml").read_text(encoding="utf-8"))
    assert written["headings"]["harvests"]["Wt"] == {"column": "fresh_weight_g", "unit": "kg"}
    assert (written["decimal_mark"], written["date_order"]) == (",", "day_month_year")


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ([], 2, "init: name one folder to make: gillbook init DIR"),
        (["a", "b"], 2, "init: name one folder to make: gillbook init DIR"),
        (["a", "--yes"], 2, "--yes, --unit, --answer and the settings belong to --from FILE. Name the files you have."),
        (["--from", "none.csv"], 2, "none.csv: there is no such file. Name your files by their paths."),
        (["new", "--from", "full"], 2, "full is a folder. Name the files in it by their paths."),
        (["new", "--from", "log.csv", "none.csv"], 2, "none.csv: there is no such file, and the folder is new."),
        (
            ["new", "--from", "log.csv", "--unit", "Weight"],
            2,
            "--unit 'Weight': write it like 'Weight=oz'; units are g,",
        ),
        (
            ["new", "--from", "log.csv", "--date-order", "dmy"],
            2,
            "--date-order 'dmy': it may be one of day_month_year,",
        ),
        (["full", "--from", "log.csv"], 2, "full is not empty, and not all of the files lie in it. Name a new folder"),
        (["taken", "--from", "taken/log.csv"], 2, "taken has a farm.toml already, and nothing was written."),
        (["new", "--from", "log.csv", "full/log.csv"], 2, "have one name. Rename one of them: both would be log.csv."),
        (["new", "--from", "odd.csv"], 2, "No table could be made out in these files, so nothing was written."),
        (["new", "--from", "old.xls"], 3, "old.xls: is of a kind that gillbook does not read (.xls). Save it as .xlsx"),
        (["new", "--from", "latin.csv"], 3, "latin.csv, row 2: is not UTF-8 text (byte 8, value 0xfc)."),
        (["new", "--from", "empty.csv"], 3, "empty.csv: is empty."),
        (["new", "--from", "bad.xlsx"], 3, "bad.xlsx: is no workbook that can be read."),
    ],
)
def test_what_cannot_be_adopted_is_told_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], code: int, said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    for name, text in {"log.csv": WIDE, "full/log.csv": WIDE, "full/x.csv": "x", "taken/log.csv": WIDE}.items():
        Path(name).parent.mkdir(exist_ok=True)
        Path(name).write_text(text, encoding="utf-8")
    Path("taken/farm.toml").write_text("", encoding="utf-8")
    Path("odd.csv").write_text("x,y\n1,2\n", encoding="utf-8")
    Path("latin.csv").write_bytes("a\nb,c\nK\u00fc\n".replace("b,c\n", "").replace("a\n", "a,b,c\n").encode("latin-1"))
    for name in ("old.xls", "empty.csv", "bad.xlsx"):
        Path(name).write_bytes(b"" if name == "empty.csv" else b"PK")
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    told = here("init", *words)
    assert told.code == code
    assert said in told.err
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before
