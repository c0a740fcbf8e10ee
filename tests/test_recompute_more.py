"""Is the oracle of days, losses, causes and months right? Printed numbers from outside and the readings, one by one."""

import json
from datetime import date
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from recompute import causes, days, losses, months, yields
from recompute_days import quantile
from recompute_losses import interval_of, t_quantile
from test_recompute import LATE, farm_of

Rows = list[dict[str, str | int | float | None]]


def told(rows: Rows, *names: str) -> list[tuple[str | int | float | None, ...]]:
    """Which cells of these columns do the rows hold?"""
    return [tuple(row[name] for name in names) for row in rows]


def wait(rows: Rows, name: str) -> dict[str, str | int | float | None]:
    """Which row tells of the wait?"""
    return next(row for row in rows if row["wait"] == name)


def test_keys_of_the_other_measures_are_those_of_their_contracts(tmp_path: Path) -> None:
    farm = farm_of(
        tmp_path,
        batches="batch,inoculated_on\nA,2026-01-01",
        fillings="batch,container\nA,1",
    )
    contracts = Path(__file__).resolve().parents[1] / "schemas" / "results"
    for name, rows, grouping in (
        ("days", days(farm, LATE, ["container"]), ["batch", "container"]),
        ("losses", losses(farm, LATE, ["container"]), ["container"]),
        ("causes", causes(farm, LATE, ["soak"]), ["soak"]),
        ("months", months(farm, LATE), []),
    ):
        fields = json.loads((contracts / f"{name}.json").read_text(encoding="utf-8"))["fields"]
        assert list(rows[0]) == [*grouping, *(field["name"] for field in fields)]


def test_the_2021_date_sum(tmp_path: Path) -> None:
    # Int. J. Agronomy 2021, 9962285: spawning to pinhead 23.20 d + pins to maturity 2.80 d = first harvest 26.00 d.
    # Five units: pins after 23, 23, 23, 23, 24 d (mean 23.20), maturity 3, 3, 3, 3, 2 d later (mean 2.80).
    pins = "\n".join(f"2026-01-{day},pins,{name}" for name, day in zip("ABCDE", (24, 24, 24, 24, 25), strict=True))
    picked = "\n".join(f"2026-01-27,100,{name}" for name in "ABCDE")
    farm = farm_of(
        tmp_path,
        batches="batch,inoculated_on\n" + "\n".join(f"{name},2026-01-01" for name in "ABCDE"),
        observations=f"seen_on,event,batch\n{pins}",
        harvests=f"picked_on,fresh_weight_g,batch\n{picked}",
    )
    rows = days(farm, LATE, [])
    names = ("inoculated_to_pins", "pins_to_first_pick", "inoculated_to_first_pick")
    assert told([wait(rows, name) for name in names], "n", "mean_days") == [(5, 23.2), (5, 2.8), (5, 26.0)]


def test_waits_stand_in_order_up_to_the_highest_flush_picked(tmp_path: Path) -> None:
    farm = farm_of(
        tmp_path,
        batches="batch,inoculated_on\nA,2026-01-01",
        harvests="picked_on,fresh_weight_g,batch,flush\n2026-02-01,9,A,1\n2026-03-01,9,A,3",
    )
    before = ["inoculated_to_colonised", "inoculated_to_pins", "inoculated_to_first_pick", "opened_to_pins"]
    before.append("pins_to_first_pick")
    assert [row["wait"] for row in days(farm, date(2026, 2, 1), [])] == [*before, "flush_1_to_2", "cycle"]
    rows = days(farm, LATE, [])
    assert [row["wait"] for row in rows] == [*before, "flush_1_to_2", "flush_2_to_3", "cycle"]
    # Flush 2 was passed without a picking, so nobody waits for it; and nobody began to wait for flush 3.
    assert told(rows[5:7], "n", "units_not_yet", "units_lost", "q1_days") == [(0, 0, 0, None), (0, 0, 0, None)]


