"""The grower's own headings, units and words: each stands for what farm.toml says, exactly, and for nothing else."""

from __future__ import annotations

from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ledgers import here
from own_files import conventions, load, refusal, rules, told, values

from pipeline.farm.folder import open_farm
from pipeline.farm.units import units_of
from schemas.contract import INPUTS, contract
from schemas.finding import WrongRequest

# Exact by definition: the pound is 0.45359237 kg and the ounce a sixteenth of it, the US gallon is 231 cubic inches of
# 25.4 mm each, and degrees Fahrenheit are (F - 32) x 5/9 degrees Celsius (NIST Special Publication 811, appendix B.8).
POUND_G = Fraction("453.59237")
IN_GRAMS = {"g": Fraction(1), "kg": Fraction(1000), "oz": POUND_G / 16, "lb": POUND_G}
GALLON_L = 231 * Fraction("0.254") ** 3


def converted(column: str, unit: str, cell: str, table: str = "harvests") -> Any:
    """What is loaded of this cell under a heading that farm.toml says is in this unit?"""
    required = {
        "harvests": {"picked_on": "2026-05-01", "fresh_weight_g": "400", "container": "B1"},
        "batches": {"batch": "A", "inoculated_on": "2026-05-01", "strain": "grey", "substrate": "straw"},
        "fillings": {"batch": "A", "container": "B1"},
        "sales": {"sold_on": "2026-05-01", "weight_g": "400"},
        "promises": {"due_on": "2026-05-01", "weight_g": "400"},
    }[table]
    cells = {**{name: text for name, text in required.items() if name != column}, "Ours": cell}
    own = conventions(headings={table: {"ours": {"column": column, "unit": unit}}})
    _, done = load(",".join(cells) + "\n" + ",".join(cells.values()) + "\n", own, f"{table}.csv", table)
    return done.frame[column][0]


MASSES = [
    (table, each.name, each.unit, each.decimals)
    for table in INPUTS
    for each in contract(table).fields
    if each.unit in ("g", "kg")
]


@pytest.mark.parametrize("unit", IN_GRAMS)
@pytest.mark.parametrize(("table", "column", "ours", "decimals"), MASSES)
def test_a_mass_in_any_unit_is_loaded_exact_to_the_ledgers_decimals(
    table: str, column: str, ours: str, decimals: int, unit: str
) -> None:
    expected = Fraction("14.5") * IN_GRAMS[unit] / IN_GRAMS[ours]
    assert converted(column, unit, "14.5", table) == rounded(expected, decimals)


def rounded(exact: Fraction, decimals: int) -> Decimal:
    step = Decimal(1).scaleb(-decimals)
    return (Decimal(exact.numerator) / Decimal(exact.denominator)).quantize(step, ROUND_HALF_EVEN)


@pytest.mark.parametrize(
    ("cell", "grams"),
    [("1", "28.350"), ("16", "453.592"), ("14.5", "411.068"), (".5", "14.175"), ("1000", "28349.523")],
)
def test_ounces_are_the_exact_ounces(cell: str, grams: str) -> None:
    assert converted("fresh_weight_g", "oz", cell) == Decimal(grams)


@given(st.decimals(min_value=Decimal("0.01"), max_value=100_000, places=3))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_any_weight_in_ounces_is_the_exact_one_rounded_once(weight: Decimal) -> None:
    assert converted("fresh_weight_g", "oz", f"{weight:f}") == rounded(Fraction(weight) * POUND_G / 16, 3)


@pytest.mark.parametrize(("unit", "litres"), [("L", Fraction(1)), ("US gal", GALLON_L)])
def test_a_gallon_is_the_exact_us_gallon(unit: str, litres: Fraction) -> None:
    assert float(GALLON_L) == 3.785411784
    assert converted("volume_l", unit, "5", "fillings") == float(5 * litres)


@pytest.mark.parametrize(
    ("unit", "cell", "celsius"),
    [("F", "32", 0.0), ("F", "98.6", 37.0), ("F", "-4", -20.0), ("F", "71", 65 / 3), ("C", "21.5", 21.5)],
)
def test_degrees_fahrenheit_are_exact_degrees_celsius(unit: str, cell: str, celsius: float) -> None:
    assert converted("incubation_c", unit, cell, "batches") == pytest.approx(celsius, rel=1e-15)


