"""The share with pins by a day, compared: what counts as what, and does it agree with `pins`?"""

from collections.abc import Mapping
from datetime import date, timedelta
from pathlib import Path
from time import perf_counter
from typing import Any

import calibrate_growth
import growth_farms
import numpy as np
import pytest
from compare_farms import batches, compared, write_farm
from conftest import Said, gillbook
from growth_tables import pinned_by_soak

from pipeline.compare.comparison import compare
from pipeline.compare.factors import levels
from pipeline.compare.measures import measure_of
from pipeline.compare.query import ComparisonQuery
from pipeline.compare.share_by_day import with_share_by
from pipeline.compare.tables import level_rows
from pipeline.farm.folder import open_farm
from pipeline.farm.settings import default_settings
from pipeline.ledger.refresh import refresh
from pipeline.models.view import Query
from pipeline.models.view import opened as opened_ledger
from pipeline.stats.incidence import pseudo_values

JAN = date(2026, 1, 5)


def by_level(folder: Path, day: int, as_of: date = date(2026, 12, 31), **asked: Any) -> dict[str, dict[str, Any]]:
    answer = compared(folder, measure="days", as_of=as_of, to_day=day, **asked)
    return {row["level"]: row for row in level_rows(answer)}


def soak_values(folder: Path, day: int, as_of: date = date(2026, 12, 31)) -> dict[str, float]:
    answer = compared(folder, measure="days", as_of=as_of, to_day=day)
    used = [cell for level in answer.levels for cell in level.used]
    return {cell.soak: cell.value for cell in used if cell.value is not None}


def sides(mulch_pins: int = 30, mulch_lost: int = 1) -> list[dict[str, Any]]:
    """Three soaks of straw, pins on day 20 in 4 of 4, 4 of 4 and 3 of 4; three of mulch, later and with losses."""
    straw = batches("straw", [60, 60, 60], JAN, containers=4, pins=20)
    straw[2]["lost"] = 1
    mulch = batches("mulch", [0, 0, 0], JAN + timedelta(1), containers=4, pins=mulch_pins, lost=mulch_lost)
    return [*straw, *mulch]


def test_where_nobody_waits_a_soak_says_its_own_share_and_a_lost_unit_never_had_pins(tmp_path: Path) -> None:
    rows = sides(mulch_lost=1)
    rows[3]["lost"], rows[4]["pins"] = 2, 20
    write_farm(tmp_path, rows)
    # By hand: of 4 containers 4, 4 and 3 had pins on day 20; of mulch one soak alone was that quick, 1 of its 4 lost.
    assert soak_values(tmp_path, 21) == pytest.approx(
        {"batch N01": 100, "batch N02": 100, "batch N03": 75, "batch N04": 0, "batch N05": 75, "batch N06": 0}
    )
    # By day 30 all have pins but those lost on day 20.
    assert soak_values(tmp_path, 30) == pytest.approx(
        {"batch N01": 100, "batch N02": 100, "batch N03": 75, "batch N04": 50, "batch N05": 75, "batch N06": 75}
    )
    told = by_level(tmp_path, 21)
    assert (told["straw"]["units"], told["mulch"]["units"]) == (12, 12)
    assert (told["straw"]["estimate"], told["mulch"]["estimate"]) == pytest.approx((275 / 3, 25))
    assert told["straw"]["high"] == 100  # limits of a share


def waiting_farm(folder: Path) -> date:
    """Batches of one container; the last of straw is 10 days old and waits."""
    plain = {"containers": 1, "be": 60}
    rows: list[Mapping[str, Any]] = [
        {"substrate": "straw", "on": JAN, "pins": 20, **plain},
        {"substrate": "straw", "on": JAN + timedelta(1), "lost": 1, **plain},
        {"substrate": "mulch", "on": JAN, "pins": 20, **plain},
        {"substrate": "mulch", "on": JAN + timedelta(1), "pins": 30, **plain},
        {"substrate": "straw", "on": date(2026, 12, 21), "containers": 1, "open": True},
    ]
    write_farm(folder, rows)
    return date(2026, 12, 31)


