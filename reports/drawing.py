"""How a chart is drawn: the forms that all charts of the page share, as Vega-Lite.

Text of cells stands only in the data's `name` and in tooltips. It is never a field's name, a scale's domain, an
expression or an address: rows are distinguished by their number, colours by keys of the style sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

from reports.colours import Key, paint
from reports.vega_lite import Layer, Point, Points, Spec, channel, constant, expression, layered, options
from schemas.phrases import counted
from schemas.result_rows import Row, whole_of

Lane = TypeVar("Lane")
TEXT_PX = 15
FACTS_PX = 13.5
# Row charts: the name (and below it what it rests on) stands over its marks, so that a phone has the full width.
ROW_PX = 46
TALL_ROW_PX = 68
SIGN_PX = 8  # no sign of a figure is wider
NARROW_PX = 190  # height of small charts, three side by side
# A chart higher than a printed page would be cut: so many lanes at most, the next ones in a further chart or the table.
LANES_A_CHART = 10
# So many facts of a chart are read out; a longer list is in the table behind it. Our choice, no source.
FACTS_READ = 20
# Labels of an axis that would come nearer to each other are left out, every second one. Our choice, no source.
LABELS_APART_PX = 10
# The keys by which what is drawn names its row, where it is of another result table than the chart's.
OTHER_TABLES = {"unit_row": "finished_units", "picking_row": "batch_pickings"}

CONFIG: Spec = {
    "aria": False,  # the figure around the chart carries the text alternative
    "background": "transparent",
    "font": "system-ui, sans-serif",
    "text": {"color": paint("ink"), "fontSize": TEXT_PX},
    "view": {"stroke": None},
    "axis": {
        "labelColor": paint("ink"),
        "titleColor": paint("ink"),
        "gridColor": paint("line"),
        "domainColor": paint("ink-soft"),
        "tickColor": paint("ink-soft"),
        "labelFontSize": 14,
        "titleFontSize": 14,
        "titleFontWeight": "normal",
        "titlePadding": 8,
        "labelSeparation": LABELS_APART_PX,
    },
}


@dataclass(frozen=True)
class Drawn:
    """A field that a chart draws of a column made of parts (see reports/sums), so that it can be added up anew.

    cell: table/*/column, whose row is in the field `row`; said: the field that holds it in words; opens, closes: what
    stands around it where it is read out.
    """

    field: str
    cell: str
    opens: str = " "
    closes: str = " kg"
    row: str = "row"
    said: str = ""


@dataclass(frozen=True)
class Chart:
    """A chart: its id on the page, title, specification, key of colours, the result table and its rows as drawn.

    Each of `rows` has `row`, the number of the row of `table` that it draws; `kg` columns are the table's g over 1000.
    `facts` says in words what is drawn, one for each lane, column or curve; `part` says of how many it shows some;
    `summed` what is added up anew where the page is filtered.
    """

    id: str
    title: str
    spec: Spec
    keys: tuple[Key, ...]
    table: str
    rows: tuple[Row, ...]
    facts: tuple[str, ...]
    narrow: bool = False
    subject: str = ""
    part: str = ""
    summed: tuple[Drawn, ...] = ()

    @property
    def alternative(self) -> str:
        """What the chart shows, for those who do not see it: its title, and the facts as drawn."""
        about = f"{self.title}: {self.subject}" if self.subject else self.title
        rest = len(self.facts) - FACTS_READ
        more = f"; {counted(rest, 'more fact')} in the table" if rest > 0 else ""
        return f"Chart. {about}. {'; '.join(self.facts[:FACTS_READ])}{more}."


@dataclass(frozen=True)
class LaneLabel:
    """What stands over the marks of one row: whose row it is, what it rests on, and in tall rows a figure at the right
    of the name.
    """

    name: str
    facts: str
    right: str = ""


def some_of(shown: int, whole: int, things: str, which: str = "first", by: str = "") -> str:
    """Return the sentence that a chart shows some of many: "The last 14 of 19 soaks."; nothing where it shows all."""
    return f"The {which} {shown} of {whole} {things}{by}." if shown < whole else ""


def in_charts(lanes: Sequence[Lane], most: int) -> list[Sequence[Lane]]:
    """Return these lanes in as few charts as hold them, `most` each, and none with more than one fewer than another."""
    charts = -(-len(lanes) // most)
    ends = [round(at * len(lanes) / charts) for at in range(charts + 1)] if charts else []
    return [lanes[first:end] for first, end in pairwise(ends)]


def facts_of(labels: Sequence[LaneLabel]) -> tuple[str, ...]:
    """Return what the lanes of a chart say, in words."""
    return tuple(f"{each.name}: {each.facts}" for each in labels)


def drawn(row: Row, at: int, *columns: str) -> Point:
    """What a chart draws of this row of a result table, its number: each column under its name without underscores."""
    return {"row": at} | {column.replace("_", ""): row[column] for column in columns}


def row_drawn(table: str, point: Row) -> tuple[str, int] | None:
    """Return which row of which table this point of a chart of `table` draws; None where it draws none."""
    named = next((key for key in (*OTHER_TABLES, "row") if key in point), None)
    return None if named is None else (OTHER_TABLES.get(named, table), whole_of(point, named))


def known(rows: Points, *names: str) -> list[Point]:
    """Return the rows that have all of these."""
    return [row for row in rows if all(row[name] is not None for name in names)]


def colour_of(rows: Points) -> Spec:
    """The channel that paints each row in the colour that its `colour` names."""
    used = sorted({row["colour"] for row in rows})
    return channel("colour:N", legend=None, scale=options(domain=used, range=[paint(each) for each in used]))


def lane(labels: Sequence[LaneLabel]) -> Spec:
    """The channel that gives each row its lane, in order."""
    lanes = [f"{at:03}" for at in range(len(labels))]
    return channel("lane:O", axis=None, sort=None, scale=options(domain=lanes, paddingInner=0, paddingOuter=0))


def across(field: str, title: str, domain: Sequence[float] | None = None, stack: bool | None = None) -> Spec:
    """The channel of a measure along the row, from 0, its title with the unit."""
    scale = options(zero=True, nice=True) if domain is None else options(domain=list(domain), nice=True)
    axis = options(title=title, tickCount=5, labelFlush=True, labelBound=True)
    return channel(f"{field}:Q", scale=scale, axis=axis, stack=stack)


def row_chart(marks: Sequence[Layer], labels: Sequence[LaneLabel], tall: bool = False, of_name: float = 0.28) -> Spec:
    """A chart of one lane a row: the labels over the marks. `tall`: name and facts on a line each, else the name has
    `of_name` of the width.
    """
    step = TALL_ROW_PX if tall else ROW_PX
    rows = [
        {"lane": f"{at:03}", "name": each.name, "facts": each.facts, "all": f"{each.name}: {each.facts}"}
        | ({"right": each.right} if each.right else {})
        for at, each in enumerate(labels)
    ]
    with_right = tall and any(each.right for each in labels)
    room = SIGN_PX * max((len(each.right) for each in labels), default=0) + SIGN_PX
    base = Layer(rows).encode(y=lane(labels))
    high = -20 if tall else -10
    tip = channel("all:N", title="row")
    name = base.mark(
        "text",
        align="left",
        baseline="middle",
        dy=high,
        limit=expression(f"width - {room}" if with_right else "width" if tall else f"width * {of_name}"),
    ).encode(x=constant(0), text="name:N", tooltip=tip)
    facts = base.mark(
        "text",
        align="left" if tall else "right",
        baseline="middle",
        dy=-2 if tall else high,
        fontSize=FACTS_PX,
        color=paint("ink-soft"),
        limit=expression("width" if tall else f"width * {round(0.98 - of_name, 2)}"),
    ).encode(x=constant(0) if tall else constant("width"), text="facts:N", tooltip=tip)
    words = [name, facts]
    if with_right:
        beside = base.mark(
            "text", align="right", baseline="middle", dy=high, fontSize=FACTS_PX, limit=expression("width * 0.3")
        )
        words.append(beside.encode(x=constant("width"), text="right:N", tooltip=tip))
    return finish([*_ground(base, tall), *marks, *words], step * len(labels))


def over_grid(layer: Layer, words: str, **looks: object) -> list[Layer]:
    """Return words on a chart whose grid does not cross them: as paper around each letter, and then themselves."""
    paper = {"stroke": paint("paper"), "strokeWidth": 5, "strokeJoin": "round", "color": paint("paper")}
    under = layer.mark("text", **{**looks, **paper})
    return [each.encode(text=words) for each in (under, layer.mark("text", **looks))]


def _ground(base: Layer, tall: bool) -> list[Layer]:
    """What lies under the marks: a line above each lane, and paper behind its words, so that no grid crosses them."""
    step, words = (TALL_ROW_PX, 40) if tall else (ROW_PX, 23)
    across_all = base.encode(x=constant(0), x2=constant("width"))
    return [
        across_all.mark("bar", height=words, yOffset=(words - step) / 2, color=paint("paper")),
        across_all.mark("bar", height=1, yOffset=-step / 2, color=paint("line")),
    ]


def below(tall: bool = False) -> int:
    """Return how far below the middle of its lane the marks of a row lie, in px."""
    return 20 if tall else 12


def column_chart(marks: Sequence[Layer], height: int = 240) -> Spec:
    """A chart of columns or of a line, as wide as the page."""
    return finish(marks, height)


def finish(layers: Sequence[Layer], height: int) -> Spec:
    """The whole specification, without the address of its schema: the page needs no address."""
    fitted = {"type": "fit-x", "contains": "padding"}
    return layered(layers, width="container", height=height, autosize=fitted, config=dict(CONFIG))
