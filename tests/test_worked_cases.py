"""Do the rules of places, dry mass, flushes and known units hold, a few rows at a time, worked out by hand?"""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from conftest import write_table

from pipeline.farm.folder import open_farm
from pipeline.ledger.refresh import refresh
from pipeline.models import measures
from pipeline.models.groups import grouping
from pipeline.models.missing_cells import missing_cells
from pipeline.models.view import Query, open_ledger, opened

MakeFarm = Callable[..., Path]
Rows = list[dict[str, Any]]


def told(folder: Path, name: str, as_of: str, by: str, through: int | None = None) -> Rows:
    """Refreshes and puts one question."""
    farm = open_farm(folder)
    refresh(farm, "test")
    query = Query(date.fromisoformat(as_of), grouping(by, name != "losses"), through)
    with opened(farm.ledger, farm.settings) as ledger:
        rows: Rows = getattr(measures, name)(ledger.view(query))
    return rows


def asked(folder: Path, sql: str) -> list[tuple[Any, ...]]:
    """Refreshes and asks the ledger."""
    farm = open_farm(folder)
    refresh(farm, "test")
    with open_ledger(farm.ledger) as con:
        return con.execute(sql).fetchall()


TWO_FILLINGS = {
    "batches": "batch,inoculated_on\nA,2026-01-01\nB,2026-03-01",
    "fillings": "batch,container\nA,7\nB,7",
}


@pytest.mark.parametrize(
    ("picked_on", "batch"), [("2026-02-01", "A"), ("2026-03-01", "A"), ("2026-03-02", "B"), ("2026-06-01", "B")]
)
def test_a_container_alone_is_its_filling_of_the_day_and_on_the_day_of_refilling_the_old_one(
    farm: MakeFarm, picked_on: str, batch: str
) -> None:
    folder = farm(**TWO_FILLINGS, harvests=f"picked_on,fresh_weight_g,container\n{picked_on},100,7")
    assert asked(folder, "select batch, container from harvests") == [(batch, "7")]


def test_refilling_ends_the_earlier_filling(farm: MakeFarm) -> None:
    folder = farm(**TWO_FILLINGS)
    before = told(folder, "yields", "2026-02-28", "container")
    assert [(row["batch"], row["units_known"], row["units_open"]) for row in before] == [("A", 0, 0)]
    after = told(folder, "yields", "2026-03-01", "container")
    assert [(row["batch"], row["units_known"]) for row in after] == [("A", 1), ("B", 0)]


def test_pooled_weights_count_for_the_batch_and_are_never_divided(farm: MakeFarm) -> None:
    folder = farm(
        batches="batch,inoculated_on,substrate_dry_kg\nA,2026-01-01,2",
        fillings="batch,container\nA,1\nA,2",
        harvests="""picked_on,fresh_weight_g,container,batch
            2026-02-01,300,1,A
            2026-02-01,500,,A""",
    )
    rows = told(folder, "yields", "2026-03-01", "container")
    assert [(row["container"], row["units"], row["fresh_g"], row["fresh_g_pooled"]) for row in rows] == [
        ("", 1, 800.0, 500.0)
    ]
    assert rows[0]["be_flush1_pct"] == pytest.approx(40.0)
    # Before the pooled weighing the batch still was two fillings.
    assert len(told(folder, "yields", "2026-01-31", "container")) == 2


# A batch of 20 kg wet at 70 % moisture and 1 kg spawn: 6000 g dry in 21 kg of mix.
BATCH = "batch,inoculated_on,substrate_wet_kg,moisture_pct,spawn_kg\nA,2026-01-01,20,70,1"


