"""Days until colonised, and the share colonised by a day: what counts as what, by hand, and through the command."""

from collections.abc import Mapping
from datetime import date, timedelta
from pathlib import Path

import pytest
from conftest import Said, gillbook, write_table

FIRST = date(2026, 1, 5)


def farm(folder: Path, batches: Mapping[str, list[int | str]], settings: str = "") -> None:
    """Writes a farm: each batch a soak, its substrate the first letter of its name. Of each container the day when it
    was colonised; or what became of it without: "lost" on day 10, "picked" on day 40 without a note, "open".
    """
    (folder / "farm.toml").write_text(settings, encoding="utf-8")
    rows: dict[str, list[str]] = {
        "batches": ["batch,inoculated_on,substrate"],
        "fillings": ["batch,container"],
        "observations": ["seen_on,event,batch,container"],
        "harvests": ["picked_on,fresh_weight_g,batch,container"],
    }
    for at, (name, containers) in enumerate(batches.items()):
        on = FIRST + timedelta(days=at)
        rows["batches"].append(f"{name},{on},{'mulch' if name[0] == 'M' else 'straw'}")
        for number, came in enumerate(containers):
            place = f"{name},{name}-{number}"
            rows["fillings"].append(place)
            if isinstance(came, int):
                rows["observations"].append(f"{on + timedelta(days=came)},colonised,{place}")
            if came == "lost":
                rows["observations"].append(f"{on + timedelta(days=10)},contaminated,{place}")
            if came == "picked":
                rows["harvests"].append(f"{on + timedelta(days=40)},500,{place}")
    for table, lines in rows.items():
        write_table(folder, table, "\n".join(lines))


def ask(folder: Path, *words: object, as_of: str = "2026-02-20") -> Said:
    return gillbook(
        "compare", "substrate", "--measure", "colonised", *words, "--json", "--farm", folder, "--as-of", as_of
    )


BATCHES: dict[str, list[int | str]] = {
    "S1": [12, 14, 16, "lost"],
    "M1": [20, 22, 24, 26],
    "S2": [13, 13, 15, 15],
    "M2": [21, 21, 21, "lost"],
    "S3": [15, 15, "picked", 15],
    "M3": [22, 24, 26, 24],
}


def test_days_until_colonised_are_the_mean_of_those_that_came_so_far(tmp_path: Path) -> None:
    farm(tmp_path, BATCHES)
    levels = {row["level"]: row for row in ask(tmp_path, "--levels").json}
    # By hand: straw 14, 14 and 15, mulch 23, 21 and 24; one lost of each, one picked without a note.
    assert levels["straw"]["estimate"] == pytest.approx(43 / 3)
    assert levels["mulch"]["estimate"] == pytest.approx(68 / 3)
    assert (levels["straw"]["units"], levels["straw"]["units_without"]) == (10, 2)
    assert levels["straw"]["unit"] == "days"
    (pair,) = ask(tmp_path).json
    assert (pair["level"], pair["measure"], pair["smallest_effect"]) == ("straw", "colonised", 3)
    assert pair["difference"] == pytest.approx(-25 / 3)
    assert "straw was colonised sooner than mulch" in pair["sentence"]


def test_the_share_colonised_by_a_day_counts_losses_and_those_picked_without_a_note(tmp_path: Path) -> None:
    farm(tmp_path, BATCHES)
    levels = {row["level"]: row for row in ask(tmp_path, "--to-day", 22, "--levels").json}
    # By hand: straw 3 of 4, all, all (the three noted of S3 stand for the picked one); mulch 2, 3 and 1 of 4.
    assert levels["straw"]["estimate"] == pytest.approx(100 * (0.75 + 1 + 1) / 3)
    assert levels["mulch"]["estimate"] == pytest.approx(100 * (0.5 + 0.75 + 0.25) / 3)
    (pair,) = ask(tmp_path, "--to-day", 22).json
    assert (pair["unit"], pair["smallest_effect"]) == ("points", 10)
    assert pair["difference"] == pytest.approx(100 * 1.25 / 3)


def test_a_batch_that_notes_none_tells_nothing_and_one_that_is_young_waits(tmp_path: Path) -> None:
    farm(tmp_path, {**BATCHES, "S4": ["picked", "picked"], "S5": ["open", "open"]})
    by_day = {row["level"]: row for row in ask(tmp_path, "--to-day", 22, "--levels").json}["straw"]
    assert by_day["estimate"] == pytest.approx(100 * (0.75 + 1 + 1 + 0) / 4)  # on day 22 the open ones were not
    days = {row["level"]: row for row in ask(tmp_path, "--levels").json}["straw"]
    assert (days["soaks"], days["soaks_not_yet"], days["units_not_yet"]) == (3, 1, 2)
    assert days["estimate"] == pytest.approx(43 / 3)
