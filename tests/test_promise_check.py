"""promise check: what is served from what, what can still be promised, what helps, and that chances come true."""

from __future__ import annotations

import shutil
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from calibrate_outlook import DESIGNS
from calibrate_promises import promised
from conftest import Said
from ledgers import here
from outlook_farms import FIRST_MONDAY, simulated, weekly_farm

from pipeline.models.promises import Delivery
from pipeline.models.unsold_records import LeftDay, PickedDay, UnsoldRecords
from pipeline.outlook.backtest import Past, Spans
from pipeline.planning.pickings_ahead import late_level, widened_days
from pipeline.planning.promise_tables import served_in_order
from pipeline.planning.serving import Due, Further, Serving, met
from pipeline.planning.unsold import unsold

AS_OF = FIRST_MONDAY + timedelta(weeks=30)


def in_days(days: int) -> date:
    return AS_OF + timedelta(days=days)


def ask(folder: Path, *words: object) -> Said:
    return here(*words, "--farm", folder, "--as-of", AS_OF)


def flat(text: str) -> str:
    return " ".join(text.split())


def shelves(stock: list[float], picked: list[float], *due: Due) -> Serving:
    """One strain and one draw."""
    return Serving(np.array([stock]), np.array([[picked]]), due)


def test_the_oldest_goes_first_and_nothing_is_sold_too_old() -> None:
    # 1 kg of today, 2 of yesterday, 3 of the day before, which can be sold today for the last time.
    lies = [1.0, 2.0, 3.0]
    got, _ = shelves(lies, [0, 0, 4], Due(0, 4), Due(1, 2), Due(3, 9)).serve()
    # Today 3 + 1 kg go; tomorrow 1 is left of yesterday's and 1 of today's: 2. On day 3 the 4 kg picked then.
    assert got.tolist() == [[4, 2, 4]]
    assert met(got, (Due(0, 4), Due(1, 2), Due(3, 9))).tolist() == [[True, True, False]]
    assert shelves(lies, [0, 0, 0], Due(1, 9)).serve()[0].tolist() == [[3]]
    assert shelves(lies, [0, 0, 0], Due(3, 9)).serve()[0].tolist() == [[0]]


def test_a_strain_serves_its_own_promises_and_any() -> None:
    both = Serving(np.array([[1.0], [5.0]]), np.zeros((2, 1, 1)), (Due(0, 2, 0), Due(0, 5)))
    assert both.serve()[0].tolist() == [[1, 5]]


def test_what_can_be_promised_leaves_what_is_due_later() -> None:
    # 5 kg picked tomorrow can be sold up to day 3; 3 kg are due on day 3, when nothing else comes.
    one = shelves([0, 0, 0], [5, 0, 0, 0], Due(3, 3))
    assert one.can_be_promised(1)[0] == pytest.approx(2, abs=0.01)
    assert one.can_be_promised(3)[0] == 2
    assert one.can_be_promised(4)[0] == 0
    # A kilogram that comes by then frees one.
    assert shelves([0, 0, 0], [5, 0, 1, 0], Due(3, 3)).can_be_promised(1)[0] == pytest.approx(3, abs=0.01)


def test_what_can_be_promised_is_the_most_that_harms_nobody() -> None:
    rng = np.random.default_rng(1)
    for _ in range(20):
        picked = rng.integers(0, 4, 8).astype(float).tolist()
        due = tuple(Due(int(day), float(rng.integers(1, 5))) for day in sorted(rng.choice(8, 3, replace=False)))
        one = shelves([1.0, 1.0, 0.0], picked, *due)
        day = int(rng.integers(0, 8))
        got = one.serve()[0].sum()
        harmless = [
            kg
            for kg in np.arange(0, 12, 0.25)
            if (given := one.serve(Further(day, np.array([kg]))))[0].sum() > got - 1e-9 and given[1][0] > kg - 1e-9
        ]
        assert one.can_be_promised(day)[0] == pytest.approx(max(harmless), abs=0.05)


def test_promises_are_served_by_day_and_those_of_a_strain_first() -> None:
    due = [
        Delivery(in_days(day), buyer, 1, strain)
        for day, buyer, strain in ((2, "A", ""), (2, "B", "grey"), (1, "C", ""))
    ]  # type: ignore[arg-type]
    assert [each.buyer for each in served_in_order(due)] == ["C", "B", "A"]