def test_a_unit_that_waits_is_kept_in_and_says_what_the_others_tell_of_it(tmp_path: Path) -> None:
    as_of = waiting_farm(tmp_path)
    # By hand, n = 5: one waits from day 10 on, one is lost on day 20 with two pinned then, one is pinned on day 30. Of
    # the 4 at risk on day 20 two get pins: F = 2/4. Influences on F = events / at risk: (event - F) / 4, and 0 for the
    # one that left before. Pseudo-value F + 5 x influence: event 1/2 + 5/8, none 1/2 - 5/8, waiting 1/2.
    assert soak_values(tmp_path, 25, as_of) == pytest.approx(
        {"batch N01": 112.5, "batch N02": -12.5, "batch N03": 112.5, "batch N04": -12.5, "batch N05": 50}
    )
    straw = by_level(tmp_path, 25, as_of)["straw"]
    assert (straw["soaks"], straw["soaks_not_yet"], straw["estimate"]) == (3, 0, pytest.approx(50))
    assert 0 <= straw["low"] < straw["high"] <= 100
    # To a day that it has reached, it had no pins.
    assert soak_values(tmp_path, 10, as_of) == pytest.approx({f"batch N0{at}": 0 for at in range(1, 6)})


def test_where_all_that_are_told_fared_alike_the_young_wait_and_no_spread_is_no_evidence(tmp_path: Path) -> None:
    rows = [*sides(), {"substrate": "mulch", "on": date(2026, 12, 21), "containers": 2, "open": True}]
    write_farm(tmp_path, rows)
    mulch = by_level(tmp_path, 25)["mulch"]
    assert (mulch["soaks"], mulch["soaks_not_yet"], mulch["units_not_yet"]) == (3, 1, 2)
    # 0 of 3 soaks still allow 1 - .05^(1/3) = 63.2 %.
    assert (mulch["estimate"], mulch["low"], mulch["high"]) == (0, 0, pytest.approx(63.16, abs=0.01))
    (told,) = compared(tmp_path, measure="days", to_day=25).pairs
    assert "R5" in [reason.rule for reason in told.judgement.stopped]


def test_picked_without_a_note_of_pins_the_noted_ones_of_the_batch_stand_for_it(tmp_path: Path) -> None:
    rows = sides()
    rows.append({"substrate": "straw", "on": JAN + timedelta(3), "be": 60, "containers": 2})
    write_farm(tmp_path, rows)
    path = tmp_path / "observations.csv"
    kept = [line for line in path.read_text(encoding="utf-8").splitlines() if "pins,N03,N03-3" not in line]
    path.write_text("\n".join(kept) + "\n", encoding="utf-8")
    assert soak_values(tmp_path, 25)["batch N03"] == pytest.approx(75)
    straw = by_level(tmp_path, 25)["straw"]
    # The last batch notes no pins at all, so it tells nothing.
    assert (straw["soaks"], straw["units"], straw["units_without"]) == (3, 12, 0)
    assert "batch N07" not in soak_values(tmp_path, 25)


def test_where_each_soak_holds_one_level_it_says_what_pins_tells_of_it(tmp_path: Path) -> None:
    as_of = waiting_farm(tmp_path)
    opened = open_farm(tmp_path)
    refresh(opened, "test")
    with opened_ledger(opened.ledger, opened.settings) as ledger:
        view = ledger.view(Query(as_of, ("substrate",)))
        told = {soak: share for (_, soak), share in pinned_by_soak(view, 25).items()}
    assert soak_values(tmp_path, 25, as_of) == pytest.approx(told)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_on_simulated_farms_the_mean_over_a_soak_is_its_pseudo_value(seed: int) -> None:
    units = growth_farms.started(np.random.default_rng(seed), 6, 0, 5, 60.0)
    rows = with_share_by(units.rows, levels(units.rows, "substrate"), "days", 25, units.as_of)
    ends = {fate: end for end, fate in growth_farms.FATES.items()}
    waits, over = rows.waits["days"], rows.parts["days"].over
    told = pseudo_values(waits.day, [ends[fate] for fate in waits.fate.tolist()], waits.batch, 25)
    for soak, value in told.items():
        assert over[waits.batch == soak].mean() == pytest.approx(value)
    assert not np.isin(over, (0.0, 1.0)).all()


@pytest.mark.parametrize(("alone", "split"), [(6, 0), (0, 6)])
def test_two_levels_that_are_alike_seldom_seem_to_differ(alone: int, split: int) -> None:
    # By simulation: 3-5 % false alarms; 300 farms tell it to +- 2.5 points.
    alarms, verdicts = calibrate_growth.compared_alarms(alone, split, 80.0, 300, seed=5)
    assert alarms < 0.075
    assert verdicts <= alarms


