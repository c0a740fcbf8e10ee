"""Strategies for cells and rows of the tables: mostly what growers write, and everything that they should not."""

from __future__ import annotations

from functools import cache

from fuzzed_reading import BLANK_WORDS, Own
from hypothesis import strategies as st

from schemas.contract import INPUTS, Field, contract

# Few, so that keys meet, but as many that batches and fillings do not all stand twice. W1 and W2 with their containers
# are always there (see fuzzed_farms.WELL), so that pickings are loaded.
KEYS = {
    ("batches", "batch"): ["A", "B", "C", "007", "B\u00e4rlauch 3", "=x"],
    ("fillings", "batch"): ["W1", "W2", "W1", "A", "007", "B\u00e4rlauch 3"],
    ("fillings", "container"): ["1", "2", "3", "-4", "12 b", "05"],
    ("observations", "batch"): ["W1", "W2", "W2", "A", "007", ""],
    ("observations", "container"): ["c1", "c2", "1", "-4", ""],
    ("harvests", "batch"): ["W1", "W1", "W2", "A", ""],
    ("harvests", "container"): ["c1", "c2", "c3", "1", ""],
    ("sales", "batch"): ["W1", "W2", "A", "007", ""],
    # Most prices are of kilograms.
    ("prices", "item"): ["fresh", "fresh", "spawn", "substrate", "lime", "start", "container_day", "work_hour"],
    ("prices", "per"): ["kg", "kg", "lb", "g", "pint", "container", "batch", "day", "hour"],
}
DAYS = ["2026-01-05", "2026-02-10", "2026-02-11", "2026-03-01"]
DAYS_IN_ORDER = {
    "day_month_year": ["5/2/2026", "11.02.26", "13-3-2026 9:05"],
    "month_day_year": ["2/5/2026", "02.11.26", "3-13-2026 9:05 PM"],
    "year_month_day": ["2026/2/5", "2026.02.11", "2026-3-13 09:05:30"],
}
ODD_DAYS = [
    *["3/4/2026", "13/4/2026", "4.13.26", "2026/4/3", "2026.04.03", "1-2-26", "31/2/2026", "0/5/2026", "5 May 2026"],
    *[
        "2026-01-05 10:30",
        "2026-01-05T10:30:00Z",
        "2026-01-05T10:30:00.25+02:00",
        "2026-01-05 ",
        "2026-1-5",
        "20260105",
    ],
    *["2026-W02-1", "46143", "epoch", "infinity", "0000-01-01", "1899-12-31", "1900-01-01", "9999-12-31", "2026-02-29"],
    *["13/4/2026 9:05", "4/13/2026 9:05 PM", "2026/4/3 23:59:59", "\u0662\u0660\u0662\u0666-01-05", "2026-01-05\u00a0"],
    *["2026-13-01", "2026-00-10", "12026-01-05", "-2026-01-05", "2026-01-05 25:61", "1/2-2026", "00/00/00", "1/1/0000"],
]
ODD_NUMBERS = [
    *["0", "-1", "+5", "-0", ".5", "5.", "+.5", "-,5", ",5", "1,5", "1.5", "1.500", "1,234.5", "1.234,5", "1 234"],
    *[
        "1\u00a0234,5",
        "12\u202f345",
        "1\u2009234",
        "1'234.5",
        "1\u2019234",
        "1.234.567,25",
        "12.34.567",
        "1,2,3",
        "1e3",
    ],
    *[
        "0x10",
        "1_000",
        "nan",
        "inf",
        "-Infinity",
        "1E400",
        "\u0665",
        "\u00b2",
        "\u2155",
        "1/2",
        "5 kg",
        "5g",
        "~5",
        "5%",
    ],
    *["0.0004", "0.0005", "0.00050001", "0.0015", "2.0005", "1.23456789", "3.1415926535897932384626", "00012", "14.0"],
    *["999999999999999.9994", "999999999999999.9999", "99999999999999999999", "1" * 40, "9" * 400, "0." + "3" * 400],
    *["100", "99.9999999999999999", "60", "60.00000000001", "-20", "14.000000000000000001", "--5", "+-5", "5-", "$5"],
    *[
        "2147483647",
        "2147483648",
        "999999999",
        "1000000000",
        "9007199254740993",
        "4.35",
        "0.1",
        "1.0e0",
        "5,",
        ",",
        ".",
    ],
    *["1,000", "1.000", "12,345", "0,001", "1 000,0004", "\u22125", "5\u00a0", "+ 5", "1 2", "12 345 678,5"],
]
ODD_TEXTS = [
    *[
        "=1+1",
        "'=1+1",
        "''=1+1",
        "+x",
        "'-x",
        "@SUM(A1)",
        "'@",
        "'",
        "''",
        "'x",
        '=HYPERLINK("x")',
        "\uff1d1",
        "'\uff1d1",
    ],
    *["a,b", "a;b", "a\tb", 'say "no"', '"', '""', '"x"', "two\nlines", "two\r\nlines", "a\rb", "\nx", "x\n", "'\nx"],
    *[
        " x ",
        "\tx",
        "\u00a0x\u00a0",
        "\u2003x",
        "x\u3000",
        "\u200bx",
        "\ufeff",
        "\ufeffx",
        "\x1cx\x1f",
        "\x85x",
        "\x0bx\x0c",
    ],
    *["\u202egnp", "\x1b[31mred", "\x07", "\x7f", "<script>alert(1)</script>", "</script>", "../../x", "null", "None"],
    *[
        "NULL",
        "TRUE",
        "#DIV/0!",
        "#N/A",
        "N/A",
        "n.a.",
        "-",
        "\u2013",
        "--",
        "'-",
        " - ",
        "NaN",
        "\U0001f344",
        "e\u0301",
    ],
    *[
        "Total",
        "Sum:",
        "grand total",
        "\u00d8",
        "total of two",
        "Total\n",
        "x" * 3000,
        "\u00e4" * 700,
        "\\N",
        "\\",
        "\\,",
    ],
    *[
        "\U000e0001",
        "\uffff",
        "\ufdd0",
        "\u0130",
        "\u00df",
        "#",
        "# x",
        "//",
        "sep=,",
        "' =x",
        "'\t=x",
        " '=x",
        "| x |",
    ],
]
ODD_WORDS = [
    *[
        "Turned Down",
        "TURNED-UP",
        "turned  up",
        "inrolled",
        "young",
        "opend",
        "Pins",
        "pins ",
        "cold lime",
        "COLD_LIME",
    ],
    *[
        "Cold-Lime",
        "own way",
        "oven",
        "grain",
        "plug,",
        "flat\u00a0",
        "turned\u00a0up",
        "p\u0130ns",
        "emptied\n",
        "flat flat",
    ],
]
ODD = {
    "date": ODD_DAYS,
    "number": ODD_NUMBERS,
    "integer": [*ODD_NUMBERS, "2.5", "2.0", "1", "99", "100"],
    "string": [*ODD_TEXTS, *ODD_WORDS],
}
GOOD_NUMBERS = ["1", "2", "5", "12", "12.5", "60", "0.75"]
EVERYTHING = sorted({*ODD_DAYS, *ODD_NUMBERS, *ODD_TEXTS, *ODD_WORDS, *BLANK_WORDS, ""})
# No surrogates, which no UTF-8 text holds, and no NUL, which no text file does.
ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)
SHORT_ODD = st.text(st.sampled_from("0159.,;-+/: '\"=\t\n\r\u00a0\u202f\u2003\ufeffaT%"), max_size=8)