@pytest.mark.parametrize(
    ("name", "observation", "expected"),
    [
        ("inoculated_to_colonised", "", (0, 1, 0)),
        ("inoculated_to_colonised", "2026-01-15,colonised,A,", (1, 0, 0)),
        ("inoculated_to_colonised", "2026-01-15,pins,A,2", (0, 0, 0)),  # colonised it was, nobody noted when
        ("inoculated_to_colonised", "2026-01-15,emptied,A,", (0, 0, 1)),
        ("inoculated_to_pins", "2026-01-15,opened,A,", (0, 1, 0)),
        ("inoculated_to_pins", "2026-01-15,pins,A,2", (0, 0, 0)),
        ("inoculated_to_pins", "2026-01-15,contaminated,A,", (0, 0, 1)),
        ("inoculated_to_first_pick", "2026-01-15,pins,A,2", (0, 1, 0)),  # picked, that is always noted
        ("opened_to_pins", "2026-01-15,colonised,A,", (0, 0, 0)),
        ("opened_to_pins", "2026-01-15,opened,A,", (0, 1, 0)),
        ("opened_to_pins", "2026-01-16,opened,A,\n2026-01-15,pins,A,1", (0, 0, 0)),  # never a wait below 0
        ("opened_to_pins", "2026-01-15,opened,A,\n2026-01-16,emptied,A,", (0, 0, 1)),
        ("pins_to_first_pick", "2026-01-15,pins,A,", (0, 1, 0)),
        ("pins_to_first_pick", "2026-01-15,pins,A,2", (0, 0, 0)),
        ("cycle", "", (0, 1, 0)),
        ("cycle", "2026-01-15,emptied,A,", (1, 0, 0)),
    ],
)
def test_not_yet_lost_or_passed_without_a_note(
    tmp_path: Path, name: str, observation: str, expected: tuple[int, int, int]
) -> None:
    farm = farm_of(
        tmp_path,
        batches="batch,inoculated_on\nA,2026-01-01",
        observations=f"seen_on,event,batch,flush\n{observation}",
    )
    row = wait(days(farm, date(2026, 1, 31), []), name)
    assert told([row], "n", "units_not_yet", "units_lost") == [expected]


def test_a_lapsed_unit_never_finishes_its_cycle(tmp_path: Path) -> None:
    farm = farm_of(tmp_path, batches="batch,inoculated_on\nA,2026-01-01\nB,")
    assert told([wait(days(farm, LATE, []), "cycle")], "n", "units_not_yet", "units_lost") == [(0, 0, 1)]


def test_quartiles_are_numpys() -> None:
    for values in ([5], [3, 8], [1, 2, 4, 8], [14, 15, 15, 21, 29, 40, 41]):
        for share in (Fraction(1, 4), Fraction(1, 2), Fraction(3, 4)):
            assert quantile(values, share) == pytest.approx(float(np.quantile(values, float(share))), rel=1e-12)


def test_a_count_below_the_fillings_tells_nothing_of_one(tmp_path: Path) -> None:
    farm = farm_of(
        tmp_path,
        batches="batch,inoculated_on\nA,2026-01-01\nB,2026-01-01",
        fillings="batch,container\nA,1\nA,2\nB,3\nB,4",
        observations="""seen_on,event,batch,count
            2026-01-15,colonised,A,1
            2026-01-15,colonised,B,2
            2026-01-20,pins,A,1
            2026-02-20,pins,B,2""",
        harvests="""picked_on,fresh_weight_g,container
            2026-02-15,100,1
            2026-02-15,100,2
            2026-02-15,100,3
            2026-02-15,100,4""",
    )
    rows = days(farm, date(2026, 2, 20), ["batch"])
    noted = [row for row in rows if row["wait"] in ("inoculated_to_colonised", "inoculated_to_pins")]
    assert told(noted, "batch", "wait", "n") == [
        ("A", "inoculated_to_colonised", 0),
        ("A", "inoculated_to_pins", 0),
        ("B", "inoculated_to_colonised", 2),
        ("B", "inoculated_to_pins", 0),
    ]
    # Pins seen on all of B after its first flush are of the second, so the first is known there.
    assert told(yields(farm, date(2026, 2, 20), ["batch"]), "units_known") == [(0,), (2,)]


SOAKS = {
    "batches": """batch,inoculated_on,soak
        A,2026-01-01,S1
        B,2026-01-01,S1
        C,2026-01-01,S2
        D,2026-01-01,
        E,2026-01-02,""",
    "fillings": "batch,container\nA,1\nB,2\nB,3\nC,4\nC,5\nD,6\nD,7\nE,8",
    "observations": """seen_on,event,container,cause
        2026-01-20,contaminated,1,green_mould
        2026-01-20,contaminated,1,bacterial
        2026-01-21,emptied,2,
        2026-02-02,contaminated,4,flies
        2026-01-22,contaminated,6,""",
    "harvests": """picked_on,fresh_weight_g,container
        2026-02-01,100,3
        2026-02-01,100,4
        2026-02-01,100,5
        2026-02-01,100,7""",
}


