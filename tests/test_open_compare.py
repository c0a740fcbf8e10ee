"""Compare in the browser: every measure of the command; the report's picture of differences, without a script."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import date, timedelta
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import pytest
from compare_farms import batches, write_farm
from conftest import gillbook
from open_farms import TODAY, Served, serving

from pipeline.cli.compare_command import MeasureOptions
from pipeline.compare.measures import MEASURES
from reports.month import Month
from reports.screens.pictures import chart_of_pairs, inline
from reports.sections.differences import pairs_chart
from schemas.answers import ComparedMeasure

HOSTILE = 'straw <script>alert(1)</script> & "more"'
BEGAN = TODAY - timedelta(days=400)


@pytest.fixture(scope="module")
def farm_served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Served]]:
    """Eight soaks of each of two substrates, far apart in BE, with pins and a second flush."""
    folder = tmp_path_factory.mktemp("compared")
    much = [80 + at % 5 for at in range(8)]
    rows = batches("mulch", [each - 30 for each in much], BEGAN, be2=20, pins=20)
    rows += batches("straw", much, BEGAN + timedelta(days=1), be2=30, pins=16)
    write_farm(folder, rows, 'currency = "EUR"\nprice_per_kg = 10\nspawn_cost_per_kg = 5\n')
    path = folder / "batches.csv"
    quoted = '"' + HOSTILE.replace('"', '""') + '"'
    path.write_text(re.sub(r",straw,", lambda _: f",{quoted},", path.read_text()), encoding="utf-8")
    with serving(folder) as served:
        yield folder, served


def test_the_page_offers_every_measure_of_the_command(farm_served: tuple[Path, Served]) -> None:
    page = farm_served[1].ask("/compare")[2]
    offered = re.findall(r'<option value="([\w-]+)"', page.split('id="measure"')[1])
    # The command's option is of the same list, which is that of the measures there are.
    assert MeasureOptions.__dataclass_fields__["measure"].default in list(ComparedMeasure)
    assert offered == [each.value for each in ComparedMeasure]
    assert set(offered) == set(MEASURES)
    for each in offered:
        assert each in gillbook("compare", "--help").out


@pytest.mark.parametrize("measure", ["next-flush", "decline", "margin", "margin-per-day"])
def test_a_measure_answers_what_its_command_answers(farm_served: tuple[Path, Served], measure: str) -> None:
    folder, served = farm_served
    status, _, page = served.ask(f"/compare?factor=substrate&measure={measure}")
    told = gillbook("compare", "substrate", "--measure", measure, "--farm", folder)
    assert (status, told.code) == (200, 0), told.err
    shown = " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())
    sentence = " ".join(told.out.split("\n\n")[0].split())
    assert sentence in shown


def test_the_picture_is_the_reports_and_needs_no_script(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    status, headers, page = served.ask("/compare?factor=substrate&measure=be")
    assert status == 200
    assert "script" not in headers["content-security-policy"]
    assert not re.search(r"<script|javascript:|\son\w+=|style=", page)
    (rows,) = [gillbook("compare", "substrate", "--json", "--farm", folder).json]
    month = Month(None, date.min, date.min, "", {"compared_pairs": rows}, [], [])
    (chart,) = pairs_chart(month)
    (same,) = chart_of_pairs(rows, "be", "BE")
    assert (same.spec, same.alternative) == (chart.spec, chart.alternative)
    # Its words are the report's, and its figures those of the table.
    assert unescape(re.findall(r'<div class="drawing" role="img" aria-label="([^"]+)"', page)[0]) == chart.alternative
    row = rows[0]
    assert f"{row['difference']:.1f}" in chart.alternative
    assert f"<bdi>{row['difference']:.1f}</bdi>" in page
    # Two drawings: for a telephone and for all that is wider. The estimate lies where its difference is on the axis.
    drawings = [ElementTree.fromstring(each) for each in re.findall(r"<svg.*?</svg>", page, re.DOTALL)]
    assert [int(each.attrib["width"]) for each in drawings] == [280, 640]
    for each in drawings:
        assert "".join(each.itertext()).count(HOSTILE[:20]) >= 1
    # Before the pictures stand the tables.
    assert page.index("<table") < page.index("<svg")


def test_of_a_measure_without_an_interval_there_is_no_picture(farm_served: tuple[Path, Served]) -> None:
    status, _, page = farm_served[1].ask("/compare?factor=strain&measure=be")
    assert status == 200
    assert "<svg" not in page


SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9">'
HARMLESS = SVG + '<g fill="none"><text x="1">a &lt;b&gt;</text></g></svg>'


@pytest.mark.parametrize(
    "inside",
    [
        "<script>alert(1)</script>",
        '<g onload="alert(1)"/>',
        '<rect style="background: url(//x)"/>',
        '<rect fill="url(http://x/)"/>',
        '<image href="http://x/"/>',
        '<a href="javascript:alert(1)"><text>x</text></a>',
        '<foreignObject><p xmlns="http://www.w3.org/1999/xhtml">x</p></foreignObject>',
        '<use href="#x"/>',
        '<text class="x" id="y" role="img">x</text>',
    ],
)
def test_a_drawing_holds_shapes_texts_and_looks_alone(inside: str) -> None:
    made = inline(HARMLESS.replace("</svg>", inside + "</svg>"))
    for bad in (
        "script",
        "alert",
        "on",
        "style",
        "url",
        "href",
        "http",
        "image",
        "foreignObject",
        "<use",
        "class",
        "id=",
    ):
        assert bad not in made.replace("none", ""), made
    assert "a &lt;b&gt;" in made
    with pytest.raises(ValueError, match="no SVG"):
        inline("<p>no drawing</p>")


def test_json_of_many_farms_and_sentences_are_as_they_were(farm_served: tuple[Path, Served]) -> None:
    """What a page gathers beside the text changes nothing of it."""
    folder = farm_served[0]
    told = gillbook("compare", "substrate", "--farm", folder)
    assert told.out.count("against") >= 1
    assert json.loads(gillbook("compare", "substrate", "--json", "--farm", folder).out)[0]["measure"] == "be"
