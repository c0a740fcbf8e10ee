"""The sums of the trade, against printed or recomputed values; what is missing is asked for or named."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from ledgers import here

from pipeline.farm.template import CAUTIONS

SPAWN = "of the {} substrate (spawn over substrate)."
TOGETHER = "to reach 70 % moisture (wet basis). Together 10.00 kg; what runs off is not in it."
SUMS = {
    # 5 g of lime per litre: common practice, no source.
    "lime": (
        "lime --water 200",
        "Hydrated lime: 1000 g (1.00 kg) for 200.0 L of water, at 5 g per litre (common practice, no source).",
    ),
    "lime by gallons": (
        "lime --water 50gal --dose 4",
        "Hydrated lime: 757 g (0.76 kg) for 189.3 L of water, at 4 g per litre.",
    ),
    # 5 % of wet substrate is 16.7 % of dry at 70 % moisture, and 21.7 % at 77 % (recomputed from the rates of Royse et
    # al. 2004, Bioresource Technology 91(1):85-91).
    "spawn on wet basis": (
        "spawn --basis wet --rate 5 --wet 20 --moisture 70 --bag 0.4",
        f"Spawn: 1.00 kg, 5 % {SPAWN.format('wet')} On dry basis that is 16.7 %. "
        "That is 3 bags of 0.40 kg, 0.20 kg left over.",
    ),
    "spawn on dry basis": (
        "spawn --basis dry --rate 21.74 --wet 20 --moisture 77 --bag 1",
        f"Spawn: 1.00 kg, 21.74 % {SPAWN.format('dry')} On wet basis that is 5.0 %. That is 1 bag of 1.00 kg.",
    ),
    "spawn of dry mass": ("spawn --basis dry --rate 10 --dry 4", f"Spawn: 0.40 kg, 10 % {SPAWN.format('dry')}"),
    # 70 % on wet basis is 233.3 % on dry basis: 3 kg dry take 7 L.
    "water": ("water --dry 3 --moisture 70", f"Water: 7.00 L for 3.00 kg of substrate, {TOGETHER}"),
    "water beside what it has": (
        "water --wet 4 --now 25 --moisture 70",
        f"Water: 6.00 L for 4.00 kg of substrate, {TOGETHER}",
    ),
    # Moisture on wet basis: (wet - dry) / wet, as ISO 18134 reports it.
    "dry": (
        "dry --sample-wet 400 --sample-dry 0.1kg --wet 40",
        "Moisture: 75.0 % (wet basis: water over the drained mass). Of 40.00 kg drained, 10.00 kg are dry.",
    ),
}


@pytest.mark.parametrize("name", SUMS)
def test_a_sum_is_the_one_that_print_and_practice_have(name: str) -> None:
    words, told = SUMS[name]
    said = here("mix", *words.split())
    assert (said.code, said.err) == (0, "")
    assert " ".join(said.out.split("\n\n")[0].split()) == told


@pytest.mark.parametrize(("dose", "weak"), [("1", True), ("1.5", True), ("1.6", False), ("5", False)])
def test_a_bath_of_less_lime_than_dissolves_is_said_to_be_weaker(dose: str, weak: bool) -> None:
    said = " ".join(here("mix", "lime", "--water", "100", "--dose", dose).out.split())
    assert ("That is less than the bath can dissolve, about 1.5 g per litre at 25 C" in said) == weak


def test_lime_comes_with_its_cautions() -> None:
    said = " ".join(here("mix", "lime", "--water", "200").out.split())
    assert "H318" in said
    assert "goggles first" in said
    assert "Lime into water, never boiling water onto powder. Not quicklime; garden carbonate does not work." in said
    assert "Keep pH 12 drain water from drains, ponds and animals." in said
    assert "Defer to the product's safety data sheet, local rules and licensed practice." in said
    assert "do not wait for pH 7" in said
    # They are those of the farm's how-to, word for word.
    assert all(" ".join(line.split()) in said for line in CAUTIONS.splitlines() if "quicklime" in line)
    assert "goggles" not in here("mix", "water", "--dry", "3", "--moisture", "70").out


MISSING = {
    "no basis": ("spawn --rate 5 --wet 20", r"--basis is missing: is the rate spawn over wet or over dry substrate .+"),
    "another basis": ("spawn --rate 5 --wet 20 --basis mix", r"--basis mix: write wet or dry\."),
    "no dry mass": (
        "spawn --rate 5 --wet 20 --basis dry",
        r"mix spawn: the dry mass of the substrate is not known\. Give --dry, or --moisture as well\.",
    ),
    "no mass": ("spawn --rate 5 --basis wet", r"--wet is missing: wet mass of the substrate in kg\."),
    "no water": ("lime", r"--water is missing: litres of water in the bath\."),
    "too wet": (
        "water --wet 4 --now 75 --moisture 70",
        r"mix water: it has 75.0 % already, and 70 % is wanted\. Drain it\.",
    ),
    "a moisture beyond": ("water --dry 4 --moisture 100", r"--moisture 100: write a number above 0 and below 100\."),
    "a sample that gained": (
        "dry --sample-wet 90 --sample-dry 100",
        r"mix dry: dried, the sample weighs 100 g, wet 90 g\. Weigh again\.",
    ),
    "another sum": ("spwan", r"mix spwan: there is lime, spawn, water and dry\."),
    "another sum's option": ("lime --water 9 --rate 5", r"mix lime: --rate is not for this sum\. It takes --water, .+"),
    "no mass at all": ("lime --water 0", r"--water 0: it must be more than 0\. Weigh again\."),
}


@pytest.mark.parametrize("name", MISSING)
def test_what_is_missing_or_wrong_is_named(name: str) -> None:
    words, message = MISSING[name]
    said = here("mix", *words.split())
    assert (said.code, said.out) == (2, "")
    assert re.fullmatch(message + "\n", said.err), said.err


def test_numbers_are_the_farms(tmp_path: Path) -> None:
    (tmp_path / "farm.toml").write_text('decimal_mark = ","', encoding="utf-8")
    said = here("mix", "spawn", "--basis", "wet", "--rate", "2,5", "--wet", "18,4", "--farm", tmp_path)
    assert said.out == "Spawn: 0,46 kg, 2,5 % of the wet substrate (spawn over substrate).\n"