def test_weeks_are_widened_and_days_keep_their_shares() -> None:
    kg = np.array([[0, 0, 1, 0, 0, 0, 1], [2, 0, 0, 0, 0, 0, 2], [3, 0, 0, 0, 0, 3, 0]], dtype=float)
    wide = widened_days(kg, np.array([2.0]))
    # Sums of 2, 4 and 6 about 4 become 0, 4 and 8.
    assert wide.tolist() == [[0] * 7, kg[1].tolist(), [4, 0, 0, 0, 0, 4, 0]]


def test_unsold_is_what_was_picked_less_what_left() -> None:
    picked = [PickedDay(in_days(-3), "grey", 9), PickedDay(in_days(-1), "grey", 4), PickedDay(in_days(0), "Blue", 2)]
    left = [
        LeftDay(in_days(-1), "", in_days(-1), 1),  # says its day of picking
        LeftDay(in_days(0), "blue", None, 0.5),
        LeftDay(in_days(0), "", None, 1),  # of the oldest that can still be sold
        LeftDay(in_days(0), "blue", None, 99),  # more than there was
    ]
    lies = unsold(UnsoldRecords(picked, left[:3]), ["blue", "the others"], AS_OF.toordinal(), 2)
    assert lies.tolist() == [[1.5, 0, 0], [0, 2, 0]]
    lies = unsold(UnsoldRecords(picked, left), ["blue", "the others"], AS_OF.toordinal(), 3)
    assert lies.tolist() == [[0, 0, 0, 0], [0, 3, 0, 8]]


