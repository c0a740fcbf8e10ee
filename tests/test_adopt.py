"""Files that are adopted: what headings and cells say for sure is proposed, what they leave open is said."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from pipeline.adopt.cells import infer_date_order, infer_marks, looks_number
from pipeline.adopt.dialogue import Dialogue
from pipeline.adopt.headings import candidates, parse_heading
from pipeline.adopt.proposal import Answers, Proposal, propose
from pipeline.adopt.settings_text import conventions_of, settings_text, try_reading
from pipeline.adopt.sheets import SourceFile
from pipeline.adopt.straighten import straight_sheets
from pipeline.files.dialect import SEPARATORS
from schemas.contract import GROWING, INPUTS, contract


@pytest.mark.parametrize(
    ("heading", "words", "unit"),
    [
        ("Weight (oz)", "weight", "oz"),
        ("Weight [KG]", "weight", "kg"),
        ("weight_g", "weight", "g"),
        ("Weight, lbs", "weight", "lb"),
        ("Weight in pounds", "weight", "lb"),
        ("Ounces", "", "oz"),
        ("Capacity (US gal)", "capacity", "US gal"),
        ("Moisture %", "moisture", "%"),
        ("Temp \u00b0F", "temp", "F"),
        ("Lime (g/L)", "lime", "g/L"),
        ("Bucket #", "bucket no", None),
        ("Bucket\nNo.", "bucket no", None),
        ("C", "c", None),
        ("pH", "ph", None),
    ],
)
def test_a_heading_is_told_apart_from_its_unit(heading: str, words: str, unit: str | None) -> None:
    assert (parse_heading(heading).words, parse_heading(heading).unit) == (words, unit)


@pytest.mark.parametrize(
    ("heading", "columns"),
    [
        ("fresh_weight_g", {("fresh_weight_g", None)}),
        ("Weight (oz)", {("fresh_weight_g", "oz"), ("weight_g", "oz")}),
        ("Yield g", {("fresh_weight_g", None)}),
        ("KG", {("fresh_weight_g", "kg"), ("weight_g", "kg")}),
        ("Substrate", {("substrate", None)}),
        ("Wet substrate (drained) kg", {("substrate_wet_kg", None)}),
        ("Soak", {("soak", None)}),
        ("Soak (h)", {("treatment_h", None)}),
        ("Lime g/L", {("lime_g_per_l", None)}),
        ("Substrate (kg)", set()),
        ("Capacity (gal)", set()),
        ("Moisture (oz)", set()),
        ("Temp (F)", {("incubation_c", "F")}),
        ("", set()),
        ("Mood", set()),
    ],
)
def test_a_heading_stands_only_for_columns_that_its_unit_fits(
    heading: str, columns: set[tuple[str, str | None]]
) -> None:
    assert {(each.column, each.unit) for each in candidates(heading)} == columns


@pytest.mark.parametrize(
    ("cells", "decimal", "thousands", "doubt"),
    [
        (["12", "7"], None, None, False),
        (["1,5"], ",", None, False),
        (["1.5", "12"], ".", None, False),
        (["0,123"], ",", None, False),
        (["1234,567"], ",", None, False),
        (["1.234,5"], ",", ".", False),
        (["1,234,567"], ".", ",", False),
        (["1 234,5"], ",", " ", False),
        (["1\u00a0234"], None, " ", False),
        (["1'234.5"], ".", "'", False),
        (["1,234"], None, None, True),
        (["1.234"], None, None, True),
        (["1,5", "1.5"], None, None, True),
        (["1,5", "1.234"], ",", None, True),
        (["14\u23965"], None, None, False),
        (["x", "-"], None, None, False),
    ],
)
def test_marks_are_told_from_cells_that_leave_no_doubt(
    cells: list[str], decimal: str | None, thousands: str | None, doubt: bool
) -> None:
    told = infer_marks((f"row {row}", cell) for row, cell in enumerate(cells, 2))
    assert (told.decimal.value, told.thousands.value) == (decimal, thousands)
    assert bool(told.decimal.doubt or told.thousands.doubt) is doubt


def test_a_cell_of_a_hundred_thousand_digits_is_told_at_once() -> None:
    # It took minutes where the digits behind were looked at anew for each: then this hangs.
    assert not looks_number("1" * 100_000 + "x")
    assert looks_number("1" * 100_000)


@pytest.mark.parametrize(
    ("cells", "order", "doubt"),
    [
        (["2026-05-01", "2026-05-13"], None, False),
        (["13/5/2026", "3/4/2026"], "day_month_year", False),
        (["3/4/26", "5.13.26 9:05"], "month_day_year", False),
        (["2026/5/3"], "year_month_day", False),
        (["3/4/2026", "12-12-2026"], None, True),
        (["13/5/2026", "5/13/2026"], None, True),
        (["2026/5/3", "3/4/2026"], None, True),
    ],
)
def test_the_order_of_dates_is_told_from_cells_that_leave_no_doubt(
    cells: list[str], order: str | None, doubt: bool
) -> None:
    told = infer_date_order((f"row {row}", cell) for row, cell in enumerate(cells, 2))
    assert (told.value, bool(told.doubt)) == (order, doubt)


def proposed(*texts: str, **told: object) -> Proposal:
    """What is proposed of files with these texts, called a.csv, b.csv ...?"""
    files = [
        SourceFile(Path(f"{name}.csv"), f"{name}.csv", text.encode()) for name, text in zip("abc", texts, strict=False)
    ]
    answers = Answers(choices={"one batch": "n", "batch by day": "n"}, **told)  # type: ignore[arg-type]
    talk = Dialogue(answers.choices)
    return propose(straight_sheets(files, talk), answers, talk)


def matched(proposal: Proposal) -> dict[tuple[str, str], str]:
    return {(each.table, each.heading): each.column for one in proposal.matches for each in one.matched}


def why(proposal: Proposal) -> dict[str, str]:
    return {name: reason for each in proposal.matches for name, reason in each.unmatched}


def test_a_heading_of_two_meanings_is_placed_by_its_cells() -> None:
    weights = matched(proposed("Date,Bag,Harvest\n2026-05-01,1,400\n"))
    assert weights == {
        ("harvests", "Date"): "picked_on",
        ("harvests", "Bag"): "container",
        ("harvests", "Harvest"): "fresh_weight_g",
    }
    assert matched(proposed("Harvest,Bag,Yield\n2026-05-01,1,400\n"))["harvests", "Harvest"] == "picked_on"


def test_a_day_goes_to_the_table_that_the_sheet_holds() -> None:
    assert matched(proposed("Date,Bag,What\n2026-05-01,1,pins\n"))["observations", "Date"] == "seen_on"
    assert matched(proposed("Date,Mix,Strain,Base\n2026-05-01,1,grey,straw\n"))["batches", "Date"] == "inoculated_on"
    both = matched(proposed("Inoculated,Date,Mix,Strain,Base,Yield\n2026-05-01,2026-06-01,1,grey,straw,400\n"))
    assert (both["batches", "Inoculated"], both["harvests", "Date"]) == ("inoculated_on", "picked_on")


def test_batch_and_container_beside_pickings_tell_the_fillings_only_where_no_other_file_does() -> None:
    picks = "Date,Mix,Bag,Yield\n2026-05-01,A,1,400\n"
    assert proposed(picks).matches[0].tables == ("fillings", "harvests")
    assert "One that was filled and never stands in a row is not counted" in proposed(picks).doubts[-1]
    assert [each.tables for each in proposed(picks, "Mix,Bag,Fill kg\nA,1,5\n").matches] == [
        ("harvests",),
        ("fillings",),
    ]


def test_a_table_that_lacks_a_column_is_named_with_it() -> None:
    proposal = proposed("Bag,Inoculated,Base,Date,Yield\n1,2026-04-01,straw,2026-05-01,400\n")
    assert proposal.tables == ("harvests",)
    assert proposal.matches[0].lacking == {"batches": "batch"}
    assert why(proposal)["Inoculated"] == "may be inoculated_on of batches, which this sheet does not hold"


@pytest.mark.parametrize(
    ("heading", "cell", "reason"),
    [
        ("Sky", "sun", "stands for no column that gillbook knows"),
        ("", "x", "has cells, but no heading"),
        ("Size (gal)", "5", 'is in a unit that gillbook does not read (gal, call it "US gal" if it is that one)'),
        ("Culls", "a few", 'may be culled_g, but its cells do not fit that ("a few" in row 2)'),
        ("Amount", "400", 'may be fresh_weight_g of harvests, but "Yield" is taken for that'),
    ],
)
def test_a_heading_that_stands_for_nothing_is_named_with_the_reason(heading: str, cell: str, reason: str) -> None:
    proposal = proposed(f"Date,Bag,Yield,{heading}\n2026-05-01,1,400,{cell}\n")
    assert proposal.tables == ("harvests",)
    assert why(proposal) == {heading or "column 4": reason}


def test_an_unlikely_weight_without_a_unit_is_asked_for_and_a_likely_one_is_said() -> None:
    few = "Date,Bag,Yield\n2026-05-01,1,14.5\n"
    # The likeliest comes first, for it is the default.
    assert [(each.name, each.choices) for each in proposed(few).questions[1:]] == [("yield", ("oz", "kg", "g", "lb"))]
    told = proposed(few, units={"yield": "oz"})
    assert (told.tables, told.questions[1:]) == (("harvests",), ())
    assert 'unit = "oz"' in settings_text(told)
    likely = proposed("Date,Bag,Yield\n2026-05-01,1,400\n")
    assert likely.doubts == ('"Yield" (a.csv) names no unit and is taken as g.',)
    assert "No unit in the heading: taken as g." in settings_text(likely)


def test_words_that_are_not_known_are_listed_with_what_they_may_mean() -> None:
    proposal = proposed(
        "Date,Bag,Yield,Caps\n2026-05-01,1,400,Closed\n2026-05-02,1,400,flatt\n2026-05-03,1,400,zig zag\n"
    )
    assert [(each.word, each.ours) for each in proposal.words] == [
        ("closed", "curled"),
        ("flatt", "flat"),
        ("zig zag", None),
    ]
    assert conventions_of(settings_text(proposal)).cell_format.words == {
        "cap_stage": {"closed": "curled", "flatt": "flat"}
    }
    assert '# "zig zag" = "..."  (not known: a.csv, row 4)' in settings_text(proposal)


ODD = ['Bag "red"', "Bag \\", "Bag \x7f", "Bag\tno", "Bag \u202e", "Bag\nno", "Bag \U000e0041", "Bag # x = 1", "Bag ]"]


@pytest.mark.parametrize("heading", ODD)
def test_any_heading_is_written_so_that_farm_toml_reads_it_back_and_no_terminal_runs_it(heading: str) -> None:
    quoted = '"' + heading.replace('"', '""') + '"'
    proposal = proposed(f"Date,Yield,Bag,{quoted}\n2026-05-01,400,1,2\n", units={})
    text = settings_text(proposal)
    assert all(letter.isprintable() for letter in text.replace("\n", ""))
    tomllib.loads(text)
    assert [each.refused for each in try_reading(proposal, conventions_of(text))] == [""]


@pytest.mark.parametrize("table", GROWING)
@pytest.mark.parametrize("mark", SEPARATORS)
def test_our_own_columns_are_placed_without_a_line_in_farm_toml(table: str, mark: str) -> None:
    others = ["batch,container\n"] if table != "fillings" else []
    proposal = proposed(mark.join(contract(table).names) + "\n", *others)
    assert proposal.matches[0].tables == (table,)
    assert {each.heading: each.column for each in proposal.matches[0].matched} == {
        name: name for name in contract(table).names
    }
    assert "[headings" not in settings_text(proposal)
    assert (proposal.questions, proposal.doubts) == ((), ())


def test_no_wording_stands_for_two_columns_of_one_table_unless_cells_tell_them_apart() -> None:
    for table in INPUTS:
        seen: dict[tuple[str, str | None], str] = {}
        for each in contract(table).fields:
            for wording in each.headings:
                read = parse_heading(wording)
                other = seen.setdefault((read.words, read.unit), each.name)
                assert other == each.name or {other, each.name} == {"picked_on", "fresh_weight_g"}, (table, wording)