@pytest.mark.parametrize("cell", ["9" * 15, "9" * 16, "9" * 40, "9" * 400])
def test_a_weight_that_no_ledger_can_hold_is_told_and_never_crashes(cell: str) -> None:
    own = conventions(headings={"harvests": {"W": {"column": "fresh_weight_g", "unit": "oz"}}})
    _, done = load(f"picked_on,W,container\n2026-05-01,{cell},B1\n", own)
    assert [rule for _, _, rule, _ in rules(done)] == ["too_large"]


def test_units_are_known_of_every_column_that_has_one_of_theirs() -> None:
    assert {units_of(each.unit) for table in INPUTS for each in contract(table).fields if each.unit} == {
        ("g", "kg", "oz", "lb"),
        ("L", "US gal"),
        ("C", "F"),
        (),
    }


OWN = {
    "Weight (oz)": {"column": "fresh_weight_g", "unit": "oz"},
    "Weight (g)": "fresh_weight_g",
    "Bucket #": "container",
    "Day": "picked_on",
}


def test_headings_are_known_whatever_their_case_and_spaces_and_findings_keep_the_cells_own_text() -> None:
    own = conventions(headings={"harvests": OWN})
    raw, done = load("DAY,weight  (OZ),Bucket #,Mood\n2026-05-01,14.5,007,good\n2026-05-02,heavy,B1,\n", own)
    assert values(done, "picked_on", "fresh_weight_g", "container") == [
        (2, date(2026, 5, 1), Decimal("411.068"), "007"),
        (3, date(2026, 5, 2), None, "B1"),
    ]
    assert told(raw, done) == [
        'harvests.csv, row 1, Mood: "Mood" is no column that gillbook knows and is not read. Nothing to do.',
        'harvests.csv, row 3, fresh_weight_g: "heavy" is not a number. Write digits with a decimal point.',
    ]


def test_two_files_with_other_headings_and_units_are_screened_together_each_in_its_own() -> None:
    from pipeline.files.validate import validate

    own = conventions(headings={"harvests": OWN})
    ounces, _ = load("Day,Weight (oz),Bucket #\n2026-05-01,14.5,B1\n", own, "harvests/a.csv")
    grams, _ = load("picked_on,Weight (g),container,note\n2026-05-01,14.5,B1,x\n", own, "harvests/b.csv")
    done = validate([ounces, grams], own)
    assert done.frame["fresh_weight_g"].to_list() == [Decimal("411.068"), Decimal("14.5")]
    assert done.frame["note"].to_list() == [None, "x"]


def test_two_headings_for_one_column_are_refused() -> None:
    said = refusal("Day,Weight (oz),Weight (g),Bucket #\n2026-05-01,1,2,B1\n", conventions(headings={"harvests": OWN}))
    assert said == "harvests.csv, row 1, fresh_weight_g: stands twice in the header. Rename or delete one of them."