@pytest.fixture(scope="module")
def weekly(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A batch a week of two buckets, 2 to 2.3 kg on Wednesdays after 30 days and 1 to 1.3 after 44: 3 to 3.6 a week."""
    folder = weekly_farm(tmp_path_factory.mktemp("promises") / "farm", 31)
    rows = [
        f"{in_days(4)},Inn,2900,grey,week,{in_days(18)}",
        f"{in_days(11)},Shop,500,,,",
        f"{in_days(60)},Fair,4000,gray,,",
    ]
    text = "\n".join(["due_on,buyer,weight_g,strain,repeats,until_on", *rows, ""])
    (folder / "promises.csv").write_text(text, encoding="utf-8")
    return folder


def test_each_promise_has_its_chance_and_what_is_short_its_help(weekly: Path) -> None:
    rows = ask(weekly, "promise", "check", "--weeks", 9, "--json").json
    assert [(row["due_on"], row["buyer"], row["promised_kg"]) for row in rows] == [
        *((str(in_days(day)), "Inn", 2.9) for day in (4, 11)),
        (str(in_days(11)), "Shop", 0.5),
        (str(in_days(18)), "Inn", 2.9),
        (str(in_days(60)), "Fair", 4.0),
    ]
    assert [row["enough"] for row in rows[:2]] == [True, True]
    # No batch is of that strain, so nothing is there and nothing helps.
    assert (rows[-1]["chance_pct"], rows[-1]["more_containers"], rows[-1]["inoculate_by"]) == (0, None, None)
    said = flat(ask(weekly, "promise", "check", "--weeks", 9, "--list", "promises").out)
    assert "No batch is of the strain gray, which is promised. Did you mean grey?" in said
    assert f"{in_days(60)}, Fair, 4.00 kg: nothing that can still be begun would make it 80 %." in said


def test_what_is_short_is_begun_by_the_last_day_that_still_helps(weekly: Path) -> None:
    promises = weekly / "promises.csv"
    text = promises.read_text(encoding="utf-8")
    promises.write_text(f"due_on,weight_g,strain\n{in_days(60)},4000,\n", encoding="utf-8")
    words = ("promise", "check", "--weeks", 9, "--list", "promises")
    (row,) = ask(weekly, *words, "--json").json
    said = flat(ask(weekly, *words).out)
    promises.write_text(text, encoding="utf-8")
    # Nothing that runs gives any by then. A bucket gives 1 to 1.15 kg 30 days on: four give 4 kg, on the day itself.
    assert (row["chance_pct"], row["more_containers"], row["more_of"]) == (0, 4, "grey on straw")
    assert row["inoculate_by"] == str(in_days(30))
    help_ = f"4 containers more of grey on straw, inoculated by {in_days(30)}, would make it 80 %."
    assert f"{in_days(60)}, 4.00 kg: {help_}" in said


def test_what_lies_there_counts_once_sales_are_logged(weekly: Path, tmp_path: Path) -> None:
    def room(folder: Path) -> Said:
        return ask(folder, "promise", "check", "--on", AS_OF, "--weeks", 1, "--list", "room", "--json")

    assert room(weekly).json[0]["more80_kg"] == 0
    folder = shutil.copytree(weekly, tmp_path / "sells")
    (folder / "sales.csv").write_text(f"sold_on,weight_g,buyer\n{in_days(-1)},250,Inn\n", encoding="utf-8")
    harvests = [row.split(",") for row in (weekly / "harvests.csv").read_text(encoding="utf-8").splitlines()[1:]]
    lies = sum(float(weight) for day, weight, _ in harvests if str(in_days(-7)) <= day <= str(AS_OF)) / 1000 - 0.25
    # Of the last eight days, less what left. It is too old on the day of the next promise, so all of it is free.
    said = ask(folder, "promise", "check", "--on", AS_OF, "--weeks", 1)
    assert f"As of {AS_OF}: {lies:.2f} kg lie there unsold." in said.err
    assert 0 < room(folder).json[0]["more80_kg"] <= lies


def test_today_says_what_is_due_and_pays_nothing_where_nothing_is(weekly: Path) -> None:
    said = flat(ask(weekly, "today").out)
    assert "Promised for the next seven days:" in said
    assert f"{in_days(4)} Inn grey 2.90 over 99 %" in said
    assert {row["action"] for row in ask(weekly, "today", "--json").json} <= {"pick", "open", "look", "end", "fill"}
    later = here("today", "--farm", weekly, "--as-of", in_days(25))
    assert "Promised" not in later.out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--weeks", 0), "--weeks 0: promises are checked for 1 to 26 weeks."),
        (("--on", "2026-08-02"), "--on 2026-08-02: name a day from 2026-08-03 to 2027-02-01."),
    ],
)
def test_what_cannot_be_checked_is_said(weekly: Path, words: tuple[object, ...], said: str) -> None:
    refused = ask(weekly, "promise", "check", *words)
    assert (refused.code, refused.out, refused.err) == (2, "", f"{said}\n")


def test_a_farm_too_young_says_so(tmp_path: Path) -> None:
    folder = weekly_farm(tmp_path / "farm", 10)
    (folder / "promises.csv").write_text("due_on,weight_g\n2026-03-20,900\n", encoding="utf-8")
    said = here("promise", "check", "--farm", folder, "--as-of", "2026-03-16")
    assert (said.code, said.out) == (0, "")
    assert said.err.startswith("Cannot tell. The records reach back 10 weeks; more than 20 are needed to learn from.")
    today = flat(here("today", "--farm", folder, "--as-of", "2026-03-16").out)
    assert "Promised for the next seven days: Whether it can be met cannot be told. The records reach back" in today


def test_what_is_foreseen_follows_half_of_what_came_of_late() -> None:
    """By hand: of late weeks 40 kg had been foreseen and 25.6 came, .64 of it, whose root is .8."""
    origins, day = np.array([0, 7, 14, 200]), 64
    bands, came = np.full((4, 26, 5), 5.0), np.full((4, 26), np.nan)
    came[0, 0] = 99.0  # ended on day 7, more than eight weeks ago
    came[0, 1:4], came[1, :3], came[2, :2] = 3.2, 3.2, 3.2  # ended on days 14 to 28
    assert late_level(Past(origins, Spans(bands, came), Spans(bands, came)), day) == pytest.approx(0.8)
    # Never below the root of a half, nor above that of 1.6.
    assert late_level(Past(origins, Spans(bands, came / 9), Spans(bands, came)), day) == pytest.approx(0.5**0.5)
    assert late_level(Past(origins, Spans(bands, came * 9), Spans(bands, came)), day) == pytest.approx(1.6**0.5)
    nothing = np.full((4, 26), np.nan)
    assert late_level(Past(origins, Spans(bands, nothing), Spans(bands, nothing)), day) == 1


def test_said_80_comes_true_about_as_often_on_simulated_farms() -> None:
    """All designs: python -m tests.calibrate_promises. Days of one farm share its batches: wider limits here."""
    short = next(each for each in DESIGNS if each.name.startswith("short records, three"))
    farms = [promised(simulated(short, seed), short.today, 300) for seed in range(2000, 2006)]
    assert 0.65 <= np.mean([each.there80 for each in farms]) <= 0.92
    assert np.mean([each.there95 for each in farms]) >= 0.88
