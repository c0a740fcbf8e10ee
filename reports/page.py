"""The page: one self-contained HTML file from one month's result tables."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from jinja2 import Template
from markupsafe import Markup

from reports import sentences
from reports.blocks import Block, blocks
from reports.cautions import cautions
from reports.document import environment, part, policy, script_json
from reports.figures import Day, Figure, Name, Sentence, cell, count, measured, plain, rows_of, several
from reports.glossary import definitions, sources, unit_meaning
from reports.month import Month
from reports.vega import bundle
from reports.words import month_name, visible


def render(month: Month) -> str:
    """Which page tells this month? One HTML file as text, the same for the same month, that needs no network."""
    told = blocks(month)
    chapters = definitions([name for name, rows in month.tables.items() if rows])
    style = part("styles", "report.css")
    scripts = {"library": bundle(), "draw": part("templates", "draw.js")}
    return _template("page.html.j2").render(
        name=visible(month.farm_name or "").strip(),
        month=month_name(month.month),
        as_of=sentences.told_as_of(month),
        unit_meaning=unit_meaning(),
        heads=heads(month),
        blocks=told,
        chapters=chapters,
        sources=sources(chapters),
        cautions=cautions(month),
        style=Markup(style),
        policy=policy([style], list(scripts.values())),
        specs=Markup(script_json(_specs(told))),
        **{name: Markup(script) for name, script in scripts.items()},
    )


def heads(month: Month) -> list[tuple[str, Figure | None, Sentence]]:
    """Which few figures stand at the head of the page? (what, figure or None, what it rests on, or why none) each."""
    at = month.place()
    aside: Sentence = ("and ", count(month, "rows_waiting"), " waiting")
    last = ("Rows set aside", count(month, "rows_set_aside"), aside)
    if at is None:
        return [("Picked", None, ("nothing",)), ("BE of what finished", None, ("no unit finished",)), last]
    fresh, be, late = (
        measured(month, "months", at, column) for column in ("fresh_g", "be_finished_pct", "picked_late_pct")
    )
    pickings = cell(month, "months", at, "pickings")
    finished = cell(month, "months", at, "units_finished")
    batches = several(rows_of(month, "finished_batches"), "batch", "batches")
    units: Sentence = (*several(finished, "unit"), " of ", *batches) if finished.value else ("no unit finished",)
    no_dry: Sentence = ("no dry mass known",) if finished.value else units
    no_stage: Sentence = ("no stage noted",) if pickings.value else ("nothing picked",)
    return [
        ("Picked", fresh, ("in ", *several(pickings, "picking"))),
        ("BE of what finished", be if be.value is not None else None, units if be.value is not None else no_dry),
        (
            "Picked late",
            late if late.value is not None else None,
            ("of the mass with a stage",) if late.value is not None else no_stage,
        ),
        last,
    ]


def _specs(told: Sequence[Block]) -> Mapping[str, Any]:
    return {chart.id: chart.spec for block in told for chart in block.charts}


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
