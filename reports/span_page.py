"""The page of a year or of another span of days, and the same as data."""

from __future__ import annotations

from base64 import b64encode

from markupsafe import Markup

from reports import span as content
from reports.cautions import ONE_LINE
from reports.document import packed_json, part, policy
from reports.glossary import definitions
from reports.page import labels, template
from reports.page_data import chart_data
from reports.report_json import as_json
from reports.sections.losses import CAUSES
from reports.sections.recipes import RECIPES
from reports.span import Span
from reports.statements import Statement
from reports.vega import bundle, packed
from reports.words import visible

VIEWS = (content.MONTHS, RECIPES, content.BATCHES, content.LOST, CAUSES)


def render_span(span: Span) -> str:
    """Return the report of a span: one HTML file as text, the same for the same span, that needs no network."""
    style = part("styles/report.css") + labels(content.sections(span))
    draw = part("templates/draw.js")
    return template("span.html.j2").render(
        name=visible(span.month.farm_name or "").strip(),
        title=span.title,
        as_of=content.as_of(span),
        headline=content.headline(span),
        tiles=content.tiles(span),
        months=content.months_chart(span.month),
        warning=content.warning(span),
        sections=content.sections(span),
        chapters=definitions({view.source for view in VIEWS}, VIEWS),
        caution=ONE_LINE,
        style=Markup(style),
        licences=Markup(part("chart_licences.txt")),
        policy=policy([style], [bundle(), draw]),
        data=Markup(packed_json(chart_data(content.charts(span)))),
        library=Markup(b64encode(packed()).decode()),
        draw=Markup(draw),
    )


def span_json(span: Span) -> str:
    """Return report.json of a span, under the contract of a month's."""
    drawn = [("first", chart) for chart in content.months_chart(span.month)]
    drawn += [(section.id, chart) for section in content.sections(span) for chart in section.charts]
    return as_json(span.month, (span.first, span.last), _statements(span), drawn)


def _statements(span: Span) -> list[Statement]:
    first = [Statement("first", "headline", each) for each in content.headline(span)]
    for tile in content.tiles(span):
        shown = [tile.figure] if tile.figure else []
        first.append(Statement("first", "tile", (f"{tile.what}: ", *shown, " ", *tile.rests_on)))
    warned = content.warning(span)
    first += [Statement("first", "warning", warned)] if warned else []
    for section in content.sections(span):
        first.append(Statement(section.id, "finding", section.sentence))
        first += [Statement(section.id, "note", each) for each in section.notes]
    return first
