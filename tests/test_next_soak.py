"""What to try next: is the order right, does the advice read well, and does following it pay?"""

from __future__ import annotations

import shlex
import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from conftest import gillbook

from pipeline.trial.next_soak import NextSoak, next_soak
from pipeline.trial.next_soak_text import advice, split_rows, trial_line
from schemas.contract import contract
from tests.bench_next_soak import TYPES, run
from tests.simulated_units import SETTINGS, Container, Gave, farm, soak_units

DEMO = Path(__file__).resolve().parents[1] / "demo_data"


def history(strain_sd: float = 3.0, price: float | None = None) -> NextSoak:
    """Strains in six soaks each, apart by far; substrates in two each, alike in strain, hardly apart."""
    dice = np.random.default_rng(4)
    rows: list[Container] = []
    soaks = [({"strain": "grey", "substrate": "straw"}, 90.0), ({"strain": "pink", "substrate": "straw"}, 50.0)] * 6
    soaks += [({"strain": "grey", "substrate": "coir"}, 88.0)] * 2
    for at in dice.permutation(len(soaks)).tolist():
        cells, mean = soaks[at]
        rows += soak_units(len(rows), [cells], [mean + dice.normal(0, strain_sd)], 4, 5.0, dice)
    return next_soak(farm(rows), {**SETTINGS, "price_per_kg": price, "currency": "EUR"})


def test_what_is_known_teaches_less_than_what_is_open() -> None:
    found = history()
    order = [(each.factor, {each.level, each.against}) for each in found.splits]
    assert order == [("substrate", {"straw", "coir"}), ("strain", {"grey", "pink"})]
    open_, settled = found.splits
    assert open_.teaches[0] < open_.teaches[1] < open_.teaches[2]
    # Of strains hardly anything; a little of substrates, for coir was tried with grey alone.
    assert settled.teaches[2] < 0.1
    assert settled.costs > 10  # half of the 40 points that a part with pink would give less
    assert open_.pays() > 0 > settled.pays()
    assert ("strain", "grey") in {(each.factor, each.level) for each in found.meanwhile}


def test_the_advice_names_the_split_its_worth_and_the_line_that_plans_it() -> None:
    first, rest = advice(history(price=8.0))
    assert first.startswith("Split the next soak between ")
    assert "(substrate; " in first
    assert "EUR per kg dry substrate" in first
    assert first.endswith("--soaks 3")
    assert "grey (strain)" in rest
    assert "a guess, no evidence" in rest


def test_a_farm_that_knows_goes_on() -> None:
    dice = np.random.default_rng(9)
    rows: list[Container] = []
    for at in range(20):
        strain = "grey" if at % 2 else "pink"
        rows += soak_units(at, [{"strain": strain}], [90.0 if at % 2 else 40.0], 4, 4.0, dice)
    found = next_soak(farm(rows), SETTINGS)
    assert found.splits[0].pays() < 0
    assert advice(found)[0].startswith("No split is expected to pay")


def test_nothing_to_split_by_is_said() -> None:
    found = next_soak(farm([]), SETTINGS)
    assert found.splits == ()
    assert advice(found) == [
        "Nothing varies yet that one soak could be split by: name a second substrate, strain or spawn rate."
    ]


def test_rates_are_planned_by_their_numbers_and_names_are_quoted() -> None:
    rows: list[Container] = []
    dice = np.random.default_rng(2)
    for at in range(6):
        cells = {"spawn_rate": "5" if at % 2 else "10", "substrate": "wheat straw" if at < 3 else "coir"}
        rows += soak_units(at, [cells], [60.0], 3, 8.0, dice)
    lines = {each.factor: trial_line(each) for each in next_soak(farm(rows), SETTINGS).splits}
    assert lines["spawn_rate"] == "gillbook trial --factor spawn_rate --levels 5,10 --soaks 3"
    assert '"coir,wheat straw"' in lines["substrate"] or '"wheat straw,coir"' in lines["substrate"]


def test_the_command_answers_on_the_demo_farm_and_its_line_can_be_run(tmp_path: Path) -> None:
    folder = tmp_path / "farm"
    shutil.copytree(DEMO, folder)
    asked = ("next-soak", "--farm", folder, "--as-of", str(date(2026, 9, 30)))
    rows = gillbook(*asked, "--json").json
    assert list(rows[0]) == list(contract("next_soak").names)
    assert [row["pays"] for row in rows] == sorted((row["pays"] for row in rows), reverse=True)
    said = gillbook(*asked)
    assert said.out.startswith("Split the next soak between ")
    assert all(len(line) <= 80 for line in said.out.splitlines())
    line = shlex.split(rows[0]["trial"])
    assert line[0] == "gillbook"
    assert gillbook(*line[1:], "--farm", folder).code == 0
    refused = gillbook(*asked, "--ahead", "0")
    assert (refused.code, "--ahead 0: name a number from 1 on." in refused.err) == (2, True)


def test_rows_say_what_is_not_known(tmp_path: Path) -> None:
    rows = split_rows(history())
    assert all((row["difference"] is None) == (not row["known"]) for row in rows)


def test_levels_that_always_came_together_are_not_known_apart() -> None:
    dice = np.random.default_rng(5)
    rows: list[Container] = []
    for at in range(12):
        cells = {"strain": "grey", "substrate": "straw"} if at % 2 else {"strain": "pink", "substrate": "coir"}
        rows += soak_units(at, [cells], [80.0 if at % 2 else 50.0], 4, 5.0, dice)
    found = next_soak(farm(rows), SETTINGS)
    assert [each.known for each in found.splits] == [False, False]
    assert {(each.factor, each.level) for each in found.meanwhile} == {("strain", "grey"), ("substrate", "straw")}
    # The 30 points are the sum of both: either may be all of it.
    assert [round(each.difference) for each in found.splits] == pytest.approx([14, 14], abs=2)
    assert advice(found)[1].startswith("With little to go by, grow ")


def test_where_nothing_speaks_for_a_change_the_usual_is_grown() -> None:
    dice = np.random.default_rng(6)
    rows: list[Container] = []
    for at in range(6):
        rows += soak_units(at, [{"strain": "pink"}], [60.0], 4, 5.0, dice)
    young = soak_units(6, [{"strain": "grey"}], [0.0], 4, 5.0, dice)
    waits = {"be": Gave(0.0, 1.0, False)}
    rows += [replace(each, parts={**each.parts, **waits}) for each in young]
    found = next_soak(farm(rows), SETTINGS)
    # Grey has no result yet: what it gives is what the prior has, and a split would tell most.
    assert [(each.level, each.known) for each in found.meanwhile] == [("pink", False)]
    (split,) = found.splits
    assert (split.difference, split.costs, split.sd) == pytest.approx((0, 0, 12), abs=0.05)
    assert split.pays() > 20


def test_the_further_a_lesson_is_of_use_the_more_it_pays() -> None:
    for each in history().splits:
        paid = [each.pays(ahead) for ahead in (1, 2, 5, 10, 20)]
        assert paid == sorted(paid)


@pytest.mark.parametrize(("name", "least"), [("many factors", 2.0), ("usual", 1.0)])
def test_following_it_gives_more_than_splitting_at_random(name: str, least: float) -> None:
    # On 200 farms of each type by 6 and 4 points, with a standard error of .3 (tests/bench_next_soak.py).
    done = run(next(each for each in TYPES if each.name == name), 6, 1)
    assert done.better["random"][0] > least
    assert done.better["habit"][0] > least
    by, error = done.better["records"]
    assert by + 2 * error > 0
