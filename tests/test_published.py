"""Do the figures agree with print? Each example travels through CSV files and the command line.

Sources stand beside each check; they were seen as abstracts or single tables.
"""

from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import gillbook

MakeFarm = Callable[..., Path]


def test_argaw_2023_efficiency_per_flush_shares_and_decline(farm: MakeFarm) -> None:
    # Argaw 2023, Int. J. Agronomy 8013491: 1000 g substrate, 60 g spawn; flushes 166, 131.6, 49.66 g; BE 16.6, 13.16,
    # 4.96 % (spawn not in the denominator: with it the first would be 15.66 %). F2/F1 .793, F3/F2 .377; shares 47.8 /
    # 37.9 / 14.3 % (recomputed from the printed grams).
    folder = farm(
        batches="""batch,inoculated_on,substrate_dry_kg,spawn_kg
            A,2026-01-01,1,0.06""",
        fillings="batch,container\nA,1",
        observations="seen_on,event,container\n2026-04-01,emptied,1",
        harvests="""picked_on,fresh_weight_g,container,flush
            2026-02-01,166,1,1
            2026-02-15,131.6,1,2
            2026-03-01,49.66,1,3""",
    )
    as_of = ("--farm", folder, "--as-of", "2026-05-01", "--json")
    through = [gillbook("yields", "--through-flush", k, *as_of).json[0]["be_pct"] for k in (1, 2, 3)]
    per_flush = [through[0], through[1] - through[0], through[2] - through[1]]
    assert per_flush == pytest.approx([16.6, 13.16, 4.966], abs=1e-9)
    told = gillbook("flushes", *as_of).json
    assert [row["share_pct"] for row in told] == pytest.approx([47.8, 37.9, 14.3], abs=0.05)
    assert told[1]["decline_vs_first"] == pytest.approx(0.793, abs=0.0005)
    assert told[2]["decline_vs_first"] / told[1]["decline_vs_first"] == pytest.approx(0.377, abs=0.0005)
    assert gillbook("yields", *as_of).json[0]["fresh_g"] == 347.26


@pytest.mark.parametrize(
    ("fresh_g", "dry_kg", "printed_pct", "within"),
    [
        # Jatwa et al. 2016, J. Pure Appl. Microbiol. 10(4): 1.5 kg dry paddy straw; the third is .06 points off.
        ("1248.3", "1.5", 83.22, 0.1),
        ("1348.7", "1.5", 89.90, 0.1),
        ("1275.7", "1.5", 84.99, 0.1),
        # Pathmashini et al.: 55.37 g from 180 g dry, 30.76 %.
        ("55.37", "0.18", 30.76, 0.005),
    ],
)
def test_printed_efficiency(farm: MakeFarm, fresh_g: str, dry_kg: str, printed_pct: float, within: float) -> None:
    folder = farm(
        batches=f"batch,inoculated_on,substrate_dry_kg\nA,2026-01-01,{dry_kg}",
        observations="seen_on,event,batch\n2026-03-01,emptied,A",
        harvests=f"picked_on,fresh_weight_g,batch,flush\n2026-02-01,{fresh_g},A,1",
    )
    row = gillbook("yields", "--farm", folder, "--as-of", "2026-03-01", "--json").json[0]
    assert row["be_finished_pct"] == pytest.approx(printed_pct, abs=within)


@pytest.mark.parametrize("flush", ["1", ""])
def test_jatwa_2016_row_whose_maturity_precedes_its_pinheads_is_caught(farm: MakeFarm, flush: str) -> None:
    # One of its rows prints pinheads on day 24 and maturity on day 23.
    folder = farm(
        batches="batch,inoculated_on,substrate_dry_kg\nA,2026-01-01,1.5",
        fillings="batch,container\nA,1",
        observations=f"seen_on,event,container,flush\n2026-01-25,pins,1,{flush}",
        harvests=f"picked_on,fresh_weight_g,container,flush\n2026-01-24,1248.3,1,{flush}",
    )
    said = gillbook("check", "--farm", folder, "--as-of", "2026-02-01", "--json")
    assert said.code == 0
    caught = [
        (each["file"], each["row"]) for each in said.json if each["rule"] in ("before_pins", "pins_after_picking")
    ]
    assert ("observations.csv", 2) in caught


