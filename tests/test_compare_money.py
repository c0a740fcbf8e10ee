"""Margins compared: by hand, through the command; and what is said where prices are missing."""

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from compare_farms import batches, write_farm
from conftest import Said, gillbook

JAN = date(2026, 1, 5)
PRICES = """
price_per_kg = 10
spawn_cost_per_kg = 4
substrate_cost_per_kg = 0.5
start_cost_per_container = 1
currency = "EUR"
"""


def rows(**cells: Any) -> list[dict[str, Any]]:
    """Three soaks of straw and three of mulch, two containers each, of 1 kg dry substrate and 100 g spawn a soak."""
    made = {"containers": 2, "spawn_kg": 0.1, **cells}
    return [*batches("straw", [60, 62, 64], JAN, **made), *batches("mulch", [40, 42, 44], JAN + timedelta(9), **made)]


def ask(farm: Path, measure: str, *words: object) -> Said:
    return gillbook("compare", *words, "--measure", measure, "--farm", farm, "--as-of", "2026-12-31")


def test_margin_per_container_by_hand(tmp_path: Path) -> None:
    write_farm(tmp_path, rows(), PRICES)
    levels = {row["level"]: row for row in ask(tmp_path, "margin", "substrate", "--levels", "--json").json}
    # 0.62 kg at 10; started for 2 x 1, 0.1 kg spawn at 4 and 1 kg substrate at 0.5: (6.20 - 2.90) / 2.
    assert levels["straw"]["estimate"] == pytest.approx(1.65)
    assert levels["mulch"]["estimate"] == pytest.approx((4.20 - 2.90) / 2)
    assert levels["straw"]["unit"] == "EUR"
    (pair,) = ask(tmp_path, "margin", "substrate", "--json").json
    assert pair["difference"] == pytest.approx(1.0)
    # 10 points of BE of half a kilogram dry are 50 g, which bring 0.50.
    assert (pair["smallest_effect"], pair["unit"]) == (0.5, "EUR")
    said = ask(tmp_path, "margin", "substrate")
    assert said.out.startswith("Margin per container of flushes 1 to 2 by substrate, as of 2026-12-31.")
    assert "straw earned more than mulch" in " ".join(said.out.split())
    assert all(len(line) <= 80 for line in said.out.splitlines())


def test_margin_of_100_container_days_by_hand(tmp_path: Path) -> None:
    write_farm(tmp_path, rows(), PRICES + "empty_days = 4")
    levels = {row["level"]: row for row in ask(tmp_path, "margin-per-day", "substrate", "--levels", "--json").json}
    # Two places, 80 days each and 4 empty ones.
    assert levels["straw"]["estimate"] == pytest.approx(100 * (6.20 - 2.90) / (2 * 84))
    said = ask(tmp_path, "margin-per-day", "substrate")
    assert said.out.startswith("Margin of 100 container-days by substrate, as of 2026-12-31.")


def test_what_was_lost_cost_its_start_and_a_margin_may_be_negative(tmp_path: Path) -> None:
    write_farm(tmp_path, rows(lost=2), PRICES)
    levels = ask(tmp_path, "margin", "substrate", "--levels", "--json").json
    assert [row["estimate"] for row in levels] == pytest.approx([-1.45, -1.45])
    days = ask(tmp_path, "margin-per-day", "substrate", "--levels", "--json").json
    assert [row["estimate"] for row in days] == pytest.approx([-100 * 2.90 / (2 * 21)] * 2)
    spread = rows()
    spread[0]["lost"], spread[1]["be"] = 2, 20
    write_farm(tmp_path, spread, PRICES)
    straw = {row["level"]: row for row in ask(tmp_path, "margin", "substrate", "--levels", "--json").json}["straw"]
    assert straw["low"] < 0 < straw["high"]


def test_where_a_mass_that_costs_is_unknown_nothing_is_added(tmp_path: Path) -> None:
    write_farm(tmp_path, [{**each, "spawn_kg": ""} if each["be"] == 64 else each for each in rows()], PRICES)
    levels = {row["level"]: row for row in ask(tmp_path, "margin", "substrate", "--levels", "--json").json}
    assert (levels["straw"]["soaks"], levels["straw"]["estimate"]) == (2, pytest.approx((6.10 - 2.90) / 2))


@pytest.mark.parametrize("measure", ["margin", "margin-per-day"])
@pytest.mark.parametrize("words", [["substrate"], []])
def test_without_prices_it_says_what_to_write(tmp_path: Path, measure: str, words: list[str]) -> None:
    write_farm(tmp_path, rows())
    said = ask(tmp_path, measure, *words)
    assert (said.code, said.out) == (2, "")
    text = " ".join(said.err.split())
    assert f"--measure {measure}: there is no price_per_kg and no spawn_cost_per_kg in farm.toml. Write there" in text
    assert "price_per_kg = 10 (what a kilogram of fresh mushrooms brings, after picking and selling it)" in text
    write_farm(tmp_path, rows(), "price_per_kg = 10")
    text = " ".join(ask(tmp_path, measure, *words).err.split())
    assert "there is no spawn_cost_per_kg in farm.toml" in text
    assert "price_per_kg = " not in text.replace("spawn_cost_per_kg", "")
