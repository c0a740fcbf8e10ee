"""What is told of files whose rows come and go: which file, which of its tables, why, and what is to be done."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import write_table
from ledgers import BATCHES, FILLINGS, HARVESTS, THREE_TABLES, here, refreshed, rows

Farm = Callable[..., Path]
NAMED = """
[files."log.csv"]
tables = ["fillings", "harvests"]
"""
HEADINGS = """
[headings.harvests]
"Weight" = "fresh_weight_g"
"""
LOG = "batch,container,picked_on,Weight\nA,1,2026-02-01,300\nA,2,2026-02-06,200\n"


def logged(farm: Farm) -> Path:
    folder = farm(NAMED + HEADINGS, batches=BATCHES)
    (folder / "log.csv").write_text(LOG, encoding="utf-8")
    refreshed(folder)
    return folder


def settings(folder: Path, text: str) -> None:
    (folder / "farm.toml").write_text(text, encoding="utf-8")


def test_another_farm_toml_is_said_once_by_every_command_and_is_the_reason_for_what_it_changes(farm: Farm) -> None:
    folder = farm("", batches=BATCHES, fillings=FILLINGS, harvests=f"{HARVESTS}\n02/07/2026,50,2")
    refreshed(folder)
    settings(folder, 'date_order = "month_day_year"\n')
    said = here("refresh", "--farm", folder).err
    assert "farm.toml has changed: all rows were read anew.\n" in said
    assert "harvests.csv: 1 row can be counted now, because of what farm.toml tells now.\n" in said
    settings(folder, 'date_order = "month_day_year"\nnew_flush_after_days = 5\n')
    assert here("yields", "--farm", folder).err.startswith("farm.toml has changed: all rows were decided anew.\n")
    assert refreshed(folder).messages == []


def test_a_file_of_several_tables_is_told_of_once_or_table_by_table(farm: Farm) -> None:
    folder = logged(farm)
    (folder / "log.csv").rename(folder / "aside")
    refreshed(folder)
    (folder / "aside").rename(folder / "log.csv")
    assert refreshed(folder).messages == ["log.csv is back."]
    (folder / "log.csv").write_text(LOG.replace("300", "350"), encoding="utf-8")
    assert refreshed(folder).edits == [
        "log.csv (fillings) was edited; its rows are the same.",
        "log.csv (harvests): 1 row went and 1 row came since it was last read.",
    ]


def test_a_file_that_farm_toml_names_no_more_is_named_there_again_and_not_put_back(farm: Farm) -> None:
    folder = logged(farm)
    settings(folder, HEADINGS)
    (said,) = refreshed(folder).messages[1:]
    assert said == (
        "log.csv: is no file that farm.toml names any more, and none of its 2 rows stands in another file; its 2 last "
        "good rows still count. Name it there again, or give it up: gillbook forget log.csv"
    )
    settings(folder, "")
    said = here("yields", "--farm", folder).err
    assert (
        "log.csv: is no file that farm.toml names any more, and its copy in kept/ cannot be read. "
        "Name it there again, or give it up: gillbook forget log.csv\n"
    ) in said
    settings(folder, NAMED)
    assert "cannot be read either. Mend it, or farm.toml, or give it up:" in here("yields", "--farm", folder).err


def test_the_loss_of_rows_is_told_also_when_the_history_and_the_copies_went_with_them(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    shutil.rmtree(folder / "kept")
    (folder / "harvests.csv").unlink()
    assert refreshed(folder).messages == ["harvests.csv is gone, and so is its copy in kept/: 2 rows went."]
    assert rows(folder, "select count(*) from harvests") == [(0,)]


def test_a_file_that_never_counted_leaves_without_talk_of_a_copy_or_of_rows(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    (folder / "harvests").mkdir()
    (folder / "harvests/old.csv").write_bytes(b"\xff")
    assert here("forget", "harvests/old.csv", "--farm", folder).code == 0
    (folder / "harvests/old.csv").unlink()
    assert refreshed(folder).messages == ["harvests/old.csv is gone. No row of it was counted."]


def test_each_sentence_of_what_breaks_a_file_ends_before_the_next(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    (folder / "harvests.csv").write_bytes(b"")
    (said,) = refreshed(folder).messages
    assert "container,flush,cap_stage. Or give it up: gillbook forget harvests.csv" in said


def test_a_history_that_cannot_be_read_is_told_with_what_to_do(farm: Farm) -> None:
    folder = farm(**THREE_TABLES)
    refreshed(folder)
    (folder / "kept/history.jsonl").unlink()
    (folder / "kept/history.jsonl").mkdir()
    said = here("history", "--farm", folder)
    assert (said.code, said.out) == (3, "")
    assert said.err.startswith("kept/history.jsonl cannot be read (")
    assert said.err.endswith("). Mend its rights.\n")


@pytest.mark.parametrize("header", ["Day;fresh_weight_g;container", "Day;fresh_weight_g;container;Helper"])
def test_what_refuses_a_file_stands_alone_without_what_needs_no_mending(farm: Farm, header: str) -> None:
    folder = farm(**THREE_TABLES)
    write_table(folder, "harvests", header)
    said = here("refresh", "--farm", folder).err.splitlines()
    assert [line.split(":")[0] for line in said] == ["harvests.csv, row 1, picked_on", "Nothing was refreshed."]


def test_a_row_of_totals_is_told_of_and_asks_for_nothing(farm: Farm) -> None:
    folder = farm(batches=BATCHES, fillings=FILLINGS, harvests=f"{HARVESTS}\nTotal,500,")
    said = here("check", "--as-of", "2026-02-10", "--farm", folder)
    assert "sums up the rows above, so it is no entry. Nothing to do" in said.out
    assert said.code == 0
    (folder / "harvests.csv").write_text(f"{HARVESTS}\nx,500,1\nTotal,500,\n", encoding="utf-8")
    assert here("check", "--as-of", "2026-02-10", "--farm", folder).code == 1
