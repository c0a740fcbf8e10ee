"""What a page says of one thing is one number wherever it says it: in tiles, sentences, charts and tables."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest

from pipeline.cli.farm_access import read_ledger
from pipeline.cli.report_command import gather
from pipeline.demo import write_bench
from pipeline.farm.folder import open_farm
from pipeline.models.measures import last_day
from reports import front, page
from reports.figures import Figure
from reports.month import Month
from reports.section import Section
from reports.sections import outlook
from schemas.answers import Direction, StepAnswer
from schemas.result_rows import number_of

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
SEEDS = (11,)


@pytest.fixture(scope="module")
def months(tmp_path_factory: pytest.TempPathFactory) -> list[Month]:
    """Months of the demo farm, and the last one of a simulated farm."""
    folders = [tmp_path_factory.mktemp(f"agrees{at}") / "farm" for at in range(1 + len(SEEDS))]
    shutil.copytree(DEMO, folders[0])
    for folder, seed in zip(folders[1:], SEEDS, strict=True):
        folder.mkdir()
        write_bench(folder, 400, seed)
    return [*gathered(folders[0], 2), *(month for folder in folders[1:] for month in gathered(folder, 1))]


def gathered(folder: Path, months: int) -> Iterator[Month]:
    """The last month with pickings, and with two of them also one of a season before."""
    farm = open_farm(folder)
    with read_ledger(farm, "measures") as ledger:
        (last,) = ledger.connection.execute("select max(picked_on) from harvests").fetchone() or (None,)
        assert isinstance(last, date)
        firsts = [last.replace(day=1), (last.replace(day=1) - timedelta(days=100)).replace(day=1)]
        for first in firsts[:months]:
            yield gather(ledger, farm, first, last_day(first))


def tile(month: Month, name: str) -> float | None:
    (figure,) = [each.figure for each in front.tiles(month) if each.what == name]
    return None if figure is None else figure.value


def numbers(section: Section) -> list[float | None]:
    return [part.value for part in section.sentence if isinstance(part, Figure)]


def test_every_meaning_has_one_value(months: list[Month]) -> None:
    for month in months:
        sections = page.sections(month)
        charts, said = {chart.id: chart for chart in page.charts(month)}, {each.id: each for each in sections}
        headline = [part.value for part in front.headline(month)[0] if isinstance(part, Figure)]
        kg = tile(month, "Picked")
        picked = [kg, headline[0]]
        best = max(number_of(row, "fresh_g") for row in month.rows("picked_days"))
        assert numbers(said["picked"])[0] == best
        picked += [sum(number_of(row, "fresh_g") for row in month.rows(name)) for name in ("strains", "stages")]
        picked.append(1000 * sum(row["kg"] for row in charts["calendar"].rows))
        if "months" in charts:
            picked.append(1000 * charts["months"].rows[-1]["kg"])
        assert picked == pytest.approx([kg] * len(picked)), month.month
        late = month.rows("months")[month.place() or 0]["picked_late_pct"]
        if late is not None:
            bars = [row["share"] for row in charts["stages"].rows if row["colour"] == "late"]
            assert sum(bars) == pytest.approx(late)
            assert numbers(said["stages"])[0] == pytest.approx(late)
        if tile(month, "BE of what finished") is not None:
            assert numbers(said["finished"])[0] == tile(month, "BE of what finished")
        lost = sum(1 for row in month.rows("finished_units") if not row["fresh_g"])
        assert tile(month, "Lost") == lost
        ahead = month.rows("outlook")
        if ahead:
            assert numbers(said["ahead"])[0] == charts["outlook"].rows[0]["mediankg"] == ahead[0]["median_kg"]
            four = [number_of(row, "sum_median_kg") for row in ahead if row["week"] == outlook.WEEKS_SUMMED]
            assert [tile(month, "Next four weeks")] == (four or [None])
            assert all(number_of(row, "planned_kg") <= number_of(row, "high80_kg") for row in ahead)


def test_no_interval_beside_zero_is_called_undecided(months: list[Month]) -> None:
    """An interval that leaves zero out says which way, unless a rule refuses the pair, and then it says why."""
    seen = 0
    for month in months:
        for row in month.rows("compared_pairs"):
            if row["low"] is None or number_of(row, "low") <= 0 <= number_of(row, "high"):
                continue
            seen += 1
            assert row["direction"] != Direction.CANNOT_TELL or row["rules"], row
        for row in month.rows("spawn_steps"):
            low, high = row["be_difference_low_pct"], row["be_difference_high_pct"]
            if (
                low is not None
                and high is not None
                and not number_of(row, "be_difference_low_pct") <= 0 <= number_of(row, "be_difference_high_pct")
            ):
                seen += 1
                assert row["answer"] != StepAnswer.CANNOT_TELL or row["why"], row
    assert seen