@pytest.mark.parametrize(
    ("fillings", "expected"),
    [
        ("batch,container,substrate_dry_kg,fill_kg\nA,1,1.5,7", {"1": (1500.0, "weighed")}),
        ("batch,container,fill_kg\nA,1,7\nA,2,3.5", {"1": (2000.0, "from fill"), "2": (1000.0, "from fill")}),
        ("batch,container,volume_l\nA,1,20\nA,2,10", {"1": (4000.0, "by volume"), "2": (2000.0, "by volume")}),
        ("batch,container,kind\nA,1,bag\nA,2,bag\nA,3,bag", dict.fromkeys("123", (2000.0, "evenly"))),
        ("batch,container\nA,1\nA,2", dict.fromkeys("12", (3000.0, "evenly"))),
        ("batch,container,kind\nA,1,bag\nA,2,bucket", dict.fromkeys("12", (None, None))),
        ("batch,container,kind\nA,1,bag\nA,2,", dict.fromkeys("12", (None, None))),
        # mixtures: own weight and the rest from its fill; some fills missing; nothing left
        (
            "batch,container,substrate_dry_kg,fill_kg\nA,1,1.5,\nA,2,,7\nA,3,,",
            {"1": (1500.0, "weighed"), "2": (2000.0, "from fill"), "3": (2500.0, "evenly")},
        ),
        (
            "batch,container,fill_kg,volume_l\nA,1,7,20\nA,2,,20\nA,3,,",
            {"1": (2000.0, "from fill"), **dict.fromkeys("23", (2000.0, "evenly"))},
        ),
        ("batch,container,substrate_dry_kg\nA,1,6\nA,2,", {"1": (6000.0, "weighed"), "2": (None, None)}),
    ],
)
def test_each_step_of_the_dry_mass_ladder(
    farm: MakeFarm, fillings: str, expected: dict[str, tuple[float | None, str | None]]
) -> None:
    folder = farm(batches=BATCH, fillings=fillings)
    rows = asked(folder, "select container, dry_g::double, dry_source from fillings")
    found = {
        container: (None if dry is None else pytest.approx(dry, rel=1e-12), source) for container, dry, source in rows
    }
    assert expected == found


def test_fill_shares_where_the_batch_was_weighed_dry(farm: MakeFarm) -> None:
    # Without the wet mass a filling's own share of the mix is unknown (rung 2), so all share by fill (rung 3).
    folder = farm(
        batches="batch,inoculated_on,substrate_dry_kg,supplement_dry_kg\nA,2026-01-01,5.5,0.5",
        fillings="batch,container,fill_kg\nA,1,4\nA,2,8",
    )
    rows = asked(folder, "select container, dry_g::double, dry_source from fillings order by 1")
    assert rows == [("1", pytest.approx(2000.0), "by fill"), ("2", pytest.approx(4000.0), "by fill")]


def test_a_filling_set_aside_leaves_nothing_to_share(farm: MakeFarm) -> None:
    folder = farm(batches=BATCH, fillings="batch,container,note\nA,1,\nA,2,x\nA,2,y")
    assert asked(folder, "select container, dry_source from fillings") == [("1", None)]
    farm_ = open_farm(folder)
    with opened(farm_.ledger, farm_.settings) as ledger:
        cells = missing_cells(ledger.view(Query(date(2026, 2, 1))))
    assert [(cell.number, cell.file, cell.row, cell.column_name) for cell in cells] == [
        ("BE", "fillings.csv", 3, "container")
    ]


def test_a_flush_is_derived_from_seven_days_without_a_picking(farm: MakeFarm) -> None:
    folder = farm(
        batches="batch,inoculated_on\nA,2026-01-01",
        fillings="batch,container\nA,1",
        harvests="""picked_on,fresh_weight_g,container,flush
            2026-02-01,100,1,
            2026-02-07,100,1,
            2026-02-14,100,1,
            2026-02-15,100,1,4
            2026-02-15,90,1,
            2026-02-22,100,1,""",
    )
    rows = asked(folder, "select row, flush, flush_source from harvests order by row")
    assert rows == [
        (2, 1, "derived"),
        (3, 1, "derived"),
        (4, 2, "derived"),
        (5, 4, "given"),
        (6, 4, "derived"),
        (7, 5, "derived"),
    ]


@pytest.mark.parametrize(
    ("as_of", "known", "lapsed"),
    [
        ("2026-02-10", 0, 0),  # the last picking of flush 1 is 9 days old
        ("2026-02-11", 1, 0),  # 10 days: flush_settled_days
        ("2026-03-17", 1, 0),  # 44 days after the last picking
        ("2026-03-18", 1, 1),  # 45 days: lapse_days
    ],
)
def test_known_and_lapsed_on_the_very_day(farm: MakeFarm, as_of: str, known: int, lapsed: int) -> None:
    folder = farm(
        batches="batch,inoculated_on\nA,2026-01-01",
        fillings="batch,container\nA,1",
        harvests="picked_on,fresh_weight_g,container,flush\n2026-02-01,100,1,1",
    )
    row = told(folder, "yields", as_of, "batch")[0]
    assert (row["units_known"], row["units_not_yet"], row["units_lapsed"]) == (known, 1 - known, lapsed)