def ask(farm: Path, *words: object, as_of: str = "2026-12-31") -> Said:
    return gillbook("compare", "substrate", "--measure", "days", *words, "--farm", farm, "--as-of", as_of)


def test_the_command_tells_points_of_the_share_and_says_so_in_a_sentence(tmp_path: Path) -> None:
    rows = sides(mulch_pins=45, mulch_lost=0)
    rows[3]["pins"], rows[3]["lost"] = 20, 3
    write_farm(tmp_path, rows)
    (pair,) = ask(tmp_path, "--to-day", 25, "--json").json
    assert (pair["measure"], pair["unit"], pair["smallest_effect"]) == ("days", "points", 10)
    assert (pair["level"], pair["against"]) == ("straw", "mulch")
    # By hand: 100, 100, 75 against 25, 0, 0. Both have the variance 625/3, so SE^2 = 2 x (625/3)/3 = 11.8^2, with 4
    # degrees of freedom: t = 2.7764, so 83.33 -+ 32.72.
    assert pair["difference"] == pytest.approx(250 / 3)
    assert pair["standard_error"] == pytest.approx((2 * 625 / 9) ** 0.5)
    assert (pair["direction"], pair["worth"]) == ("more", "worth it")
    assert "straw had more with pins by day 25 than mulch: by 50.6 to 116.1 points, about 83.3." in pair["sentence"]
    said = ask(tmp_path, "--to-day", 25)
    assert said.out.startswith("With pins by day 25 by substrate, as of 2026-12-31.")
    assert all(len(line) <= 80 for line in said.out.splitlines())
    # Without a day, it is still the mean days of those that had pins.
    assert [row["unit"] for row in ask(tmp_path, "--json").json] == ["days"]


def test_the_farm_says_from_when_a_share_with_pins_counts(tmp_path: Path) -> None:
    write_farm(tmp_path, sides(mulch_pins=45), "worthwhile_pins_points = 70")
    (pair,) = ask(tmp_path, "--to-day", 50, "--json").json
    assert pair["smallest_effect"] == 70
    assert pair["direction"] == "cannot tell"  # 100, 100, 75 against 75 three times
    assert "R5" in pair["rules"]


def test_a_day_that_is_not_told_yet_is_refused_with_what_to_do(tmp_path: Path) -> None:
    running = {"open": True, "containers": 2}
    names = ("straw", "straw", "mulch", "mulch")
    rows = [{"substrate": name, "on": date(2026, 12, 11 + at % 2), **running} for at, name in enumerate(names)]
    write_farm(tmp_path, rows)
    said = ask(tmp_path, "--to-day", 25)
    assert said.code == 0
    text = " ".join(said.out.split())
    assert "No level has a figure, so there is nothing to compare. 4 soaks are not that far yet" in text
    assert "try an earlier --to-day." in text
    assert "not yet: left out, not followed to day 25 yet." in " ".join(said.err.split())
    assert ask(tmp_path, "--to-day", 25, "--json").json == []


def test_a_level_that_nobody_followed_so_long_waits_while_the_other_is_told(tmp_path: Path) -> None:
    young = [{"substrate": "mulch", "on": date(2026, 12, day), "containers": 2, "open": True} for day in (11, 12, 13)]
    write_farm(tmp_path, [*sides()[:3], *young])
    told = by_level(tmp_path, 25)
    assert (told["straw"]["soaks"], told["straw"]["estimate"]) == (3, pytest.approx(275 / 3))
    assert (told["mulch"]["soaks"], told["mulch"]["soaks_not_yet"], told["mulch"]["estimate"]) == (0, 3, None)


def test_a_farm_of_many_units_is_told_quickly() -> None:
    units = growth_farms.started(np.random.default_rng(1), 800, 0, 6, 80.0)
    assert len(units.rows) == 9600
    began = perf_counter()
    with_share_by(units.rows, levels(units.rows, "substrate"), "days", 25, units.as_of)
    assert perf_counter() - began < 5  # some .1 s; one by one, left out in turn, it would take minutes
    answer = compare(
        units,
        ComparisonQuery("substrate", measure_of("days", 25)),
        default_settings() | {"worthwhile_pins_points": 10.0},
    )
    assert sum(len(level.used) for level in answer.levels) == 1600
