"""The shelves: what each position gave and lost, where the farm writes positions."""

from __future__ import annotations

import re
from collections.abc import Sequence

from reports.colours import STRONGEST, paint, plain_key
from reports.columns import View
from reports.drawing import Chart, column_chart, some_of
from reports.figures import Sentence, cell, measured, named, several
from reports.month import Month
from reports.section import Section, made
from reports.tables import table
from reports.vega_lite import Layer, Point, Points, Spec, channel, expression, options
from reports.words import isolated, spoken
from schemas.phrases import counted
from schemas.result_rows import number_of, text_of, whole_of

POSITIONS = View("positions", ("room", "position", "units", "units_running", "lost", "fresh_g", "be_pct"))
VIEWS = (POSITIONS,)

PLACES_A_LINE, PLACE_PX = 6, 62  # squares of the map. Our choice, no source.
ROOMS_SHOWN, LINES_SHOWN = 3, 12
LOST = "\u2715"
NO_PROOF: Sentence = ("Places had different recipes and times: no proof that one is better.",)


def section(month: Month) -> Section | None:
    """Return this section of the report of a month; None where no position is written."""
    if not month.rows("positions"):
        return None
    charts = shelves_charts(month)
    return made(
        "shelves",
        "Shelves",
        sentence(month),
        [NO_PROOF],
        charts,
        [table(month, POSITIONS, "What each position gave so far")],
    )


def sentence(month: Month) -> Sentence:
    """Return which position gave most so far."""
    rows = month.rows("positions")
    best = max(range(len(rows)), key=lambda at: number_of(rows[at], "fresh_g"))
    if not rows[best]["fresh_g"]:
        return ("No position has given a picking yet.",)
    where = " ".join(part for part in (text_of(rows[best], "room"), text_of(rows[best], "position")) if part)
    units = several(cell(month, "positions", best, "units"), "container")
    return (
        "Position ",
        named(where),
        " gave most so far: ",
        measured(month, "positions", best, "fresh_g"),
        " from ",
        *units,
        ".",
    )


def shelves_charts(month: Month) -> list[Chart]:
    """Return a map of each room: a square a position, shelf by shelf, stronger for more kg, with how many were lost."""
    rooms: dict[str, list[int]] = {}
    for at, row in enumerate(month.rows("positions")):
        rooms.setdefault(text_of(row, "room"), []).append(at)
    most = max((number_of(row, "fresh_g") for row in month.rows("positions")), default=0.0) / 1000
    shown = list(rooms.items())[:ROOMS_SHOWN]
    part = some_of(len(shown), len(rooms), "rooms")
    return [
        _chart(month, number, room, places, most, part if number == len(shown) else "")
        for number, (room, places) in enumerate(shown, start=1)
    ]


def _chart(month: Month, number: int, room: str, places: Sequence[int], most: float, part: str) -> Chart:
    rows = _squares(month, places)
    cut = [row for row in rows if row["line"] < LINES_SHOWN]
    if len(cut) < len(rows):
        part = " ".join(each for each in (some_of(len(cut), len(rows), "positions"), part) if each)
    lost = f"; {LOST} containers lost" if any(row["lost"] for row in cut) else ""
    title = f"The shelves, kg of each position so far{lost}"
    keys = (plain_key("mass", "stronger for more"),)
    subject = isolated(spoken("room", room)) if room else ""
    facts = tuple(f"{row['name']}: {row['kg']:.2f} kg of {row['said']}" for row in cut)
    return Chart(
        f"shelves-{number}",
        title,
        _spec(cut, most),
        keys,
        "positions",
        tuple(cut),
        facts,
        subject=subject,
        part=part,
    )


def _squares(month: Month, places: Sequence[int]) -> list[Point]:
    """Return the squares of a room: a new line where the shelf changes, or after so many positions."""
    rows: list[Point] = []
    line, column, shelf = -1, 0, None
    for at in places:
        row = month.rows("positions")[at]
        name = text_of(row, "position")
        before = re.sub(r"\d+\D*$", "", name)
        if shelf is None or before != shelf or column == PLACES_A_LINE:
            line, column, shelf = line + 1, 0, before
        lost, units = whole_of(row, "lost"), counted(whole_of(row, "units"), "container")
        rows.append(
            {"row": at, "line": line, "column": column, "kg": number_of(row, "fresh_g") / 1000, "be": row["be_pct"]}
            | {"lost": lost, "mark": f"{LOST} {lost}", "name": isolated(spoken("position", name))}
            | {"said": units + (f", {lost} lost" if lost else "")}
        )
        column += 1
    return rows


def _spec(rows: Points, most: float) -> Spec:
    tip = [
        channel("name:N", title="position"),
        channel("kg:Q", title="kg so far", format=".2f"),
        channel("be:Q", title="BE of finished, %", format=".1f"),
        channel("said:N", title="of"),
    ]
    lines = 1 + max(row["line"] for row in rows)
    x = channel("column:O", axis=None, scale=options(domain=list(range(1 + max(row["column"] for row in rows)))))
    y = channel("line:O", axis=None, scale=options(domain=list(range(lines)), paddingInner=0.08))
    base = Layer(rows)
    shade = channel("kg:Q", legend=None, scale=options(domain=[0, most or 1], range=[0.04, STRONGEST]))
    squares = base.mark("rect", color=paint("mass"), stroke=paint("known"), strokeWidth=1)
    limit = expression(f"width / {PLACES_A_LINE} - 6")
    names = base.mark("text", dy=-18, fontSize=13, limit=limit, fontWeight="bold").encode(
        x=x, y=y, text="name:N", tooltip=tip
    )
    masses = base.mark("text", fontSize=13).encode(x=x, y=y, text=channel("kg:Q", format=".1f"), tooltip=tip)
    marks = [squares.encode(x=x, y=y, fillOpacity=shade, tooltip=tip), names, masses]
    some = [row for row in rows if row["lost"]]
    if some:
        crosses = Layer(some).mark("text", dy=18, fontSize=13, fontWeight="bold")
        marks.append(crosses.encode(x=x, y=y, text="mark:N", tooltip=tip))
    return column_chart(marks, height=PLACE_PX * lines)