@pytest.mark.parametrize(("as_of", "lapsed"), [("2026-03-31", 0), ("2026-04-01", 1)])
def test_a_unit_never_picked_lapses_ninety_days_after_inoculation(farm: MakeFarm, as_of: str, lapsed: int) -> None:
    folder = farm(batches="batch,inoculated_on\nA,2026-01-01", fillings="batch,container\nA,1")
    assert told(folder, "yields", as_of, "batch")[0]["units_lapsed"] == lapsed


def test_pins_of_a_later_flush_make_a_flush_known(farm: MakeFarm) -> None:
    folder = farm(
        batches="batch,inoculated_on\nA,2026-01-01",
        fillings="batch,container\nA,1",
        observations="seen_on,event,container\n2026-02-05,pins,1",
        harvests="picked_on,fresh_weight_g,container,flush\n2026-02-01,100,1,1",
    )
    assert told(folder, "yields", "2026-02-04", "batch")[0]["units_known"] == 0
    assert told(folder, "yields", "2026-02-05", "batch")[0]["units_known"] == 1


def test_contaminated_before_a_picking_counts_with_nothing_and_not_in_clean(farm: MakeFarm) -> None:
    folder = farm(
        batches="batch,inoculated_on\nA,2026-01-01",
        fillings="batch,container,substrate_dry_kg\nA,1,1\nA,2,1\nA,3,1",
        observations="""seen_on,event,container,cause
            2026-01-20,contaminated,1,green_mould
            2026-02-20,contaminated,2,green_mould
            2026-02-25,emptied,3,""",
        harvests="""picked_on,fresh_weight_g,container,flush
            2026-02-01,600,2,1
            2026-02-01,900,3,1""",
    )
    row = told(folder, "yields", "2026-03-01", "batch")[0]
    assert row["be_finished_pct"] == pytest.approx(50.0)  # 1500 g of 3 kg dry
    assert row["be_finished_clean_pct"] == pytest.approx(
        75.0
    )  # 1500 g of 2 kg: the second gave before it was thrown out
    lost = told(folder, "losses", "2026-03-01", "batch")[0]
    assert (lost["units"], lost["lost"], lost["contaminated_before_pick"], lost["contaminated_after_pick"]) == (
        3,
        1,
        1,
        1,
    )
    assert lost["why_no_interval"] == "fewer than three soaks"


def test_mending_a_batch_row_frees_the_pickings_that_waited(farm: MakeFarm) -> None:
    folder = farm(
        batches="batch,inoculated_on,spawn_kg\nA,2026-01-01,1\nA,2026-01-01,2",
        fillings="batch,container\nA,1",
        harvests="picked_on,fresh_weight_g,container\n2026-02-01,412,1",
    )
    assert asked(folder, "select count(*) from harvests") == [(0,)]
    waits = asked(
        folder, "select waits_file, waits_row from findings where level = 'waiting' and table_name = 'harvests'"
    )
    assert waits == [("batches.csv", 2)]
    write_table(folder, "batches", "batch,inoculated_on,spawn_kg\nA,2026-01-01,1")
    assert asked(folder, "select fresh_weight_g::double, batch, container from harvests") == [(412.0, "A", "1")]


def test_pickings_that_wait_are_weighed_by_month(farm: MakeFarm) -> None:
    folder = farm(
        batches="batch,inoculated_on,substrate_dry_kg\nA,2026-01-31,1\nB,2026-01-31,2\nB,2026-02-01,2\nC,2026-01-31,2\n"
        "C,2026-01-31,3",
        harvests="picked_on,fresh_weight_g,batch\n2026-03-02,400,A\n2026-03-03,250.5,B\n2026-03-04,49.5,C\n"
        "2026-04-02,100,B\n2026-04-03,x,B\n2026-05-01,70,B",
    )
    opened_farm = open_farm(folder)
    refresh(opened_farm, "test")
    with opened(opened_farm.ledger, opened_farm.settings) as ledger:
        rows = measures.of_month(ledger.view(Query(date(2026, 4, 30))), date(2026, 4, 1))["waiting_months"]
    # By hand. A picking without a readable mass cannot be weighed; one after the day is not counted yet.
    assert [tuple(row.values()) for row in rows] == [
        ("2026-03", 2, 300.0, 700.0, 2, "batches.csv"),
        ("2026-04", 1, 100.0, 100.0, 1, "batches.csv"),
    ]


