"""A file that is not separated by commas is said aloud: by a refresh once, when it is read; by check always."""

from __future__ import annotations

from pathlib import Path

from ledgers import here

HARVESTS = "picked_on{0}fresh_weight_g{0}container\n2026-05-01{0}400{0}C1\n"


def test_another_separator_is_said_once_by_refresh_and_always_by_check(farm) -> None:  # type: ignore[no-untyped-def]
    folder: Path = farm(batches="batch,inoculated_on\nA,2026-01-01", fillings="batch,container\nA,C1")
    (folder / "harvests").mkdir()
    for month in range(1, 6):
        text = HARVESTS.format(";").replace("400", f"40{month}")
        (folder / f"harvests/{month}.csv").write_text(text, encoding="utf-8")
    (folder / "harvests/tabs.csv").write_text(HARVESTS.format("\t"), encoding="utf-8")
    first = here("refresh", "--farm", folder)
    assert [line for line in first.err.splitlines() if "between the columns" in line] == [
        "Semicolons stand between the columns of harvests/1.csv, harvests/2.csv, harvests/3.csv and 2 more.",
        "Tabs stand between the columns of harvests/tabs.csv.",
    ]
    assert "between the columns" not in here("refresh", "--farm", folder).err
    for _ in range(2):
        said = here("check", "--as-of", "2026-06-01", "--farm", folder).out
        assert 'harvests/1.csv, row 1: "semicolons" stand between the columns of this file. Nothing to do.' in said
        assert "... and 3 more of this kind; out/findings.csv has all of them" in said
    (folder / "harvests/tabs.csv").write_text(HARVESTS.format(";").replace("400", "409"), encoding="utf-8")
    changed = here("refresh", "--json", "--farm", folder)
    assert "Semicolons stand between the columns of harvests/tabs.csv.\n" in changed.err
    # Commas go without saying.
    (folder / "harvests/tabs.csv").write_text(HARVESTS.format(","), encoding="utf-8")
    assert "between the columns" not in here("refresh", "--farm", folder).err
