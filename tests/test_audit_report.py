"""The report quotes the last audit with its date, says when it is of another ledger, and that there was none."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from audits import change_unseen, sound_farm
from ledgers import here, refreshed
from report_months import HOSTILE, a_month
from report_reader import read_page, told_by

from reports.figures import plain
from reports.month import Month
from reports.page import render
from reports.sections import audit
from reports.words import day_name
from schemas.audit_outcome import Audit, FaultyRow, Outcome

NONE = "No audit of the ledger was made; a deep check makes one."
STALE = "It is out of date: files or settings have changed since. A deep check makes one anew."


def an_audit(file: str = "harvests.csv") -> Audit:
    """Seven expectations: two hold, one of rows is an error, three are warnings, one cannot be judged."""
    bad = tuple(FaultyRow(file, at, "-30") for at in (14, 15, 16, 17))
    month = (FaultyRow("harvests", 0, "2026-08"),)
    warned = {"severity": "warning", "held": False, "looked_at": 9}
    outcomes = (
        Outcome("batches", "batch", "required", "Batch: a value", "error", True, 3),
        Outcome("batches", "spawn_kg", "minimum", "Spawn: 0 or more", "error", True, 3),
        Outcome("harvests", "fresh_weight_g", "minimum", "Fresh weight: 0 or more", "error", False, 90, 4, rows=bad),
        Outcome("batches", "moisture_pct", "minimum", "Moisture: 40 or more", faulty=2, already_reported=2, **warned),
        Outcome(
            "batches", "moisture_pct", "m", "Median: 62 to 77 %", observed=81.25, unit="%", source="print", **warned
        ),
        Outcome("months", "fresh_g", "h", "Picked: 0.4 to 2.4 kg", observed=5000.0, unit="g", rows=month, **warned),
        Outcome("harvests", "cap_stage", "noted", "Share: 50 % or more", "warning", None, 2, why_undecided="needs 20"),
    )
    return Audit("0123456789abcdef", date(2026, 9, 29), date(2026, 9, 28), outcomes)


def with_audit(last: Audit | None = None, stale: bool = False) -> Month:
    return a_month(audit=last, audit_is_stale=stale)


def test_a_report_without_an_audit_says_how_to_make_one() -> None:
    assert plain(audit.sentence(with_audit())) == NONE
    assert audit.notes(with_audit()) == []
    assert [table for table in audit.tables(with_audit()) if table] == []


def test_a_report_quotes_the_last_audit_with_its_date_and_counts() -> None:
    month = with_audit(an_audit())
    assert plain(audit.sentence(month)) == (
        "On 29 September 2026 the ledger was audited: 2 of 7 expectations held, with 1 error and 3 warnings; "
        "1 cannot be judged yet."
    )
    notes = [plain(note) for note in audit.notes(month)]
    assert notes[0] == "An error is in the ledger, not in the files: the deep check shows where."
    assert notes[1].startswith("Of the ledger 0123456789ab, states as of 28 September 2026.")
    assert plain(audit.notes(with_audit(an_audit(), stale=True))[0]) == STALE


def test_what_did_not_hold_is_listed_with_what_was_found_and_the_source() -> None:
    failed, untold = audit.tables(with_audit(an_audit()))
    assert failed is not None
    assert untold is not None
    told = [[plain((part,)) for part in row if part is not None] for row in failed.rows]
    places = "harvests.csv, row 14 (-30); harvests.csv, row 15 (-30); harvests.csv, row 16 (-30); ..."
    assert told == [
        ["Fresh weight: 0 or more", "error", f"4 rows: {places}", ""],
        ["Moisture: 40 or more", "warning", "2 rows, listed under Rows to mend", ""],
        ["Median: 62 to 77 %", "warning", "81.2 %", "print"],
        ["Picked: 0.4 to 2.4 kg", "warning", "2026-08: 5.00 kg", ""],
    ]
    assert [plain((part,)) for part in untold.rows[0] if part] == ["Share: 50 % or more", "needs 20"]


@pytest.mark.parametrize("stale", [False, True])
def test_every_count_of_the_audit_on_the_page_is_a_figure_and_its_rows_are_only_text(stale: bool) -> None:
    month = with_audit(an_audit(HOSTILE[0]), stale)
    page = read_page(render(month))
    counts = {
        named["data-cell"].split("/")[2]: named for named, _ in page.figures if "/audit_" in named.get("data-cell", "")
    }
    assert counts.keys() == {"audit_held", "audit_expectations", "audit_errors", "audit_warnings", "audit_undecided"}
    assert all(json.loads(named["data-value"]) == told_by(month, named) for named in counts.values())
    assert HOSTILE[0] in page.text
    # No script but those of a page without an audit.
    unaudited = read_page(render(replace(month, audit=None)))
    assert [tag for tag, _ in page.tags if tag == "script"] == [tag for tag, _ in unaudited.tags if tag == "script"]
    loose = " ".join(page.loose)
    assert not any(letter.isdigit() for letter in loose[loose.index("Great Expectations") :])


def test_report_deep_audits_first_and_the_next_report_quotes_it_until_the_files_change(tmp_path: Path) -> None:
    folder = sound_farm(tmp_path)
    month = ("--month", "2026-02", "--farm", folder)

    def report(*words: str) -> tuple[str, bytes]:
        said = here("report", *words, *month)
        assert said.code == 0, said.err
        page = Path(said.out.splitlines()[-1])
        return page.read_text(encoding="utf-8"), page.read_bytes()

    assert NONE in report()[0]
    first, same = report("--deep"), report()
    assert first[1] == same[1], "an audit is kept, and quoted as it is"
    assert f'On <time datetime="{date.today()}">{day_name(date.today())}</time> the ledger was audited' in first[0]
    assert '<time datetime="2026-02-28">28 February 2026</time>. Great Expectations' in first[0]
    assert STALE not in first[0]
    with (folder / "harvests.csv").open("a", encoding="utf-8") as table:
        table.write("2026-02-09,150,2\n")
    assert STALE in report()[0]
    assert STALE not in report("--deep")[0]


def test_an_error_of_the_audit_is_said_beside_the_report_and_stands_on_the_page(tmp_path: Path) -> None:
    refreshed(sound_farm(tmp_path))
    change_unseen(tmp_path, "update stage_fillings set volume_l = -5 where container = '2'")
    said = here("report", "--deep", "--month", "2026-02", "--as-of", "2026-03-01", "--farm", tmp_path)
    assert said.code == 0, "only check ends with 1"
    assert said.err == "The audit found 1 error: gillbook check --deep tells where.\n"
    page = read_page(Path(said.out.splitlines()[-1]).read_text(encoding="utf-8"))
    assert "Volume (L): more than 0error1 row: fillings.csv, row 3 (-5)" in page.text.replace("\n", "")


def test_the_reports_know_neither_the_engine_nor_the_pipeline() -> None:
    for path in (Path(__file__).parents[1] / "reports").glob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert "import great_expectations" not in text
        assert "from pipeline" not in text
