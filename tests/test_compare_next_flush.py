"""The days from one flush to the next, compared; and fresh holes against the same: by hand, and found where planted."""

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from compare_farms import compared
from conftest import Said, gillbook, write_table

FIRST = date(2026, 1, 5)
LAST_DAY = date(2026, 12, 31)


class Rows:
    """The rows of a farm whose soaks are batches of one container each or more, 1 kg dry substrate each."""

    def __init__(self) -> None:
        self.tables = {
            "batches": ["batch,inoculated_on,substrate_dry_kg"],
            "fillings": ["batch,container,holes_taped"],
            "observations": ["seen_on,event,batch,container,flush"],
            "harvests": ["picked_on,fresh_weight_g,batch,container,flush"],
        }

    def batch(self, name: str, on: date) -> None:
        self.tables["batches"].append(f"{name},{on},6")

    def container(self, batch: str, name: str, taped: str = "") -> None:
        self.tables["fillings"].append(f"{batch},{name},{taped}")

    def seen(self, on: date, event: str, batch: str, container: str, flush: str = "") -> None:
        self.tables["observations"].append(f"{on},{event},{batch},{container},{flush}")

    def picked(self, on: date, batch: str, container: str, flush: int) -> None:
        self.tables["harvests"].append(f"{on},500,{batch},{container},{flush}")

    def write(self, folder: Path) -> None:
        for table, lines in self.tables.items():
            write_table(folder, table, "\n".join(lines))


def ask(folder: Path, *words: object, as_of: date = LAST_DAY) -> Said:
    return gillbook("compare", "holes", "--measure", "next-flush", *words, "--farm", folder, "--as-of", as_of)


def by_hand(folder: Path) -> None:
    """Two soaks: waits of 10 and 12 (fresh), 14 and 20 (same); of 9 (fresh), 15 and 17 (same). One was lost before its
    first flush, one never gave a second; one of a batch without any note of openings or tape.
    """
    rows = Rows()
    waits = {
        "A": [("fresh", 10), ("fresh", 12), ("same", 14), ("same", 20)],
        "B": [("fresh", 9), ("same", 15), ("same", 17)],
    }
    for at, (batch, of) in enumerate(waits.items()):
        on = FIRST + timedelta(days=7 * at)
        rows.batch(batch, on)
        for number, (holes, days) in enumerate(of):
            name, first = f"{batch}{number}", on + timedelta(days=30)
            rows.container(batch, name)
            if holes == "fresh":
                # Written, or told from the pickings: opened on the day of the first.
                rows.seen(first, "opened", batch, name, "2" if batch == "A" else "")
            rows.seen(on + timedelta(days=14), "opened", batch, name)
            rows.picked(first, batch, name, 1)
            rows.picked(first + timedelta(days=2), batch, name, 1)
            rows.picked(first + timedelta(days=days), batch, name, 2)
            rows.seen(on + timedelta(days=80), "emptied", batch, name)
    rows.container("A", "lost")
    rows.seen(FIRST + timedelta(days=20), "contaminated", "A", "lost")
    rows.container("B", "once")
    rows.picked(FIRST + timedelta(days=40), "B", "once", 1)
    rows.seen(FIRST + timedelta(days=70), "emptied", "B", "once")
    rows.batch("C", FIRST)
    rows.container("C", "unnoted")
    rows.picked(FIRST + timedelta(days=30), "C", "unnoted", 1)
    rows.picked(FIRST + timedelta(days=41), "C", "unnoted", 2)
    rows.write(folder)


def test_waits_between_first_pickings_by_hand(tmp_path: Path) -> None:
    by_hand(tmp_path)
    said = ask(tmp_path, "--levels", "--json")
    assert said.code == 0, said.err
    levels = {row["level"]: row for row in said.json}
    assert (levels["fresh holes"]["soaks"], levels["fresh holes"]["units"]) == (2, 3)
    assert levels["fresh holes"]["estimate"] == pytest.approx((11 + 9) / 2)
    assert (levels["same holes"]["units"], levels["same holes"]["units_without"]) == (4, 1)
    assert levels["same holes"]["estimate"] == pytest.approx((17 + 16) / 2)
    assert "2 containers have no holes written down: left out." in ask(tmp_path).err


def test_a_soak_waits_while_one_of_its_containers_waits_for_its_next_flush(tmp_path: Path) -> None:
    by_hand(tmp_path)
    # On day 47 of soak A its waits of 10, 12 and 14 days are over, that of 20 is not.
    levels = {row["level"]: row for row in ask(tmp_path, "--levels", "--json", as_of=FIRST + timedelta(47)).json}
    assert (levels["fresh holes"]["soaks"], levels["fresh holes"]["estimate"]) == (2, pytest.approx(10))
    assert (levels["same holes"]["soaks"], levels["same holes"]["soaks_not_yet"]) == (0, 2)


def simulated(folder: Path, seed: int, shorter: float) -> None:
    """Ten soaks of six containers with four taped holes; of half of each the tape came off after the first picking, and
    their second flush came `shorter` days sooner. The soak's spread is 1.5 days, the containers' 2.
    """
    draw, rows = np.random.default_rng(seed), Rows()
    for at in range(10):
        batch, on = f"N{at}", FIRST + timedelta(days=14 * at)
        rows.batch(batch, on)
        together = draw.normal(0, 1.5)
        for number in range(6):
            name, first = f"{batch}-{number}", on + timedelta(days=round(30 + draw.normal(0, 2)))
            fresh = number % 2 == 0
            wait = 16 + together + draw.normal(0, 2) - shorter * fresh
            rows.container(batch, name, "4")
            rows.picked(first, batch, name, 1)
            rows.picked(first + timedelta(days=round(wait)), batch, name, 2)
            if fresh:
                rows.seen(first + timedelta(days=1), "opened", batch, name, "2" if at % 2 else "")
            rows.seen(first + timedelta(days=40), "emptied", batch, name)
    rows.write(folder)


@pytest.mark.parametrize("seed", [1, 2])
def test_five_days_shorter_is_found(tmp_path: Path, seed: int) -> None:
    simulated(tmp_path, seed, 5.0)
    (pair,) = ask(tmp_path, "--json").json
    assert (pair["level"], pair["against"], pair["unit"]) == ("same holes", "fresh holes", "days")
    assert pair["low"] <= 5 <= pair["high"]
    assert pair["low"] > 2
    text = " ".join(ask(tmp_path).out.split())
    assert text.startswith("Days from the flush before to flush 2 by holes, as of 2026-12-31. It varies within soaks.")
    assert "same holes took longer to the next flush than fresh holes" in text


@pytest.mark.parametrize("seed", range(6))
def test_where_nothing_is_planted_the_interval_holds_nothing(tmp_path: Path, seed: int) -> None:
    simulated(tmp_path, seed, 0.0)
    (each,) = compared(tmp_path, "holes", "next-flush").pairs
    assert each.pair.limits is not None
    assert each.pair.limits[0] <= 0 <= each.pair.limits[1]


def test_taped_holes_are_part_of_it_and_it_is_listed_without_a_factor(tmp_path: Path) -> None:
    simulated(tmp_path, 1, 5.0)
    said = gillbook("compare", "--measure", "next-flush", "--farm", tmp_path, "--as-of", LAST_DAY)
    assert any(line.split()[:1] == ["holes"] for line in said.out.splitlines())
    wrong = ask(tmp_path, "--through-flush", 1)
    assert (wrong.code, wrong.out) == (2, "")
    assert "next-flush counts from flush 2 on." in wrong.err