def test_results_say_that_pickings_are_set_aside(farm: MakeFarm) -> None:
    folder = farm(
        batches="batch,inoculated_on\nA,2026-01-01\nB,2026-01-01",
        fillings="batch,container\nA,1\nB,2",
        harvests="picked_on,fresh_weight_g,container\n2026-02-01,,1\n2026-02-01,300,2",
    )
    rows = told(folder, "yields", "2026-03-01", "batch")
    assert [(row["batch"], row["pickings_set_aside"]) for row in rows] == [("A", 1), ("B", 0)]


def test_moving_a_picking_to_another_month_changes_only_what_depends_on_it(farm: MakeFarm) -> None:
    tables = {
        "batches": "batch,inoculated_on,substrate_dry_kg\nA,2026-01-01,2\nB,2026-02-01,2",
        "fillings": "batch,container\nA,1\nB,2",
        "observations": "seen_on,event,container\n2026-04-20,emptied,1\n2026-05-20,emptied,2",
    }
    picked = "picked_on,fresh_weight_g,container,flush\n{day},500,1,1\n2026-04-02,300,2,1"
    before = told(farm(**tables, harvests=picked.format(day="2026-02-20")), "months", "2026-06-01", "all")
    after = told(farm(**tables, harvests=picked.format(day="2026-03-20")), "months", "2026-06-01", "all")
    changed = {
        (old["month"], name) for old, new in zip(before, after, strict=True) for name in old if old[name] != new[name]
    }
    moved = ("fresh_g", "pickings", "culled_pct")  # the months' kilograms, and the share that had none
    assert changed == {(month, name) for month in ("2026-02", "2026-03") for name in moved}


def test_a_wait_that_would_be_negative_is_in_no_count(farm: MakeFarm) -> None:
    folder = farm(
        batches="batch,inoculated_on\nA,2026-01-01",
        fillings="batch,container\nA,1",
        observations="seen_on,event,container,flush\n2026-02-10,pins,1,1",
        harvests="picked_on,fresh_weight_g,container,flush\n2026-02-01,100,1,1",
    )
    rows = {row["wait"]: row for row in told(folder, "days", "2026-02-15", "batch")}
    assert rows["pins_to_first_pick"]["n"] == 0
    assert rows["pins_to_first_pick"]["mean_days"] is None
    assert rows["inoculated_to_first_pick"]["mean_days"] == 31


def test_zero_losses_still_allow_some(farm: MakeFarm) -> None:
    # 0 of b soaks affected still allows a share of 1 - .05^(1/b): b = 3: 63 %, b = 6: 39 % (exact binomial).
    batches = "\n".join(f"B{n},2026-01-01,S{n}" for n in range(6))
    fillings = "\n".join(f"B{n},{n}" for n in range(6))
    picked = "\n".join(f"2026-02-01,100,{n}" for n in range(6))
    folder = farm(
        batches=f"batch,inoculated_on,soak\n{batches}",
        fillings=f"batch,container\n{fillings}",
        harvests=f"picked_on,fresh_weight_g,container\n{picked}",
    )
    row = told(folder, "losses", "2026-03-01", "all")[0]
    assert (row["lost"], row["soaks"], row["low_pct"]) == (0, 6, 0.0)
    assert row["high_pct"] == pytest.approx(39.3, abs=0.05)


def test_the_interval_of_losses_comes_from_the_shares_of_soaks(farm: MakeFarm) -> None:
    # Shares 0, 50 and 25 % of three soaks of four: mean 25, sd 25; t(.975, 2 df) = 4.302653 (any t table), so
    # 25 -+ 4.302653 x 25 / sqrt(3) = -37.1 .. 87.1, and no share is below 0.
    containers = [(batch, f"{batch}{n}") for batch in "ABC" for n in range(4)]
    out = ["B0", "B1", "C0"]
    folder = farm(
        batches="batch,inoculated_on,soak\nA,2026-01-01,S1\nB,2026-01-01,S2\nC,2026-01-01,S3",
        fillings="batch,container\n" + "\n".join(f"{batch},{name}" for batch, name in containers),
        observations="seen_on,event,container\n" + "\n".join(f"2026-01-20,contaminated,{name}" for name in out),
        harvests="picked_on,fresh_weight_g,container\n"
        + "\n".join(f"2026-02-01,100,{name}" for _, name in containers if name not in out),
    )
    row = told(folder, "losses", "2026-03-01", "all")[0]
    assert (row["lost"], row["units"], row["soaks"], row["soaks_with_loss"]) == (3, 12, 3, 2)
    assert row["lost_pct"] == pytest.approx(25.0)
    assert row["low_pct"] == 0.0
    assert row["high_pct"] == pytest.approx(25 + 4.302653 * 25 / 3**0.5, abs=1e-4)
