"""The page: one self-contained HTML file from one month's result tables."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

from jinja2 import Template
from markupsafe import Markup

from reports.cautions import cautions
from reports.document import environment, part, policy, script_json
from reports.drawing import Spec
from reports.figures import Day, Figure, Name, Sentence, cell, count, measured, plain, several
from reports.glossary import definitions, sources, what_counts
from reports.month import Month
from reports.section import Section
from reports.sections import (
    another_flush,
    audit,
    differences,
    finished,
    flushes,
    losses,
    missing,
    outlook,
    picked,
    pins,
    recipes,
    rejected,
    spawn,
    stages,
)
from reports.vega import bundle
from reports.words import month_name, visible

# What the page shows, in order.
SECTIONS = (
    picked,
    outlook,
    finished,
    recipes,
    differences,
    spawn,
    flushes,
    another_flush,
    pins,
    losses,
    stages,
    missing,
    rejected,
    audit,
)
# What the glossary defines, in order: measures, then what compares them, then what is ahead.
DEFINED = (
    picked,
    finished,
    recipes,
    flushes,
    another_flush,
    pins,
    losses,
    differences,
    spawn,
    stages,
    outlook,
)
VIEWS = tuple(view for section in DEFINED for view in section.VIEWS)


def sections(month: Month) -> list[Section]:
    """Return the sections of the page of a month, in order."""
    return [each.section(month) for each in SECTIONS]


def render(month: Month) -> str:
    """Return the report of a month: one HTML file as text, the same for the same month, that needs no network."""
    shown = sections(month)
    chapters = definitions({name for name, rows in month.tables.items() if rows}, VIEWS)
    style = part("styles/report.css")
    scripts = {"library": bundle(), "draw": part("templates/draw.js")}
    return _template("page.html.j2").render(
        name=visible(month.farm_name or "").strip(),
        month=month_name(month.month),
        as_of=as_of(month),
        what_counts=what_counts(),
        key_figures=key_figures(month),
        sections=shown,
        chapters=chapters,
        sources=sources(chapters),
        cautions=cautions(month),
        style=Markup(style),
        licences=Markup(part("chart_licences.txt")),
        policy=policy([style], list(scripts.values())),
        specs=Markup(script_json(_specs(shown))),
        **{name: Markup(script) for name, script in scripts.items()},
    )


def key_figures(month: Month) -> list[tuple[str, Figure | None, Sentence]]:
    """Return the figures at the head of the page: (what, figure or None, what it rests on, or why none) each."""
    at = month.place()
    waiting: Sentence = ("and ", count(month, "rows_waiting"), " waiting")
    last = ("Rows set aside", count(month, "rows_set_aside"), waiting)
    if at is None:
        return [("Picked", None, ("nothing",)), ("BE of what finished", None, ("no container finished",)), last]
    fresh, be, late = (
        measured(month, "months", at, column) for column in ("fresh_g", "be_finished_pct", "picked_late_pct")
    )
    pickings = cell(month, "months", at, "pickings")
    no_stage: Sentence = ("no stage noted",) if pickings.value else ("nothing picked",)
    return [
        ("Picked", fresh, ("in ", *several(pickings, "picking"), *_more_waits(month))),
        ("BE of what finished", be if be.value is not None else None, _rests_of_be(month)),
        (
            "Picked late",
            late if late.value is not None else None,
            ("of the mass with a stage",) if late.value is not None else no_stage,
        ),
        last,
    ]


def _more_waits(month: Month) -> Sentence:
    """Return how much more only waits for a row to be mended; nothing where nothing does."""
    said = picked.waiting(month)
    return ("; at least ", said[1], " more waits") if said else ()


def _rests_of_be(month: Month) -> Sentence:
    """Return the containers and batches in the BE of what finished, or why there is none."""
    of = finished.of_be(month)
    if of:
        return of
    lost = finished.all_lost(month)
    if lost:
        return (lost, " lost")
    return ("no dry mass known",) if month.rows("finished_units") else ("no container finished",)


def as_of(month: Month) -> Sentence:
    """Return the sentence that names the as-of day."""
    if month.over:
        return ("As of ", Day(month.as_of), ".")
    return ("As of ", Day(month.as_of), ": the month is not over.")


def _specs(shown: Sequence[Section]) -> Mapping[str, Spec]:
    return {chart.id: chart.spec for section in shown for chart in section.charts}


def _template(name: str) -> Template:
    made = environment()
    made.tests |= {
        "figure": lambda part: isinstance(part, Figure),
        "name": lambda part: isinstance(part, Name),
        "day": lambda part: isinstance(part, Day),
        "several": lambda cell: isinstance(cell, tuple),
    }
    made.filters |= {"plain": _plain, "exact": exact}
    return made.get_template(name)


def _plain(sentence: Sentence) -> str:
    return plain(sentence)


def exact(figure: Figure) -> str:
    """The figure's value, unrounded, as its attribute holds it."""
    return json.dumps(figure.value)