def good_cells(table: str, each: Field, own: Own) -> list[str]:
    """What might a grower rightly write in this column?"""
    if (table, each.name) in KEYS:
        return KEYS[table, each.name]
    if each.type == "date":
        return [*DAYS, *DAYS_IN_ORDER.get(own.date_order, [])]
    if each.type == "integer":
        return ["1", "2", "3", ""]
    if each.type == "number":
        grouped = [f"1{own.thousands_mark}234{own.decimal_mark}5", f"12{own.thousands_mark}345"]
        return [number.replace(".", own.decimal_mark) for number in GOOD_NUMBERS] + grouped
    return [*each.words] or ["grey", "straw", "K\u00fcche", "x 1", ""]


def near_bounds(each: Field) -> list[str]:
    """Numbers at the column's bounds and just beside them, as a program writes them."""
    if each.type not in ("number", "integer"):
        return []
    bounds = [bound for bound in [*each.constraints.values(), *each.expect.values()] if type(bound) is int]
    return [str(bound + beside) for bound in bounds for beside in (-1, 0, 1)]


@cache
def _wild() -> st.SearchStrategy[str]:
    return st.one_of(st.sampled_from(EVERYTHING), ANY_TEXT, SHORT_ODD)


def a_cell(table: str, each: Field, own: Own, tame: int) -> st.SearchStrategy[str]:
    """A cell of this column: `tame` times of ten as it should be, else odd for its type, or anything at all."""
    good, odd = (
        st.sampled_from(good_cells(table, each, own)),
        st.sampled_from([*ODD[each.type], *near_bounds(each) * 3, ""]),
    )

    def chosen(number: int) -> st.SearchStrategy[str]:
        return good if number < 2 * tame else odd if number < 18 else _wild()

    return st.integers(0, 19).flatmap(chosen)


@st.composite
def own_ways(draw: st.DrawFn) -> Own:
    """How a farm writes: marks, order of dates, words for blank, words and headings of its own with units."""
    marks = [(".", ""), (".", ","), (".", " "), (".", "'"), (",", ""), (",", "."), (",", " "), (",", "'")]
    decimal, thousands = draw(st.sampled_from([marks[0], *marks]))
    return Own(
        decimal,
        thousands,
        draw(st.sampled_from(["", "", "day_month_year", "month_day_year", "year_month_day"])),
        draw(st.sampled_from([BLANK_WORDS, BLANK_WORDS, (), ("none", "x" * 40, "0", "")])),
        draw(
            st.sampled_from([{}, {"cap_stage": {"young": "curled"}, "event": {"opend": "opened", "p\u0131ns": "pins"}}])
        ),
        draw(st.one_of(st.just({}), st.fixed_dictionaries({name: _headings(name) for name in INPUTS}))),
    )


UNITS = {"g": ["oz", "lb", "kg"], "kg": ["lb", "g", "oz"], "L": ["US gal"], "C": ["F"]}
OWN_HEADINGS = ["{}", "My {}!", "Was: {}", "{} (x, y)", "  {} 2 ", "{}; \u00fc"]


@st.composite
def _headings(draw: st.DrawFn, table: str) -> dict[str, tuple[str, str | None]]:
    mapped = draw(st.lists(st.sampled_from(contract(table).fields), unique_by=lambda each: each.name, max_size=5))
    found: dict[str, tuple[str, str | None]] = {}
    for each in mapped:
        name = draw(st.sampled_from(OWN_HEADINGS)).format(each.name).strip()
        found[name] = each.name, draw(st.sampled_from([*UNITS.get(each.unit or "", []), None]))
    return found
