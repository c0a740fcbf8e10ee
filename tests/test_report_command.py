"""Does `gillbook report` write the page of the right month, the same bytes each time, and refuse what is no month?"""

import re
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from conftest import gillbook

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
MakeFarm = Callable[..., Path]


@pytest.fixture(scope="module")
def demo_farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("report") / "farm"
    shutil.copytree(DEMO, folder)
    return folder


def test_the_path_of_the_page_is_the_last_line_and_the_default_is_the_last_month_picked(demo_farm: Path) -> None:
    said = gillbook("report", "--farm", demo_farm)
    assert said.code == 0
    page = Path(said.out.splitlines()[-1])
    assert page == demo_farm / "out" / "report-2026-09.html"
    text = page.read_text(encoding="utf-8")
    assert "September 2026" in text
    assert '<time datetime="2026-09-30">' in text


def test_same_ledger_and_month_give_the_same_bytes(demo_farm: Path) -> None:
    page = demo_farm / "out" / "report-2026-07.html"
    assert gillbook("report", "--month", "2026-07", "--farm", demo_farm).code == 0
    first = page.read_bytes()
    (demo_farm / "ledger.duckdb").unlink()
    assert gillbook("report", "--month", "2026-07", "--farm", demo_farm).code == 0
    assert page.read_bytes() == first


def test_figures_on_the_page_are_those_of_the_commands(demo_farm: Path) -> None:
    page = Path(gillbook("report", "--month", "2026-08", "--farm", demo_farm).out.splitlines()[-1])
    months = gillbook("months", "--as-of", "2026-08-31", "--farm", demo_farm, "--json").json
    text = page.read_text(encoding="utf-8")
    assert f"{months[-1]['fresh_g'] / 1000:.2f}" in text
    assert f"{months[-1]['be_finished_pct']:.1f}" in text


def test_estimates_on_the_page_are_those_of_the_commands(demo_farm: Path) -> None:
    page = Path(gillbook("report", "--month", "2026-09", "--farm", demo_farm).out.splitlines()[-1])
    figures = {float(value) for value in re.findall(r'data-value="(-?[0-9.e+-]+)"', page.read_text(encoding="utf-8"))}
    asked = {
        ("flushes", "--by", "substrate"): ("decline_started", "decline_started_low", "decline_gave_high"),
        ("flushes", "--per-flush", "--by", "substrate"): ("decline_per_flush_pct", "decline_per_flush_high_pct"),
        ("pins",): ("median_days", "median_low_days", "pinned_by_28_high_pct"),
        ("another-flush",): ("difference_g_per_day", "difference_g_per_day_low"),
        ("spawn", "--table", "steps"): ("be_difference_pct", "be_difference_high_pct"),
        ("compare",): ("difference", "low"),
        ("outlook",): ("median_kg", "high80_kg", "past_held_80_pct"),
    }
    for command, columns in asked.items():
        rows = gillbook(*command, "--as-of", "2026-09-30", "--farm", demo_farm, "--json").json
        told = {row[column] for row in rows for column in columns if row[column] is not None}
        assert told, command
        assert {value for value in told if not any(abs(value - each) < 1e-9 for each in figures)} == set(), command


def test_the_current_month_is_told_as_of_today(farm: MakeFarm) -> None:
    today = date.today()
    folder = farm(
        batches=f"batch,inoculated_on\nA,{today.replace(day=1)}",
        harvests=f"picked_on,fresh_weight_g,batch\n{today},500,A",
    )
    said = gillbook("report", "--farm", folder)
    page = Path(said.out.splitlines()[-1])
    assert page.name == f"report-{today:%Y-%m}.html"
    assert f'<time datetime="{today}">' in page.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("month", "says"),
    [("2026", "not a month"), ("2026-13", "not a month"), ("May", "not a month"), ("2999-01", "has not begun")],
)
def test_what_is_no_month_is_refused(demo_farm: Path, month: str, says: str) -> None:
    said = gillbook("report", "--month", month, "--farm", demo_farm)
    assert said.code == 2
    assert says in said.err
    assert "Traceback" not in said.err


def test_an_empty_farm_has_a_page_too(tmp_path: Path) -> None:
    assert gillbook("init", tmp_path / "new").code == 0
    said = gillbook("report", "--farm", tmp_path / "new")
    assert said.code == 0
    assert Path(said.out.splitlines()[-1]).is_file()


def test_the_demo_says_the_path_of_its_report_and_ends_with_what_pays(tmp_path: Path) -> None:
    said = gillbook("demo", tmp_path / "demo")
    assert said.code == 0
    page = tmp_path / "demo" / "out" / "report-2026-09.html"
    lines = said.out.splitlines()
    assert str(page) in lines
    assert page.is_file()
    pays = next(at for at, line in enumerate(lines) if line.startswith("What pays"))
    assert pays > lines.index(str(page))
    assert [line for line in lines[pays:] if line.startswith("wheat straw, cold_lime")]


def test_a_page_that_cannot_be_written_is_said(demo_farm: Path) -> None:
    out = demo_farm / "out"
    shutil.rmtree(out, ignore_errors=True)
    out.write_text("in the way", encoding="utf-8")
    said = gillbook("report", "--farm", demo_farm)
    out.unlink()
    assert said.code == 3
    assert "cannot be written" in said.err
    assert "Traceback" not in said.err
