"""The PDF says what the page says, in the same bytes each time, readable by a screen reader; no cell runs in it."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from ledgers import here
from pypdf import PdfReader
from report_months import CASES, HOSTILE, LONG, Unit, a_month, found
from test_report_meanings import months, says  # noqa: F401  of the demo farm and of simulated ones

from pipeline.cli import typeset as typesetting
from pipeline.cli.typeset import typeset
from reports.document import part
from reports.month import Month
from reports.print_content import BOX, NOT_PRINTED, PRINTED, TEMPLATE, print_content, printed

HOUSE = Path(__file__).parent.parent
DEMO_MONTHS = ("demo 2026-02", "demo 2026-05", "demo 2026-09")
MAIN = 4  # pages that the demo month may have


def pdf_of(month: Month, brief: bool = False) -> bytes:
    return typeset(print_content(month, brief), part(TEMPLATE), month.as_of)


PDFS: dict[int, bytes] = {}


def pdf_once(month: Month) -> bytes:
    """The PDF of a month of the farms that all tests share, made once."""
    if id(month) not in PDFS:
        PDFS[id(month)] = pdf_of(month)
    return PDFS[id(month)]


@cache
def pdf_of_case(case: str) -> bytes:
    return pdf_of(CASES[case]())


def words(text: str) -> str:
    """A text without the spaces and direction marks that a line of print adds or loses."""
    return re.sub(r"[\s\u2066-\u2069]+", "", unicodedata.normalize("NFC", text))


@cache
def pages_of(pdf: bytes) -> list[str]:
    """What each page of a PDF says, read once: that takes as long as to make it."""
    return [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]


def text_of(pdf: bytes) -> str:
    """All that a PDF says, page after page, without its foot lines."""
    pages = pages_of(pdf)
    count = len(pages)
    return "".join(re.sub(rf"^.*{at} of {count}$", "", page, flags=re.MULTILINE) for at, page in enumerate(pages, 1))


def objects(pdf: bytes) -> Iterator[dict[str, Any]]:
    reader = PdfReader(BytesIO(pdf))
    for number in range(1, len(reader.xref_objStm) + sum(map(len, reader.xref.values())) + 1):
        each = reader.get_object(number)
        if isinstance(each, dict):
            yield each


def test_it_says_each_sentence_and_figure_of_report_json(months: dict[str, Month]) -> None:  # noqa: F811
    for name in (*DEMO_MONTHS, "all lost"):
        month = months[name]
        content = print_content(month)
        ids = {"first", *(each["id"] for each in content["sections"])}  # type: ignore[attr-defined]
        text = words(text_of(pdf_once(month)))
        said = [each for each in says(month) if each["section"] in ids]
        assert len(said) >= 8, name
        for each in said:
            if each["part"] == "tile":
                assert all(words(figure["shown"]) in text for figure in each["figures"]), (name, each["text"])
            elif each["part"] != "before":
                assert words(printed(each["text"])) in text, (name, each["text"])
        shown = {figure["shown"] for each in said for figure in each["figures"]}
        assert [figure for figure in shown if words(figure) not in text] == [], name


def test_a_month_of_the_demo_farm_is_at_most_four_pages_and_none_nearly_empty(months: dict[str, Month]) -> None:  # noqa: F811
    for name in DEMO_MONTHS:
        pages = pages_of(pdf_once(months[name]))
        assert 2 <= len(pages) <= MAIN
        assert min(map(len, pages)) > 500, name
        brief = PdfReader(BytesIO(pdf_of(months[name], brief=True))).pages
        assert len(brief) == 1
        assert "Do next" in brief[0].extract_text()


def test_the_same_month_gives_the_same_bytes_in_any_process() -> None:
    script = "import hashlib, test_report_pdf as made;"
    script += "print(hashlib.sha256(made.pdf_of_case('first_month')).hexdigest())"
    paths = os.pathsep.join([str(HOUSE), str(HOUSE / "tests")])
    env = {**os.environ, "PYTHONHASHSEED": "1", "PYTHONPATH": paths, "LC_ALL": "C", "TZ": "Asia/Tokyo"}
    said = subprocess.run([sys.executable, "-c", script], env=env, capture_output=True, text=True, check=True)
    mine = hashlib.sha256(pdf_of_case("first_month")).hexdigest()
    assert said.stdout.strip() == mine == hashlib.sha256(pdf_of(CASES["first_month"]())).hexdigest()


def test_it_is_tagged_in_a_language_with_a_text_for_each_chart() -> None:
    month, pdf = CASES["first_month"](), pdf_of_case("first_month")
    root: Any = PdfReader(BytesIO(pdf)).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert "pdfuaid:part" in root["/Metadata"].get_data().decode()
    tags = [each for each in objects(pdf) if each.get("/S") is not None]
    content: Any = print_content(month)
    charts = [*content["months"], *(chart for each in content["sections"] for chart in each["charts"])]
    alternatives = [str(each["/Alt"]) for each in tags if each["/S"] == "/Figure"]
    assert sorted(alternatives) == sorted(each["read_out"] for each in charts)
    assert len(charts) >= 5
    assert [str(each["/S"]) for each in tags].count("/H2") == len(content["sections"]) + bool(content["steps"])


def test_its_fonts_stand_in_it() -> None:
    described = [each for each in objects(pdf_of_case("first_month")) if each.get("/Type") == "/FontDescriptor"]
    assert described
    assert [each["/FontName"] for each in described if not {"/FontFile2", "/FontFile3"} & each.keys()] == []


def test_every_sign_that_is_taken_to_be_printed_is_in_the_fonts() -> None:
    """PDF/UA refuses a sign that no font holds, so that this would raise."""
    signs = [chr(at) for at in range(0x20, 0x2600) if not NOT_PRINTED.search(chr(at))]
    text = " ".join(f"a{sign}" for sign in signs if unicodedata.category(sign) != "Cn")
    made = typeset(
        {"t": printed(text)}, '#set document(title: "x")\n#json(bytes(sys.inputs.report)).t', date(2026, 9, 1)
    )
    assert len(signs) > 2000
    assert made.startswith(b"%PDF")
    assert printed("\U0001f344 grey \u6c34\u7530 x\u202e") == f"{BOX} grey {BOX} x"
    assert len(PRINTED) > 40


# In the language that sets the PDF, in the charts' and in others: each would do something if it were not text alone.
PAYLOADS = (
    '#read("/etc/hostname")',
    "#sys.inputs",
    '#include "/etc/passwd"',
    '#import "@preview/cetz:0.1.0"',
    "#panic()",
    '#eval("1 + 41")',
    "#let data = none",
    "#set page(width: 1cm)",
    "#pagebreak()",
    "] #text(red)[hit",
    "*bold* _slanted_ `code`",
    "$ sum_(k=1)^n k $",
    "= Heading",
    "<label> @label",
    "// comment",
    "/* comment */",
    "\\ \\u{41} \\#",
    '#link("https://example.org")[x]',
    "https://example.org/a?b=<&>",
    "</text><image href='file:///etc/passwd'/>",
    "</svg><script>hit()</script>",
    "&xxe; <!ENTITY xxe SYSTEM 'file:///etc/passwd'>",
    "=HYPERLINK(1)+cmd|' /C calc'!A0",
    '"; #read("x"); "',
    "datum['x'] || alert(1) //",
    "%PDF-1.7 endobj",
    "(\\)) Tj /JavaScript",
    "---",
    "~ -? ... <<a>>",
    *HOSTILE,
)


def with_names(names: Sequence[str]) -> Month:
    units = [Unit(name, name, name, name, name, soak=name) for name in names]
    findings = [found("set_aside", at, name, 2, f"{name}.csv") for at, name in enumerate(names, 2)]
    return a_month(units, farm_name=names[0], findings=findings)


@pytest.mark.parametrize("payload", PAYLOADS)
def test_a_name_is_text_and_nothing_else(payload: str) -> None:
    pdf = pdf_of(with_names([payload, "plain"]))
    text = words(text_of(pdf))
    assert words(printed(payload)) in text
    assert words(f'"{printed(payload)}" is not a number') in text
    names = list(objects(pdf))
    assert [each for each in names if {"/JS", "/JavaScript", "/URI", "/EF", "/OpenAction", "/AA"} & each.keys()] == []
    assert [each for each in names if each.get("/Type") in ("/Annot", "/Filespec", "/Action")] == []
    host = Path("/etc/hostname")
    if host.is_file() and len(host.read_text(encoding="utf-8").strip()) > 3:
        assert host.read_text(encoding="utf-8").strip() not in text
    assert len(PdfReader(BytesIO(pdf)).pages) <= MAIN


def test_there_are_payloads_enough_and_all_of_them_together_are_text_too() -> None:
    assert len(PAYLOADS) >= 20
    text = words(text_of(pdf_of(with_names(PAYLOADS[:24]))))
    assert [each for each in PAYLOADS[:24] if words(printed(each)) not in text] == []


@pytest.mark.parametrize("case", CASES)
def test_every_awkward_month_can_be_set(case: str) -> None:
    month = CASES[case]()
    text = words(text_of(pdf_of_case(case)))
    assert words(printed((month.farm_name or "Monthly report").strip())) in text
    if case == "long_names":
        assert words(LONG[:40]) in text
        # A word that is not broken would run over the margin, as one line of all its letters.
        lines = [
            line for page in PdfReader(BytesIO(pdf_of_case(case))).pages for line in page.extract_text().splitlines()
        ]
        assert [line for line in lines if re.search(r"\S{130}", line)] == []


def test_right_to_left_names_keep_the_line_around_them() -> None:
    hebrew = "\u05d0\u05d1\u05d2 \u05d3"
    pdf = pdf_of(replace(with_names([hebrew, "plain"]), farm_name="A farm"))
    letters = set(text_of(pdf))
    assert set("\u05d0\u05d1\u05d2\u05d3") <= letters
    assert BOX not in letters


def test_the_template_reaches_nothing_and_cannot() -> None:
    source = re.sub(r"//.*", "", part(TEMPLATE))
    assert re.findall(r"\b(read|eval|include|import|plugin|csv|yaml|toml|xml|link)\b", source) == []
    for reach in ('#read("/etc/hostname")', '#read("../x")', '#image("/etc/hostname")'):
        with pytest.raises(RuntimeError, match=r"not found|would escape the project root"):
            typeset({}, f'#set document(title: "x")\n{reach}', date(2026, 9, 1))


def test_without_the_library_a_plain_message_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert here("init", tmp_path / "farm").code == 0
    said = here("report", "--format", "pdf", "--farm", tmp_path / "farm")
    assert said.code == 0
    assert Path(said.out.splitlines()[-1]).read_bytes().startswith(b"%PDF")
    monkeypatch.setattr(typesetting, "find_spec", lambda name: None)
    said = here("report", "--format", "pdf", "--farm", tmp_path / "farm")
    assert said.code == 3
    assert "gillbook[pdf]" in said.err
    assert "Traceback" not in said.err
    assert here("report", "--farm", tmp_path / "farm").code == 0


def test_many_rows_to_mend_stand_together_under_their_heading() -> None:
    rows = [found("set_aside", row, str(row)) for row in range(2, 15)]
    pages = pages_of(pdf_of(replace(CASES["sixty_batches"](), findings=rows)))
    (on,) = [page for page in pages if "Rows to mend" in page]
    assert all(f"row {row}," in on for row in range(2, 15))
