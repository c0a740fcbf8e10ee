"""What is expected of whole tables: bands in print and the farm's own months warn, never fail, and say when too little
is known to tell.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from pathlib import Path
from statistics import median
from typing import Any

import pytest
from audits import audited, failed, outcome, whole
from ledgers import BATCHES, FILLINGS, HARVESTS, here

from pipeline.audit.findings import findings
from schemas.audit import substrate_with_band, whole_rules
from schemas.audit_outcome import Audit

MakeFarm = Callable[..., Path]
HEADS = {
    "batches": "batch,inoculated_on,strain,substrate,substrate_wet_kg,moisture_pct",
    "fillings": "batch,container,fill_kg",
    "observations": "seen_on,event,batch,container",
    "harvests": "picked_on,fresh_weight_g,batch,container,flush,cap_stage",
}


def grown(
    make: MakeFarm,
    fresh_g: Sequence[int] = (700,) * 12,
    substrate: str = "wheat straw",
    moisture: Sequence[float] = (70,) * 5,
    pins_after: int = 20,
    staged: int = 99,
    dry: int = 99,
) -> Path:
    """A farm of one filling for each of `fresh_g`, in as many batches as `moisture`, of 1 kg dry substrate each.

    All are inoculated on 1 March, pinned `pins_after` days later, picked once on 1 May and emptied the next day; the
    first `staged` pickings have a stage, and the first `dry` batches a wet mass.
    """
    names = [f"B{at}" for at in range(len(moisture))]
    of = [names[at % len(names)] for at in range(len(fresh_g))]
    per_batch = {name: of.count(name) for name in names}
    pins = date(2026, 3, 1) + timedelta(days=pins_after)
    rows: dict[str, list[str]] = {
        "batches": [
            f"{name},2026-03-01,grey,{substrate},{per_batch[name] / (1 - wet / 100) if at < dry else ''},{wet}"
            for at, (name, wet) in enumerate(zip(names, moisture, strict=True))
        ],
        "fillings": [f"{name},{at}," for at, name in enumerate(of)],
        "observations": [
            f"{day},{event},{name},{at}"
            for at, name in enumerate(of)
            for day, event in ((pins, "pins"), (ENDED, "emptied"))
        ],
        "harvests": [
            f"2026-05-01,{mass},{of[at]},{at},1,{'flat' if at < staged else ''}" for at, mass in enumerate(fresh_g)
        ],
    }
    return make(**{name: "\n".join([HEADS[name], *lines]) for name, lines in rows.items()})


ENDED = "2026-05-02"


def monthly(make: MakeFarm, grams: Sequence[int]) -> Path:
    """A farm that picked so much in each month from January 2025 on (0: nothing)."""
    months = [date(2025 + at // 12, at % 12 + 1, 15) for at in range(len(grams))]
    lines = [f"{day},{mass},A" for day, mass in zip(months, grams, strict=True) if mass]
    return make(
        batches="batch,inoculated_on\nA,2024-12-01", harvests="\n".join(["picked_on,fresh_weight_g,batch", *lines])
    )


def test_every_band_names_its_source_and_the_things_it_is_told_of() -> None:
    assert {rule.kind for rule in whole_rules()} == {"share", "median", "each_month", "history"}
    for rule in whole_rules():
        assert rule.source
        assert rule.fix.endswith((".", "?"))
        assert rule.fewest >= 2
        if rule.kind == "median":
            assert rule.low is not None
            assert rule.high is not None
            assert rule.low < rule.high
            assert "our choice" not in rule.source


def test_whole_tables_within_their_bands_hold(farm: MakeFarm) -> None:
    fresh = [600, 620, 650, 700, 710, 720, 800, 900, 950, 1000, 1010, 1300]
    told = audited(grown(farm, fresh))
    # Of 1 kg dry each: the BE of a unit is its fresh mass over 10 g.
    assert outcome(told, "be_on_straw").observed == pytest.approx(median(fresh) / 10, rel=1e-9)
    assert outcome(told, "days_to_pins").observed == 20
    assert outcome(told, "moisture").observed == 70
    assert outcome(told, "dry_mass_known").observed == 100
    assert failed(told, "warning") == {}
    assert failed(told, "error") == {}


# (rule, how it is told, the farm beyond the band, the farm within it)
STEPS: list[tuple[str, str, dict[str, Any], dict[str, Any]]] = [
    ("be_on_straw", "BE on straw is 54.9 %, expected 55 to 140 %", {"fresh_g": [549] * 12}, {"fresh_g": [551] * 12}),
    ("be_on_straw", "is 140.1 %", {"fresh_g": [1401] * 12}, {"fresh_g": [1399] * 12}),
    (
        "be_on_other",
        "is 8.9 %",
        {"fresh_g": [89] * 12, "substrate": "hemp"},
        {"fresh_g": [91] * 12, "substrate": "hemp"},
    ),
    ("days_to_pins", "to pins is 13 d, expected 14 to 49 d", {"pins_after": 13}, {"pins_after": 14}),
    ("days_to_pins", "is 50 d", {"pins_after": 50}, {"pins_after": 49}),
    ("moisture", "substrate is 78 %, expected 62 to 77 %", {"moisture": [78] * 5}, {"moisture": [77] * 5}),
    ("moisture", "is 61.9 %", {"moisture": [61.9] * 5}, {"moisture": [62] * 5}),
    (
        "dry_mass_known",
        "is 60 %, expected 80 % or more",
        {"fresh_g": [700] * 10, "dry": 3},
        {"fresh_g": [700] * 10, "dry": 4},
    ),
    (
        "stage_noted",
        "is 45 %, expected 50 % or more",
        {"fresh_g": [700] * 20, "staged": 9},
        {"fresh_g": [700] * 20, "staged": 10},
    ),
]


@pytest.mark.parametrize(("rule", "told_as", "beyond", "within"), STEPS)
def test_a_band_warns_one_step_beyond_its_end_and_not_within(
    farm: MakeFarm, rule: str, told_as: str, beyond: dict[str, Any], within: dict[str, Any]
) -> None:
    told = whole(grown(farm, **beyond))
    assert (outcome(told, rule).held, outcome(told, rule).severity) == (False, "warning")
    said = [each for each in findings(told) if each.rule == rule]
    assert [each.level for each in said] == ["warning"]
    assert told_as in said[0].sentence()
    assert outcome(whole(grown(farm, **within)), rule).held is True


def test_bands_warn_and_never_fail(farm: MakeFarm) -> None:
    folder = grown(farm, fresh_g=(100,) * 20, moisture=(80,) * 5, pins_after=5, staged=0)
    said = here("check", "--deep", "--as-of", "2026-06-30", "--farm", folder)
    assert said.code == 0
    assert "The farm: Median BE on straw is 10 %, expected 55 to 140 % (looked at 20)." in said.out
    assert "0 errors, 4 warnings" in said.out


def test_with_too_little_nothing_is_told_rather_than_passed(farm: MakeFarm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS, harvests=HARVESTS)
    told = audited(folder, date(2026, 3, 1))
    untold = {each.rule: each.why_undecided for each in told.outcomes if each.held is None}
    assert untold["stage_noted"] == "needs 20 pickings, has 2"
    assert untold["be_on_straw"] == "needs 10 containers that finished, has 0"
    assert untold["months_without_pickings"] == "needs 2 months, has 1"
    assert untold["picked_beside_history"] == "needs 6 earlier whole months with pickings, has 0"
    assert untold.keys() >= {"dry_mass_known", "days_to_pins", "moisture", "be_beside_history"}
    assert all(each.level == "notice" for each in findings(told))
    assert "cannot tell: needs 20 pickings, has 2." in " ".join(each.sentence() for each in findings(told))
    assert here("check", "--deep", "--as-of", "2026-03-01", "--farm", folder).code == 0


def test_one_batch_cannot_tell_what_a_substrate_gives(farm: MakeFarm) -> None:
    told = outcome(whole(grown(farm, moisture=(70, 70))), "be_on_straw")
    assert (told.held, told.why_undecided) == (None, "needs containers that finished of 3 batches, has them of 2")


def test_an_empty_farm_can_be_audited(tmp_path: Path) -> None:
    assert here("init", tmp_path / "new").code == 0
    told = audited(tmp_path / "new")
    assert failed(told, "error") == failed(told, "warning") == {}
    assert outcome(told, "moisture").held is None


def test_what_was_thrown_out_before_a_picking_is_not_held_against_trials_in_print(farm: MakeFarm) -> None:
    folder = grown(farm)
    lines = (folder / "observations.csv").read_text(encoding="utf-8")
    (folder / "observations.csv").write_text(f"{lines}2026-04-01,contaminated,B0,0\n", encoding="utf-8")
    assert outcome(whole(folder), "be_on_straw").looked_at == 11


def test_a_substrate_has_the_band_of_the_one_that_its_name_says() -> None:
    named = ["Wheat straw", "oak SAWDUST", "bagasse, 2 cm", "straw and sawdust", "hemp", ""]
    assert [substrate_with_band(name) for name in named] == ["straw", "sawdust", "bagasse", "other", "other", "other"]


def test_months_without_pickings_between_the_first_and_the_last_are_named(farm: MakeFarm) -> None:
    told = whole(monthly(farm, [0, 500, 0, 400, 0, 0, 300, 0]), date(2025, 12, 31))
    gaps = outcome(told, "months_without_pickings")
    assert [row.value for row in gaps.rows] == ["2025-03", "2025-05", "2025-06"]
    said = [each.sentence() for each in findings(told) if each.rule == "months_without_pickings"]
    assert said[0] == (
        'harvests: "2025-03" has no picking, though months before and after it have. '
        "Is a file of pickings missing, or a date in the wrong year?"
    )


def beside(told: Audit) -> tuple[bool | None, float | None, float | None, float | None]:
    found = outcome(told, "picked_beside_history")
    return (found.held, found.observed, found.low, found.high)


USUAL = [1000, 800, 1200, 1000, 0, 1000, 1000]  # 800 to 1200 g in 6 months with pickings, and one without


@pytest.mark.parametrize(
    ("last", "as_of", "told"),
    [
        (400, date(2025, 8, 31), (True, 400.0, 400.0, 2400.0)),
        (399, date(2025, 8, 31), (False, 399.0, 400.0, 2400.0)),
        (2401, date(2025, 8, 31), (False, 2401.0, 400.0, 2400.0)),
        (0, date(2025, 8, 31), (False, 0.0, 400.0, 2400.0)),
        # The month is not over on its 30th: the one before it is the last whole one, with too few before it.
        (399, date(2025, 8, 30), (None, None, None, None)),
    ],
)
def test_the_last_whole_month_is_held_against_the_farms_own(
    farm: MakeFarm, last: int, as_of: date, told: tuple[bool | None, float | None, float | None, float | None]
) -> None:
    assert beside(whole(monthly(farm, [*USUAL, last]), as_of)) == told


def test_a_month_unlike_the_farms_own_is_told_in_kilograms_with_its_name(farm: MakeFarm) -> None:
    told = whole(monthly(farm, [*USUAL, 5000]), date(2025, 8, 31))
    said = [each.sentence() for each in findings(told) if each.rule == "picked_beside_history"]
    assert said == [
        "The farm: Picked in the last whole month, beside the farm's earlier months (2025-08) is 5.00 kg, "
        "expected 0.40 to 2.40 kg (looked at 6). Is a file of that month missing or there twice, "
        "or are weights in another unit?"
    ]