def test_own_words_stand_for_ours_whatever_their_case_spaces_and_hyphens() -> None:
    own = conventions(
        words={
            "cap_stage": {"Young - still shut": "curled", "Gro\u00df": "turned_up"},
            "event": {"in pins": "pins"},
            "treatment": {"kalk": "cold_lime"},
        }
    )
    cells = ["young - still SHUT", "Young still-shut", "young_still_shut", "GRO\u00df", "Flat", "old"]
    text = "picked_on,fresh_weight_g,container,cap_stage\n"
    _, done = load(text + "".join(f"2026-05-01,1,B1,{cell}\n" for cell in cells), own)
    assert [stage for _, stage in values(done, "cap_stage")] == ["curled"] * 3 + ["turned_up", "flat", None]
    _, done = load("seen_on,event,batch\n2026-05-01,In-Pins,A\n", own, "observations.csv", "observations")
    assert values(done, "event") == [(2, "pins")]
    text = (
        "batch,inoculated_on,strain,substrate,treatment\nA,2026-05-01,grey,straw,Kalk\nB,2026-05-01,grey,straw,boiled\n"
    )
    _, done = load(text, own, "batches.csv", "batches")
    assert values(done, "treatment") == [(2, "cold_lime"), (3, "boiled")]
    assert rules(done) == [(3, "treatment", "enum", "warning")]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[headings.harvest]\nA = "picked_on"', "headings: 'harvest' is no table. Did you mean harvests?"),
        (
            '[headings.harvests]\nA = "fresh_weight"',
            "'fresh_weight' is no column of harvests. Did you mean fresh_weight_g?",
        ),
        ('[headings.harvests]\nA = {unit = "oz"}', "'A' names no column. Write \"NAME\" = {column = "),
        (
            '[headings.harvests]\nA = {column = "fresh_weight_g", unit = "stone"}',
            "'stone' is no unit that fresh_weight_g",
        ),
        ('[headings.harvests]\nA = {column = "container", unit = "g"}', "can be written in. It has no unit."),
        ('[headings.batches]\nA = {column = "treatment_h", unit = "min"}', "can be written in. It has no unit."),
        ('[words.cap_stage]\nyoung = "curly"', "words.cap_stage: 'curly' is no word of it. "),
        ('[words.container]\nyoung = "curled"', "'container' is no column with words of its own."),
        ('[files."a.csv"]\ntables = "harvests"', "it does not tell which tables the file holds."),
        ('[files."a.csv"]\ntables = ["harvest"]', "'harvest' is no table. Did you mean harvests?"),
        ('[files."../a.csv"]\ntables = ["harvests"]', "the file must be within the farm folder."),
        ('[files."/a.csv"]\ntables = ["harvests"]', "the file must be within the farm folder."),
        ('[files."a.xlsx"]\ntables = ["harvests"]\nsheet = 1', "1 names no sheet."),
        ('[files."a.xlsx"]\ntables = ["harvests"]\nsheet = {batches = "x"}', "'batches' is no table of this file."),
        ('thousands_mark = "."', '"." is the decimal mark too.'),
        ('decimal_mark = ";"', "decimal_mark: ';' is none of ., ,."),
        ('headings = "x"', "headings: 'x' is no part of its own."),
        ('[headings]\nharvests = "x"', "'harvests' is no part of its own."),
        ('blank_words = "-"', "blank_words: '-' is no list of texts."),
    ],
)
def test_a_setting_that_cannot_be_meant_is_refused_with_the_way_to_mend_it(
    tmp_path: Path, text: str, said: str
) -> None:
    (tmp_path / "farm.toml").write_text(text, encoding="utf-8")
    with pytest.raises(WrongRequest) as refused:
        open_farm(tmp_path)
    assert str(refused.value).startswith("farm.toml, ")
    assert said in str(refused.value)


def test_a_file_of_farm_toml_that_is_not_there_is_told(tmp_path: Path) -> None:
    (tmp_path / "farm.toml").write_text('[files."Log.csv"]\ntables = ["harvests"]\n', encoding="utf-8")
    assert [each.sentence() for each in open_farm(tmp_path).findings] == [
        'farm.toml, files: "Log.csv" is no file of this folder. Mend its name, or take this part out of farm.toml.'
    ]


def test_a_file_of_a_kind_that_is_not_read_is_told_by_check(tmp_path: Path) -> None:
    (tmp_path / "farm.toml").write_text('[files."batches.txt"]\ntables = ["batches"]\n', encoding="utf-8")
    (tmp_path / "batches.txt").write_text("batch,inoculated_on,strain,substrate\n", encoding="utf-8")
    for name in ("fillings.ods", "harvests/may.xls", "harvests/.may.xls", "harvests/~$may.xlsx", "harvests/2026/x.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"x")
    said = here("check", "--farm", tmp_path, "--json")
    assert [(each["file"], each["level"]) for each in said.json] == [
        ("harvests/2026", "notice"),
        ("harvests/may.xls", "notice"),
        ("fillings.ods", "notice"),
    ]


def test_the_next_command_reads_all_files_anew_once_farm_toml_tells_of_them_otherwise(tmp_path: Path) -> None:
    (tmp_path / "batches.csv").write_text(
        "batch,inoculated_on,strain,substrate,substrate_dry_kg\nA,2026-02-01,grey,straw,1\n", encoding="utf-8"
    )
    (tmp_path / "harvests.csv").write_text("Day,Yield,batch\n3/4/2026,1,A\n", encoding="utf-8")

    def told(order: str, unit: str) -> tuple[str, float]:
        headings = f'[headings.harvests]\nDay = "picked_on"\nYield = {{column = "fresh_weight_g", unit = "{unit}"}}\n'
        (tmp_path / "farm.toml").write_text(f'date_order = "{order}"\n{headings}', encoding="utf-8")
        query = "select picked_on, fresh_weight_g::double as g from harvests"
        row = here("query", query, "--farm", tmp_path, "--json").json[0]
        return row["picked_on"], row["g"]

    assert told("day_month_year", "lb") == ("2026-04-03", 453.592)
    assert told("month_day_year", "lb") == ("2026-03-04", 453.592)
    assert told("day_month_year", "kg") == ("2026-04-03", 1000.0)
