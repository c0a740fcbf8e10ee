"""Read aloud: does every sentence of a pair without an answer end with what to do, in a grower's words?"""

import re
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from compare_farms import batches, compared, write_farm

from pipeline.compare.comparison import compare
from pipeline.compare.factors import FACTORS, PACKAGES
from pipeline.compare.measures import MEASURES, measure_of
from pipeline.compare.query import ComparisonQuery
from pipeline.compare.tables import pair_rows
from schemas.answers import answered
from tests.simulated_units import SETTINGS, Container, farm, soak_units

INSTRUCTION = re.compile(r"^(Or )?(start|split|use|look|go on|ask|choose|compare|hold) ", re.IGNORECASE)
# Soaks that will count by themselves may be named behind the instruction.
BESIDE = re.compile(r" will count once that far\.$")
NOT_A_GROWERS = re.compile(r"\b(units?|told|hold both answers|limits hold)\b", re.IGNORECASE)
WORDS = {
    "substrate": ("straw", "mulch", "coir"), "strain": ("grey", "pink"), "treatment": ("cold_lime", "hot_water"),
    "spawn_form": ("grain", "sawdust"), "spawn_lot": ("G1", "G2", "G3"), "lime_g_per_l": ("2", "4"),
    "spawn_rate": ("5.0", "10.0", "20.0"),
}  # fmt: skip
ASKED = (*WORDS, "recipe")


def last_sentence(text: str) -> str:
    """The last sentence, without what will count by itself."""
    sentences = re.split(r"(?<=\.) (?=[A-Z])", text)
    return next(each for each in reversed(sentences) if not BESIDE.search(each))


def random_units(dice: np.random.Generator) -> list[Container]:
    """A farm whose soaks have what chance gave them: few soaks or many, alike or not, some of two recipes."""
    found = []
    varied = [name for name in WORDS if dice.random() < 0.5] or ["substrate"]
    sd = float(dice.choice([0.0, 5.0, 15.0]))
    for at in range(int(dice.integers(2, 14))):
        parts = 2 if dice.random() < 0.3 else 1
        cells = [{name: str(dice.choice(WORDS[name])) for name in varied if dice.random() < 0.9} for _ in range(parts)]
        means = (60 + sd * dice.standard_normal(parts) + 20 * dice.random()).tolist()
        found += soak_units(at, cells, means, int(dice.integers(1, 5)), float(dice.choice([0.0, 8.0])), dice)
    return found


@pytest.mark.parametrize("seed", range(12))
def test_every_pair_without_an_answer_ends_with_what_to_do(seed: int) -> None:
    units, open_ = farm(random_units(np.random.default_rng(seed))), 0
    for factor in ASKED:
        for row in pair_rows(compare(units, ComparisonQuery(factor, measure_of("be"), often=seed % 3 == 0), SETTINGS)):
            assert not NOT_A_GROWERS.search(row["sentence"]), row["sentence"]
            if answered(row["direction"], row["worth"]):
                assert re.search(r"(: take|choose by cost and work)", row["sentence"]), row["sentence"]
            else:
                open_ += 1
                assert INSTRUCTION.match(last_sentence(row["sentence"])), row["sentence"]
    assert open_


def test_the_words_of_measures_and_factors_are_a_growers() -> None:
    texts = [
        text for each in MEASURES.values() for text in (each.title, each.more, each.less, each.not_yet, each.without)
    ]
    for text in (*texts, *FACTORS, *PACKAGES):
        assert not NOT_A_GROWERS.search(text), text


@pytest.mark.parametrize(("measure", "better"), [("be", "straw"), ("days", "mulch"), ("losses", "mulch")])
def test_the_level_to_take_is_the_better_one(tmp_path: Path, measure: str, better: str) -> None:
    # Straw gives more, waits longer for pins, and loses more.
    rows = batches("straw", [60, 62, 64, 61], date(2026, 1, 5), containers=20)
    rows += batches("mulch", [20, 22, 24, 23], date(2026, 1, 20), containers=20)
    for row, pins, lost in zip(rows, (24, 25, 24, 26, 15, 16, 15, 14), (10, 11, 10, 12, 1, 2, 1, 1), strict=True):
        row |= {"pins": pins, "lost": 0 if measure != "losses" else lost}
    write_farm(tmp_path, rows)
    (row,) = pair_rows(compared(tmp_path, measure=measure))
    assert f": take {better}." in row["sentence"]


@pytest.mark.parametrize("measure", ["losses", "be"])
def test_soaks_that_are_all_alike_say_what_to_do(tmp_path: Path, measure: str) -> None:
    rows = batches("straw", [60, 60, 60], date(2026, 1, 5), containers=4)
    write_farm(tmp_path, rows + batches("mulch", [40, 40, 40], date(2026, 1, 20), containers=4))
    (row,) = pair_rows(compared(tmp_path, measure=measure))
    assert INSTRUCTION.match(last_sentence(row["sentence"])), row["sentence"]
