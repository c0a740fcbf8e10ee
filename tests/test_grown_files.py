"""A file that only grew is read from where it was read before, and comes to the same as one that is read whole."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from ledgers import BATCHES, FILLINGS, NOW, refreshed, rows, tables
from small_farms import QUICK

from pipeline.farm.folder import TableFile
from pipeline.files import read as reading
from pipeline.files.grown import Beginning
from pipeline.files.read import RawTable, read_table
from pipeline.files.validate import validate
from schemas.finding import UnreadableFile

HEADER = "picked_on,fresh_weight_g,container,note\n"
ROW = "2026-02-01,300,1,\n"
SOURCE = TableFile("harvests", "harvests.csv", Path("harvests.csv"))
PIECES = (
    *("\n", "\r\n", "\r", ",", ",,,\n", " ", '"', '""', "'", "\u00a0", "\ufeff", ";", "x"),
    *("Total", "2026-02-03,20,2,\n", "2026-02-04,-3,1,\n", '2026-02-05,5,1,"a, b"\n', '2026-02-06,6,2,"two\nlines"\n'),
    *("Total,2350,,\n", ",,,Sum: 3\n", "2026-02-07,7,1,x,beyond\n", "2026-02-08,8\n"),
)
TEXTS = st.lists(st.sampled_from(PIECES), max_size=6).map("".join)


def read(text: str, beginning: Beginning | None = None) -> RawTable | str:
    """The file, or why it cannot be read."""
    try:
        return read_table(SOURCE, text.encode(), beginning=beginning)
    except UnreadableFile as refused:
        return str([each.sentence() for each in refused.findings])


def seen(*raws: RawTable) -> tuple[object, ...]:
    """What files one behind the other come to: typed rows, and findings on their cells, each by line."""
    done = [validate([raw]) for raw in raws]
    typed = [row for each in done for row in each.frame.rows()]
    return typed, sorted(row for each in done for row in each.findings.select("row", "column_name", "rule").rows())


@QUICK
@given(
    head=st.sampled_from([HEADER, HEADER.replace(",", ";"), "\ufeff" + HEADER, "\n" + HEADER]), before=TEXTS, more=TEXTS
)
@example(head=HEADER, before=ROW, more=ROW)
@example(head=HEADER, before=ROW + "Total,2350,,\n", more=ROW)
@example(head=HEADER, before=ROW + "\n", more=ROW)
@example(head=HEADER, before=ROW[:-1], more="0\n" + ROW)
@example(head=HEADER, before='2026-02-01,300,1,"a\n', more='b"\n')
@example(head=HEADER, before=ROW, more="Total,2350,,\n")
@example(head=HEADER, before=ROW, more="\n\n")
def test_the_beginning_and_the_rest_are_the_whole(head: str, before: str, more: str) -> None:
    begun = read(head + before)
    if isinstance(begun, str):
        return
    size = len((head + before).encode())
    grown = read(head + before + more, Beginning(size, begun.rows_in, begun.rows_blank))
    whole = read(head + before + more)
    if isinstance(grown, str) or isinstance(whole, str):
        assert grown == whole
        return
    assert (grown.rows_in, grown.rows_blank) == (whole.rows_in, whole.rows_blank)
    assert grown.totals_rows == whole.totals_rows
    if grown.first:
        assert begun.notices == whole.notices
        assert seen(begun, grown) == seen(whole)
    else:
        assert grown.notices == whole.notices
        assert seen(grown) == seen(whole)


@pytest.mark.parametrize(
    ("before", "more", "alone"),
    [
        (ROW, ROW, True),
        (ROW, '2026-02-05,5,1,"a, b"\n', True),
        ('2026-02-05,5,1,"a, b"\n', ROW, True),
        (ROW, "Total,600,,\n", True),
        (ROW, "2026-02-07,7,1,x,beyond\n", True),
        (ROW + "Total,300,,\n", ROW, False),
        (ROW + '"\u00a0Total",300,,\n', ROW, False),
        (ROW + ",,,\n", ROW, False),
        (ROW[:-1], "\n" + ROW, False),
        (ROW, '2026-02-05,5,1,a "b\n', False),
        ("", ROW, False),
    ],
)
def test_the_rest_is_read_alone_where_that_changes_nothing(before: str, more: str, alone: bool) -> None:
    begun = read(HEADER + before)
    assert isinstance(begun, RawTable)
    beginning = Beginning(len((HEADER + before).encode()), begun.rows_in, begun.rows_blank)
    grown = read(HEADER + before + more, beginning)
    assert isinstance(grown, RawTable)
    assert grown.first == (2 + begun.rows_in if alone else 0)


def test_a_refresh_reads_what_was_appended_and_equals_a_rebuild(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    farm, anew = tmp_path / "farm", tmp_path / "anew"
    files = {"batches": BATCHES + "\n", "fillings": FILLINGS + "\n", "harvests": HEADER + 40 * ROW}
    for folder in (farm, anew):
        folder.mkdir()
        for name, text in files.items():
            (folder / f"{name}.csv").write_text(text)
    refreshed(farm)
    read_rows = []
    whole = reading._read_frame
    monkeypatch.setattr(
        reading, "_read_frame", lambda *words: (frame := whole(*words), read_rows.append(frame.height))[0]
    )
    for more in (
        "2026-02-09,250,2,\n2026-02-09,-1,2,\n\n",
        "2026-02-10,20,2,\n",
        "2026-02-10,20,2,\n2026-02-11,21,9,\nTotal,9,,\n",
        "2026-02-12,22,2,\n",
    ):
        for folder in (farm, anew):
            with (folder / "harvests.csv").open("a") as file:
                file.write(more)
        done = refreshed(farm)
        assert done.changed == ["harvests.csv"]
    # A blank row at the end, and the sum that stands at the end no more, are read again with all above them.
    assert read_rows == [3, 44, 3, 48]
    refreshed(anew, NOW)
    assert tables(farm) == tables(anew)
    assert rows(farm, "select rows_in, rows_blank from files where table_name = 'harvests'") == [(48, 1)]


def test_a_file_that_was_changed_above_is_read_whole(tmp_path: Path) -> None:
    files = {"batches": BATCHES + "\n", "fillings": FILLINGS + "\n", "harvests": HEADER + ROW + ROW}
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text)
    refreshed(tmp_path)
    (tmp_path / "harvests.csv").write_text(HEADER + ROW.replace("300", "301") + ROW + ROW)
    refreshed(tmp_path)
    weights = rows(tmp_path, "select fresh_weight_g::integer from stage_harvests order by line")
    assert weights == [(301,), (300,), (300,)]
