"""Do pins, the decline and the waiting of the demo farm recover what was planted? Truths of demo_data/TRUTH.json."""

import json
import math
import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pipeline.farm.folder import Farm, open_farm
from pipeline.growth import another_flush, flushes, pins
from pipeline.ledger.refresh import refresh
from pipeline.models.view import Ledger, LedgerView, Query
from pipeline.models.view import opened as open_ledger
from pipeline.spawn import summary as spawn

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
TRUTH: dict[str, Any] = json.loads((DEMO / "TRUTH.json").read_text(encoding="utf-8"))
LAST_DAY = date.fromisoformat(TRUTH["last_day"])
RECIPE = ("substrate", "treatment", "strain", "spawn_form")
HALF_A_LOOK = 0.5  # pins are noted at the next look, a day apart on this farm

Opened = tuple[Farm, Ledger]


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    folder = tmp_path_factory.mktemp("growth") / "farm"
    shutil.copytree(DEMO, folder)
    farm = open_farm(folder)
    refresh(farm, "test")
    with open_ledger(farm.ledger, farm.settings) as ledger:
        yield farm, ledger


def asked(opened: Opened, by: tuple[str, ...]) -> LedgerView:
    return opened[1].view(Query(LAST_DAY, by))


def planted(row: dict[str, Any]) -> list[dict[str, Any]]:
    """The recipes that a row is of: several, where they differ in their spawn rate alone."""
    return [each for each in TRUTH["recipes"] if all(each[name] == row[name] for name in RECIPE if name in row)]


def test_the_median_days_to_pins_of_recipes_lie_inside_their_limits(opened: Opened) -> None:
    view = asked(opened, RECIPE)
    found = spawn.levels(spawn.spawn(view, opened[0].settings, {}))
    checked = 0
    for row in found:
        (recipe,) = [each for each in planted(row) if each["spawn_rate_wet_pct"] == round(row["rate_wet_pct"])]
        if row["median_low_days"] is not None:
            # A half that the limits never reach has no last day: it may be any later one.
            low, high = row["median_low_days"] - HALF_A_LOOK, row["median_high_days"] or math.inf
            assert low <= recipe["days"]["inoculated_to_pins"] <= high, recipe["recipe"]
            checked += 1
    assert checked == 8


def test_the_median_days_to_pins_of_groups_lie_between_those_of_their_recipes(opened: Opened) -> None:
    view = asked(opened, RECIPE)
    checked = 0
    for row in pins.pins(view):
        truth = [each["days"]["inoculated_to_pins"] for each in planted(row)]
        if row["median_low_days"] is not None:
            assert row["median_low_days"] - HALF_A_LOOK <= max(truth), row
            assert (row["median_high_days"] or math.inf) >= min(truth), row
            checked += 1
    assert checked == 6


def test_the_declines_of_recipes_lie_inside_their_limits(opened: Opened) -> None:
    view = asked(opened, RECIPE)
    checked = 0
    for row in flushes.flushes(view):
        recipes = planted(row)
        if len(recipes) != 1 or row["flush"] == 1:
            continue
        for column, name in (
            ("decline_started", "decline_vs_first"),
            ("decline_gave", "decline_of_units_that_gave"),
        ):
            if row[f"{column}_low"] is not None:
                truth = recipes[0][name][str(row["flush"])]
                assert row[f"{column}_low"] <= truth <= row[f"{column}_high"], (recipes[0]["recipe"], row["flush"])
                checked += 1
    assert checked == 16


def test_the_decline_per_flush_lies_inside_its_limits(opened: Opened) -> None:
    view = asked(opened, ("substrate",))
    for row in flushes.declines(view):
        # The line through log(decline) at flushes 2 and 3, from 0 at flush 1: (1 x y2 + 2 x y3) / 5.
        of = [each["decline_vs_first"] for each in planted(row)]
        pct = [100 * (1 - math.exp((math.log(each["2"]) + 2 * math.log(each["3"])) / 5)) for each in of]
        assert row["decline_per_flush_low_pct"] <= max(pct)
        assert row["decline_per_flush_high_pct"] >= min(pct)


def test_how_many_waited_for_gave_the_next_flush_and_how_long_it_took(opened: Opened) -> None:
    # What is planted is the share that gives flush k, of those that gave flush 1, and the days between flushes; how
    # much a day of waiting brings follows from masses that differ from unit to unit, and has no planted value.
    view = asked(opened, RECIPE)
    for row in another_flush.another_flush(view, opened[0].settings):
        recipes, flush = planted(row), row["flush"]
        share = [_gives(each, flush) / _gives(each, flush - 1) for each in recipes]
        error = math.sqrt(max(one * (1 - one) for one in share) / row["units_waited"])
        assert min(share) - 3 * error <= row["gave_pct"] / 100 <= max(share) + 3 * error
        days = [each["days"]["between_flushes"] for each in recipes]
        assert min(days) - 4 <= row["wait_days"] <= max(days) + 4


def _gives(recipe: dict[str, Any], flush: int) -> float:
    if flush == 1:
        return 1.0
    return float(recipe["decline_vs_first"][str(flush)] / recipe["decline_of_units_that_gave"][str(flush)])