def test_losses_are_told_of_units_and_of_soaks(tmp_path: Path) -> None:
    farm = farm_of(tmp_path, **SOAKS)
    (row,) = losses(farm, date(2026, 2, 2), [])
    names = ("units", "units_not_yet", "lost", "soaks", "soaks_with_loss")
    assert told([row], *names) == [(8, 1, 3, 3, 2)]
    assert told([row], "contaminated_before_pick", "contaminated_after_pick") == [(2, 1)]
    assert row["lost_pct"] == pytest.approx(100 * 3 / 7)
    survivors = 4  # containers 3, 4, 5, 7 were picked
    assert row["units"] == 3 + survivors + 1
    # Shares lost: S1 2 of 3, S2 0 of 2, D 1 of 2: mean 7/18, sd .3469 (variance 13/108); t(.975, 2 df) = 4.302653
    # (any table of Student's t). 38.9 -+ 86.2 reaches beyond 0 and 100.
    assert told([row], "low_pct", "high_pct", "why_no_interval") == [(0.0, 100.0, None)]
    groups = losses(farm, date(2026, 2, 2), ["batch"])
    assert sum(int(group["lost"] or 0) for group in groups) == row["lost"]
    assert sum(int(group["units"] or 0) for group in groups) == row["units"]
    (last,) = losses(farm, LATE, [])  # nobody said what became of container 8: it lapsed
    assert told([last], "units_not_yet", "lost", "soaks_with_loss") == [(0, 4, 3)]


def test_causes_are_those_of_the_lost_units_only(tmp_path: Path) -> None:
    farm = farm_of(tmp_path, **SOAKS)
    expected = [("", 1), ("bacterial", 1), ("emptied", 1), ("lapsed", 1)]
    assert told(causes(farm, LATE, []), "cause", "lost") == expected
    assert told(causes(farm, LATE, ["batch"]), "batch", "cause") == [
        ("A", "bacterial"),
        ("B", "emptied"),
        ("D", ""),
        ("E", "lapsed"),
    ]


def test_interval_of_three_soaks_by_hand() -> None:
    # Mean 20 %, sd 10 points: 20 -+ 4.302653 x 10 / sqrt(3) = 20 -+ 24.841; with sd 2: 20 -+ 4.968.
    wide = interval_of([Fraction(10, 100), Fraction(20, 100), Fraction(30, 100)], False)
    assert (wide["low_pct"], wide["high_pct"]) == pytest.approx((0.0, 44.8414), abs=5e-4)
    close = interval_of([Fraction(18, 100), Fraction(20, 100), Fraction(22, 100)], False)
    assert (close["low_pct"], close["high_pct"]) == pytest.approx((15.0317, 24.9683), abs=5e-4)
    assert close["why_no_interval"] is None


@pytest.mark.parametrize(("soaks", "high"), [(3, 63.2), (6, 39.3)])
def test_no_loss_in_any_soak_still_allows_a_share(soaks: int, high: float) -> None:
    # Exact binomial: 0 of b batches affected still allows 1 - .05^(1/b): b = 3 63 %, 6 39 %.
    none, all_lost = (interval_of([Fraction(share)] * soaks, False) for share in (0, 1))
    assert (none["low_pct"], none["high_pct"]) == pytest.approx((0.0, high), abs=0.05)
    assert (all_lost["low_pct"], all_lost["high_pct"]) == pytest.approx((100 - high, 100.0), abs=0.05)


def test_no_interval_says_why() -> None:
    half, third = Fraction(1, 2), Fraction(1, 3)
    for shares, of_containers, why in (
        ([half, third], False, "fewer than three soaks"),
        ([half, half, half], False, "every soak lost the same share"),
        ([half, third, third], True, "containers of one soak are not independent"),
    ):
        assert list(interval_of(shares, of_containers).values()) == [None, None, why]


def test_t_quantiles_are_those_of_the_table() -> None:
    # t(.975) as printed in tables of Student's distribution.
    printed = {1: 12.706205, 2: 4.302653, 3: 3.182446, 4: 2.776445, 10: 2.228139, 30: 2.042272}
    assert {df: round(t_quantile(df), 6) for df in printed} == printed