@pytest.mark.parametrize(
    ("wet_kg", "moisture_pct", "spawn_kg", "on_wet_pct", "on_dry_pct"),
    [
        # Royse et al. 2004, Bioresource Technology 91(1):85-91 prints 2.5, 3.75, 5 % of wet; on dry recomputed:
        # 5 % of wet at 70 % moisture = 16.7 % of dry, at 77 % = 21.7 %.
        ("20", "70", "1", 5.0, 16.7),
        ("20", "77", "1", 5.0, 21.7),
        ("10", "70", "0.375", 3.75, 12.5),
    ],
)
def test_spawn_rate_on_wet_and_on_dry(
    farm: MakeFarm, wet_kg: str, moisture_pct: str, spawn_kg: str, on_wet_pct: float, on_dry_pct: float
) -> None:
    folder = farm(
        batches=f"batch,inoculated_on,substrate_wet_kg,moisture_pct,spawn_kg\nA,2026-01-01,{wet_kg},{moisture_pct},{spawn_kg}"
    )
    row = gillbook("yields", "--farm", folder, "--as-of", "2026-01-02", "--json").json[0]
    assert row["spawn_rate_wet_pct"] == pytest.approx(on_wet_pct, abs=1e-9)
    assert row["spawn_rate_dry_pct"] == pytest.approx(on_dry_pct, abs=0.05)


@pytest.mark.parametrize(
    ("moisture_pct", "wet_to_dry_pct"), [(60, 150.0), (65, 185.7), (70, 233.3), (75, 300.0), (80, 400.0)]
)
def test_moisture_from_wet_to_dry_basis(farm: MakeFarm, moisture_pct: int, wet_to_dry_pct: float) -> None:
    # Moisture, wet basis = (wet - dry)/wet (ISO 18134 reports on the total mass); dry basis: 100 m/(100 - m). Spawn
    # equal to the wet substrate's mass is wet/dry of the dry: 100 % + moisture on dry basis.
    folder = farm(
        batches=f"batch,inoculated_on,substrate_wet_kg,moisture_pct,spawn_kg\nA,2026-01-01,10,{moisture_pct},10"
    )
    row = gillbook("yields", "--farm", folder, "--as-of", "2026-01-02", "--json").json[0]
    assert row["spawn_rate_dry_pct"] - 100 == pytest.approx(wet_to_dry_pct, abs=0.05)


def test_lime_water_cannot_reach_ph_13_and_it_is_told_once_per_farm(farm: MakeFarm) -> None:
    # Saturated calcium hydroxide: pH 12.45 at 25 C, -.033 per C, so 12.95 at 10 C: J. Res. Natl. Bur. Stand.
    # 56(6):305-312, 1956, doi 10.6028/jres.056.040.
    folder = farm(
        batches="""batch,inoculated_on,treatment,ph_start
            A,2026-01-01,cold_lime,12.9
            B,2026-01-02,cold_lime,13
            C,2026-01-03,cold_lime,13.5"""
    )
    told = [each for each in gillbook("check", "--farm", folder, "--json").json if each["rule"] == "lime_ph"]
    assert [(each["row"], each["column"], each["level"]) for each in told] == [(3, "ph_start", "warning")]
    assert "2" in told[0]["message"]


def test_days_of_2021_add_up(farm: MakeFarm) -> None:
    # Hindawi Int. J. Agronomy 2021, 9962285: spawning to pinhead 23.20 d, pins to maturity 2.80 d, first harvest
    # 26.00 d. Five containers whose days have these means.
    pins, maturity = (23, 23, 23, 23, 24), (3, 3, 3, 3, 2)
    seen = "\n".join(f"2026-01-{1 + day},pins,{n},1" for n, day in enumerate(pins))
    picked = "\n".join(
        f"2026-01-{1 + day + more},100,{n},1" for n, (day, more) in enumerate(zip(pins, maturity, strict=True))
    )
    folder = farm(
        batches="batch,inoculated_on\nA,2026-01-01",
        fillings="batch,container\n" + "\n".join(f"A,{n}" for n in range(5)),
        observations=f"seen_on,event,container,flush\n{seen}",
        harvests=f"picked_on,fresh_weight_g,container,flush\n{picked}",
    )
    rows = gillbook("days", "--by", "batch", "--farm", folder, "--as-of", "2026-02-01", "--json").json
    means = {row["wait"]: row["mean_days"] for row in rows}
    assert means["inoculated_to_pins"] == pytest.approx(23.20)
    assert means["pins_to_first_pick"] == pytest.approx(2.80)
    assert means["inoculated_to_first_pick"] == pytest.approx(26.00)


def test_efficiency_above_print_and_moisture_outside_print_warn_and_stay(farm: MakeFarm) -> None:
    # Straw 55-140 % in print, extremes to 261 %: above 200 % warns. Substrate moisture 62-77 % in print.
    folder = farm(
        batches="batch,inoculated_on,substrate_wet_kg,moisture_pct\nA,2026-01-01,10,86",
        observations="seen_on,event,batch\n2026-03-01,emptied,A",
        harvests="picked_on,fresh_weight_g,batch\n2026-02-01,2900,A",
    )
    said = gillbook("check", "--farm", folder, "--as-of", "2026-03-01", "--json")
    assert {"be_above_200_pct", "maximum"} <= {each["rule"] for each in said.json}
    assert said.code == 0
    row = gillbook("yields", "--farm", folder, "--as-of", "2026-03-01", "--json").json[0]
    assert row["be_finished_pct"] == pytest.approx(100 * 2900 / 1400)
