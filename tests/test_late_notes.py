"""What is noted late, or stands twice: which filling it belongs to, and that check asks about it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from ledgers import here, refreshed, rows

from pipeline.farm.folder import open_farm
from pipeline.logbook.containers import Assignment, Containers
from pipeline.logbook.summaries import current_summaries

Farm = Callable[..., Path]
BATCHES = """
    batch,inoculated_on,substrate_wet_kg,moisture_pct
    A,2026-01-01,10,70
    B,2026-03-05,10,70
"""
FILLINGS = """
    batch,container,fill_kg
    A,1,5
    A,2,5
    B,1,5
"""
CLOSINGS = (
    "select f.batch, f.container, c.closed_on, c.closed_by, c.cause from closings as c "
    "inner join fillings as f on f.line = c.filling_line order by all"
)


def logbook(folder: Path) -> Containers:
    farm = open_farm(folder)
    return Containers(farm, current_summaries(farm, {})[0])


def test_a_contamination_noted_after_refilling_is_of_the_batch_that_it_names(farm: Farm) -> None:
    seen = "seen_on,event,container,batch,cause\n2026-03-08,contaminated,1,A,trichoderma"
    folder = farm(batches=BATCHES, fillings=FILLINGS, observations=seen)
    refreshed(folder)
    refill = date(2026, 3, 5)
    assert rows(folder, CLOSINGS) == [("A", "1", refill, "contaminated", "trichoderma")]
    assert logbook(folder).end(Assignment("A", "1", date(2026, 1, 1))) == (refill, "contaminated")
    (lost,) = [
        each
        for each in here("losses", "--by", "batch", "--farm", folder, "--as-of", "2026-03-10", "--json").json
        if each["batch"] == "A"
    ]
    assert lost["contaminated_before_pick"] == 1
    said = here("check", "--farm", folder, "--as-of", "2026-03-10").out
    assert "is after the container was filled anew, on 2026-03-05, so this batch counts as contaminated in it" in said


def test_without_a_batch_it_is_of_the_new_filling_and_nothing_is_asked(farm: Farm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS, observations="seen_on,event,container\n2026-03-08,contaminated,1")
    refreshed(folder)
    assert rows(folder, CLOSINGS) == [
        ("A", "1", date(2026, 3, 5), "refilled", None),
        ("B", "1", date(2026, 3, 8), "contaminated", None),
    ]
    assert "filled anew" not in here("check", "--farm", folder, "--as-of", "2026-03-10").out


def test_thrown_out_days_after_it_was_noted_as_contaminated_is_no_doubt(farm: Farm) -> None:
    seen = "seen_on,event,container\n2026-02-01,contaminated,2\n2026-02-08,contaminated,2\n2026-02-09,emptied,2"
    folder = farm(batches=BATCHES, fillings=FILLINGS, observations=seen)
    refreshed(folder)
    assert "so it counts for nothing" not in here("check", "--farm", folder, "--as-of", "2026-03-10").out


@pytest.mark.parametrize(
    ("more", "closed"),
    [
        ("B,2,5\nB,2,6", date(2026, 3, 5)),  # two rows that contradict each other
        ("X,2,5", None),  # no batch of this name: nobody knows when it was filled
    ],
)
def test_a_filling_that_is_set_aside_ends_the_one_before_it(farm: Farm, more: str, closed: date | None) -> None:
    folder = farm(batches=BATCHES, fillings=f"{FILLINGS}{more}")
    refreshed(folder)
    ends = {row[:2]: row[2:4] for row in rows(folder, CLOSINGS)}
    assert ends.get(("A", "2")) == (closed and (closed, "refilled"))
    assert logbook(folder).end(Assignment("A", "2", date(2026, 1, 1))) == (closed and (closed, "refilled"))


def test_one_day_with_two_flushes_is_asked_about_only_of_a_container_alone(farm: Farm) -> None:
    pickings = """
        picked_on,fresh_weight_g,container,batch,flush
        2026-02-01,300,1,A,1
        2026-02-01,200,1,A,
        2026-02-11,150,1,A,2
        2026-02-11,120,1,A,1
        2026-02-11,500,,B,1
        2026-02-11,400,,B,2
    """
    folder = farm(batches=BATCHES.replace("03-05", "01-02"), fillings="batch,container\nA,1", harvests=pickings)
    refreshed(folder)
    found = here("check", "--farm", folder, "--as-of", "2026-03-10", "--json").json
    assert [(each["row"], each["value"]) for each in found if each["rule"] == "two_flushes"] == [(4, "2")]


def test_figures_say_which_containers_were_filled_twice_on_one_day(farm: Farm) -> None:
    batches = "batch,inoculated_on,substrate_wet_kg,moisture_pct\nA,2026-01-01,10,70\nB,2026-01-01,10,70"
    folder = farm(batches=batches, fillings="batch,container,fill_kg\nA,1,5\nB,1,5\nB,2,5")
    said = "filled twice on one day: its last filling counts, others count as ended then with nothing picked."
    for command in (("yields",), ("losses",), ("report", "--month", "2026-01")):
        assert f"1 was {said} gillbook check asks which it is." in here(*command, "--farm", folder).err, command
    assert "which of them is in it?" in here("check", "--farm", folder).out
    (folder / "fillings.csv").write_text("batch,container,fill_kg\nA,1,5\nB,3,5\nB,2,5\n", encoding="utf-8")
    assert "filled twice" not in here("yields", "--farm", folder).err