def test_losses_of_containers_are_of_all_their_fillings(tmp_path: Path) -> None:
    farm = farm_of(
        tmp_path,
        batches="batch,inoculated_on\nA,2026-01-01\nB,2026-03-01",
        fillings="batch,container\nA,1\nA,2\nB,1\nB,2",
        observations="seen_on,event,container,batch,cause\n2026-01-10,contaminated,1,A,dried\n2026-02-05,emptied,2,A,",
        harvests="picked_on,fresh_weight_g,container,batch\n2026-02-01,100,,A",  # weighed together: from 2 only
    )
    rows = losses(farm, date(2026, 3, 1), ["container"])
    names = ("container", "units", "units_not_yet", "lost", "contaminated_before_pick", "soaks")
    assert told(rows, *names) == [("1", 2, 1, 1, 1, 1), ("2", 2, 1, 0, 0, 1)]
    assert told(causes(farm, date(2026, 3, 1), ["container"]), "container", "cause", "lost") == [("1", "dried", 1)]
    assert {row["why_no_interval"] for row in rows} == {"containers of one soak are not independent"}
    assert told(losses(farm, date(2026, 3, 1), []), "units", "lost") == [(3, 0)]  # A was picked as one unit


def test_months_leave_none_out_and_lapse_when_due(tmp_path: Path) -> None:
    farm = farm_of(
        tmp_path,
        batches="batch,inoculated_on,substrate_dry_kg\nA,2026-01-31,1\nB,2026-03-01,2",
        observations="seen_on,event,batch\n2026-03-20,emptied,B",
        harvests="picked_on,fresh_weight_g,batch,cap_stage,culled_g\n2026-03-02,400,A,plane,20\n2026-03-04,100,A,,101",
    )
    rows = months(farm, date(2026, 4, 30))
    names = ("month", "fresh_g", "pickings", "units_finished", "units_inoculated")
    assert told(rows, *names) == [
        ("2026-01", 0.0, 0, 0, 1),
        ("2026-02", 0.0, 0, 0, 0),
        ("2026-03", 500.0, 2, 1, 1),
        ("2026-04", 0.0, 0, 1, 0),  # 45 days after its last picking on 4 March, A lapses on 18 April
    ]
    assert told(rows, "be_finished_pct", "be_inoculated_pct") == [
        (None, 50.0),
        (None, None),
        (None, None),
        (50.0, None),
    ]
    # Flat is not late (turned_up is); 20 g of 500 culled, as 101 g of 100 cannot be.
    assert told(rows[1:3], "picked_late_pct", "culled_pct") == [(None, None), (0.0, 4.0)]
    assert told(months(farm, date(2026, 4, 17))[3:], "units_finished") == [(0,)]
    assert months(farm, date(2026, 1, 30)) == []


def test_rates_stages_and_culls_of_yields(tmp_path: Path) -> None:
    (tmp_path / "farm.toml").write_text('late_from = "flat"\n', encoding="utf-8")
    farm = farm_of(
        tmp_path,
        batches="batch,inoculated_on,substrate_dry_kg\nA,2026-01-01,1\nB,2026-01-01,3",
        harvests="""picked_on,fresh_weight_g,batch,cap_stage,culled_g
            2026-01-21,300,A,curled,30
            2026-02-10,100,A,flat,
            2026-01-31,600,B,Turned Up,
            2026-01-31,600,B,,50""",
    )
    whole = yields(farm, LATE, [])[0]
    # A: 400 g of 1 kg, 20 and 40 days; B: 1200 g of 3 kg, 30 days. Sum over sum.
    assert whole["be_per_day_to_first_pick"] == pytest.approx(100 * 1600 / (1000 * 20 + 3000 * 30))
    assert whole["be_per_day_to_last_pick"] == pytest.approx(100 * 1600 / (1000 * 40 + 3000 * 30))
    assert (whole["picked_late_pct"], whole["flat_pct"]) == pytest.approx((70.0, 10.0))
    assert (whole["no_stage_pct"], whole["culled_pct"]) == pytest.approx((37.5, 5.0))
    early = yields(farm, date(2026, 1, 2), [])[0]
    assert [early[name] for name in ("be_per_day_to_last_pick", "flat_pct", "no_stage_pct", "culled_pct")] == [None] * 4
