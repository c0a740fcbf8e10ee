"""What the report holds on paper: the content of the PDF as plain data, which its template (templates/report.typ) sets.

Texts travel as data and never as markup: what stands in a cell cannot be more than text there.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from functools import cache

from reports import front
from reports.cautions import ONE_LINE
from reports.colours import Key
from reports.document import part
from reports.drawing import Chart
from reports.figures import NOTHING, Day, Figure, Name, Sentence, plain
from reports.month import Month
from reports.next_steps import next_steps
from reports.page import TO_MEND, as_of, main_sections
from reports.section import Section
from reports.sections import picked
from reports.tables import Cell, PageTable
from reports.vega_lite import Spec
from reports.words import isolated, month_name, visible

# A chart is drawn so wide, and then set to the width of its column. Our choice, no source.
WIDE_PX, COLUMN_PX = 820, 540
# Rows of a table of findings that paper has room for. Our choice, no source.
ROWS_PRINTED = 24
# From so many rows on they stand side by side, over the whole width. Our choice, no source.
SIDE_BY_SIDE = 8
FONT = "Libertinus Serif"
TEMPLATE = "templates/report.typ"
# Signs that the fonts of the typesetting library hold: Latin, Greek, Cyrillic, Hebrew, and signs around them. A test
# sets each of them.
PRINTED = (
    "\u0020-\u007e\u00a0-\u0377\u037a-\u03ff\u0400-\u0484\u0487-\u04ff\u0591-\u05f4\u1e00-\u1fff\u2000-\u2040"
    "\u2044-\u2052\u2054-\u2064\u2066-\u2071\u2074-\u20c0\u2190-\u22ff\u25a0-\u25ff"
)
NOT_PRINTED = re.compile(f"[^{PRINTED}]+")
BOX = "\u25a1"
# Signs of our own charts that the fonts lack, and what stands for each.
INSTEAD = {"\u2715": "\u00d7"}
# A name in the foot line has no more letters than that. Our choice, no source.
IN_FOOT = 70
# Shares of the width that a lane's name and its facts may take: a column of paper is narrow, and facts are the longer.
NAME_AND_FACTS = {"0.28": 0.25, "0.7": 0.74}
# A colour of the style sheet, and a share of the width, in a specification.
COLOUR, WIDTH_SHARE = re.compile(r"^var\(--([a-z-]+)\)$"), re.compile(r"width(?: \* ([0-9.]+))?")
Content = Mapping[str, object]


def print_content(month: Month, brief: bool = False) -> Content:
    """Return what the PDF of a month holds, as JSON can hold it: texts, tables, and charts as specifications with a
    width and the colours of the light scheme. `brief`: the first page alone.
    """
    name = printed(month.farm_name or "").strip()
    title = f"{name}: {month_name(month.month)}" if name else month_name(month.month)
    content = {
        "title": title,
        "foot": title if len(title) <= IN_FOOT else f"{title[: IN_FOOT - 1]}\u2026",
        "farm": name or "Monthly report",
        "month": month_name(month.month),
        "as_of": said(as_of(month)),
        "headline": [said(each) for each in front.headline(month)],
        "tiles": [_tile(each) for each in front.tiles(month)],
        "shown": said(front.shown(month)),
        "steps": [said(each) for each in next_steps(month)],
        "warning": said(front.warning(month, alone=brief)),
        "months": [_chart(each, WIDE_PX) for each in picked.months_chart(month)],
        "sections": [] if brief else [_section(each) for each in main_sections(month)],
        "beside": "picked",
        "side_by_side": SIDE_BY_SIDE,
        "caution": ONE_LINE,
    }
    boxes = f"{BOX} stands for signs that the print has no letters for; the page on the screen has them."
    return {**content, "boxes": boxes if BOX in repr(content) else ""}


def said(sentence: Sentence) -> str:
    """Return a sentence as the print has it."""
    return printed(plain(sentence))


def printed(text: str) -> str:
    """Return a text with a box in place of each run of signs that the fonts do not hold."""
    known = (INSTEAD.get(sign, sign) for sign in visible(text))
    held = "".join(BOX if unicodedata.category(sign) in ("Cn", "Co", "Cs") else sign for sign in known)
    return NOT_PRINTED.sub(BOX, unicodedata.normalize("NFC", held))


def _tile(tile: front.Tile) -> Content:
    figure = tile.figure
    return {
        "what": tile.what,
        "value": figure.text if figure else NOTHING,
        "unit": figure.unit if figure else "",
        "rests": said(tile.rests_on),
        "before": [said(each) for each in tile.before],
    }


def _section(section: Section) -> Content:
    tables = [each for each in section.tables if each.id in TO_MEND]
    return {
        "id": section.id,
        "title": section.title,
        "finding": said(section.sentence),
        "notes": [said(each) for each in section.notes],
        "charts": [_chart(each, COLUMN_PX) for each in section.charts],
        "tables": [_table(each) for each in tables],
    }


def _chart(chart: Chart, width: int) -> Content:
    subject = f": {isolated(printed(chart.subject))}" if chart.subject else ""
    return {
        "title": f"{chart.title}{subject}",
        "read_out": printed(chart.alternative),
        "part": chart.part,
        "keys": [_key(each) for each in chart.keys],
        "spec": _on_paper(chart.spec, width),
    }


def _key(key: Key) -> Content:
    means = key.means.text if isinstance(key.means, Name) else key.means
    return {"colour": _colours()[key.colour], "means": isolated(printed(means)), "shape": key.shape}


def _table(table: PageTable) -> Content:
    rest = len(table.rows) - ROWS_PRINTED
    more = (
        f"The first {ROWS_PRINTED} of {len(table.rows)}; the page on the screen has more." if rest > 0 else table.more
    )
    return {
        "caption": table.caption,
        "heads": [f"{each.title}, {each.unit}" if each.unit else each.title for each in table.heads],
        "rows": [[_cell(each) for each in row] for row in table.rows[:ROWS_PRINTED]],
        "counted": "Rows waiting",
        "more": more,
    }


def _cell(cell: Cell) -> str:
    match cell:
        case None:
            return ""
        case str() | Figure() | Name() | Day():
            return said((cell,))
        case _:
            return said(cell)


def _on_paper(spec: Spec, width: int) -> Spec:
    """Return the specification for paper: of this width, each colour by its value, each text of a cell as it can be
    printed.
    """
    made = _drawn_there(spec, width)
    if not isinstance(made, dict):
        raise TypeError("a specification is an object")
    return {**made, "width": width, "config": {**made["config"], "font": FONT}}


def _drawn_there(each: object, width: int) -> object:
    if isinstance(each, str):
        return COLOUR.sub(lambda found: _colours()[found[1]], printed(each))
    if isinstance(each, Mapping):
        share = WIDTH_SHARE.fullmatch(str(each["expr"])) if each.keys() == {"expr"} else None
        if share:
            return width * NAME_AND_FACTS.get(share[1] or "1", float(share[1] or 1))
        return {key: _drawn_there(value, width) for key, value in each.items()}
    return [_drawn_there(value, width) for value in each] if isinstance(each, list | tuple) else each


@cache
def _colours() -> Mapping[str, str]:
    """The value of each colour in the light scheme of the style sheet, and white for its paper."""
    (light, *_) = re.findall(r":root \{(.*?)\}", part("styles/report.css"), re.DOTALL)
    return dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]+);", light)) | dict.fromkeys(("paper", "not-yet"), "#ffffff")
