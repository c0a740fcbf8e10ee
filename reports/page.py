"""The page: one self-contained HTML file from one month's result tables."""

from __future__ import annotations

import json
import re
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import replace
from functools import cache, lru_cache

from jinja2 import Template
from markupsafe import Markup

from reports import front
from reports.cautions import MORE_BELOW, ONE_LINE, cautions
from reports.document import environment, packed_json, part, policy
from reports.drawing import Chart
from reports.figures import Day, Figure, Name, Sentence, plain
from reports.filters import Filters, Marks
from reports.glossary import definitions, sources, what_counts
from reports.month import Month
from reports.next_steps import next_steps
from reports.page_data import page_data
from reports.section import Section
from reports.sections import (
    another_flush,
    audit,
    courses,
    differences,
    finished,
    flushes,
    losses,
    missing,
    outlook,
    picked,
    pins,
    promises,
    recipes,
    rejected,
    shelves,
    spawn,
    stages,
)
from reports.vega import bundle, packed
from reports.words import month_name, visible

# What the page shows after its first page, in order; and what follows in the appendix, which is closed until asked for.
SECTIONS = (
    picked.section,
    courses.section,
    recipes.section,
    flushes.section,
    outlook.section,
    promises.section,
    losses.section,
    shelves.section,
    differences.section,
    rejected.section,
)
APPENDIX = (
    finished.section,
    spawn.section,
    another_flush.section,
    pins.section,
    stages.section,
    differences.appendix,
    outlook.appendix,
    missing.section,
    audit.section,
)
# What the glossary defines, in order: measures, then what compares them, then what is ahead.
DEFINED = (
    picked,
    courses,
    finished,
    recipes,
    flushes,
    another_flush,
    pins,
    losses,
    shelves,
    differences,
    spawn,
    stages,
    outlook,
    promises,
)
# Tables that stand open, and on paper; the last on the page alone.
TO_MEND = ("table-lost", "table-set-aside")
OPEN = (*TO_MEND, "table-waiting")
A_PAGE_TO_MEND = 8  # rows that would not find room below the sections before them. Our choice, no source.
PAGE = "page.html.j2"
VIEWS = tuple(view for section in DEFINED for view in section.VIEWS)


@lru_cache(maxsize=1)
def main_sections(month: Month) -> tuple[Section, ...]:
    """Return the sections that follow page one, in order."""
    found = (make(month) for make in SECTIONS)
    return tuple(_folded(each) for each in found if each)


def _folded(section: Section) -> Section:
    """Return the section with its tables folded away, but for the rows to mend: they are there to be worked on."""
    return replace(section, tables=tuple(replace(each, folded=each.id not in OPEN) for each in section.tables))


@lru_cache(maxsize=1)
def appendix(month: Month) -> tuple[Section, ...]:
    """Return the sections of the appendix, in order."""
    return tuple(make(month) for make in APPENDIX)


def _rows_to_mend(shown: Sequence[Section]) -> int:
    """Return how many rows of what is to be mended stand open."""
    return sum(
        len(each.rows) for section in shown if section.id == "aside" for each in section.tables if not each.folded
    )


def _marked(section: Section, marks: Marks) -> Section:
    """Return the section with the marks of its tables' rows: what each row is of."""
    tables = (replace(each, marks=tuple(marks.of_rows(each.source, each.numbers))) for each in section.tables)
    return replace(section, tables=tuple(tables))


def sections(month: Month) -> list[Section]:
    """Return all sections of the page of a month, in order."""
    return [*main_sections(month), *appendix(month)]


def charts(month: Month) -> list[Chart]:
    """Return all charts of the page of a month, in order."""
    return [*picked.months_chart(month), *(chart for section in sections(month) for chart in section.charts)]


def make_ready() -> None:
    """Compile what `render` fills, where there is time before there is a month to show: 25 ms."""
    template(PAGE)


def render(month: Month, brief: bool = False) -> str:
    """Return the report of a month: one HTML file as text, the same for the same month, that needs no network.

    `brief`: its first page alone.
    """
    shown, more = ((), ()) if brief else (main_sections(month), appendix(month))
    months = picked.months_chart(month)
    chapters = [] if brief else definitions({name for name, rows in month.tables.items() if rows}, VIEWS)
    style = part("styles/report.css") + labels([*shown, *more])
    filters = Filters(month)
    marks = Marks(filters)
    shown, more = (tuple(_marked(each, marks) for each in part_of) for part_of in (shown, more))
    drawn = [*months, *(chart for each in [*shown, *more] for chart in each.charts)]
    data = page_data(drawn, month, filters, marks)
    scripts = [part("templates/draw.js"), *(part(f"templates/{name}.js") for name in ("points", "sums", "filter"))]
    return template(PAGE).render(
        name=visible(month.farm_name or "").strip(),
        month=month_name(month.month),
        as_of=as_of(month),
        what_counts=what_counts(),
        headline=front.headline(month),
        tiles=front.tiles(month),
        months=months,
        shown=front.shown(month),
        next_steps=next_steps(month),
        warning=front.warning(month, alone=brief),
        brief=brief,
        choices=filters.choices if filters.any and not brief else (),
        sections=shown,
        appendix=more,
        chapters=chapters,
        sources=sources(chapters),
        cautions=cautions(month),
        caution=ONE_LINE,
        cautions_below="" if brief else MORE_BELOW,
        mending=_rows_to_mend(shown) >= A_PAGE_TO_MEND,
        style=Markup(style),
        licences=Markup(part("chart_licences.txt")),
        policy=policy([style], [bundle(), *scripts]),
        data=Markup(packed_json(data)),
        library=Markup(b64encode(packed()).decode()),
        scripts=[Markup(each) for each in scripts],
    )


# What a style sheet's string cannot hold as it is.
NOT_IN_A_STRING = re.compile(r"[^\w ,.%()/]")


def labels(shown: Sequence[Section]) -> str:
    """Return the style that gives each cell the head of its column, for where a row stands as a slip of its cells."""
    rules = []
    for each in (each for section in shown for each in section.tables):
        for place, head in enumerate(each.heads, start=1):
            said = f"{head.title}, {head.unit}" if head.unit else head.title
            text = NOT_IN_A_STRING.sub(lambda sign: f"\\{ord(sign[0]):x} ", said)
            rules.append(f'#{each.id} td:nth-child({place}){{--label:"{text}"}}\n')
    return "".join(rules)


def as_of(month: Month) -> Sentence:
    """Return the sentence that names the as-of day."""
    if month.over:
        return ("As of ", Day(month.as_of), ".")
    return ("As of ", Day(month.as_of), ": the month is not over.")


@cache
def template(name: str) -> Template:
    """Return a template of pages, which knows the parts of sentences apart, compiled once, with all that it takes."""
    made = environment()
    made.tests |= {
        "figure": lambda part: isinstance(part, Figure),
        "name": lambda part: isinstance(part, Name),
        "day": lambda part: isinstance(part, Day),
        "several": lambda cell: isinstance(cell, tuple),
    }
    made.filters |= {"plain": _plain, "exact": exact}
    made.get_template("parts.html.j2")
    return made.get_template(name)


def _plain(sentence: Sentence) -> str:
    return plain(sentence)


def exact(figure: Figure) -> str:
    """The figure's value, unrounded, as its attribute holds it: a whole number without its point."""
    value = figure.value
    return json.dumps(int(value) if isinstance(value, float) and value.is_integer() else value)
