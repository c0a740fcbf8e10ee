"""The strip of soaks: every soak of the record in a square, with how many containers were lost of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from reports.colours import STRONGEST, paint, plain_key
from reports.drawing import Chart, column_chart
from reports.month import Month
from reports.vega_lite import Layer, Point, channel, options
from reports.words import MONTH_NAMES, isolated, spoken
from schemas.result_rows import Row, Rows, day_of, text_of, whole_of

SOAKS_A_ROW, SOAK_PX = 12, 34  # squares of the strip
# Where there are more soaks a square is a month, and where there are more months a year. Our choice, no source.
SQUARES = 120


def soaks_chart(month: Month) -> list[Chart]:
    """Every soak of the record in a square, the oldest first: stronger for a larger share lost, with how many were.

    Where there are too many for a square each, a square is all soaks of a month, or of a year. None where nothing was
    lost.
    """
    if not any(row["lost"] for row in month.rows("soaks")):
        return []
    squares, things = _squares(month)
    rows = [{"column": at % SOAKS_A_ROW, "line": at // SOAKS_A_ROW} | row for at, row in enumerate(squares)]
    if not rows:
        return []
    tip = [channel("name:N", title=things), channel("said:N", title="lost")]
    columns, lines = range(SOAKS_A_ROW), range(len(rows) // SOAKS_A_ROW + 1)
    x = channel("column:O", axis=None, scale=options(domain=list(columns)))
    y = channel("line:O", axis=None, scale=options(domain=[at for at in lines if at * SOAKS_A_ROW < len(rows)]))
    shade = channel("share:Q", legend=None, scale=options(domain=[0, 100], range=[0, STRONGEST]))
    shapes = Layer(rows).mark("rect", color=paint("lost"), stroke=paint("known"))
    some = [row for row in rows if row["lost"]]
    marks = [shapes.encode(x=x, y=y, fillOpacity=shade, tooltip=tip)]
    if some:
        marks.append(Layer(some).mark("text", fontSize=13).encode(x=x, y=y, text="lost:Q", tooltip=tip))
    spec = column_chart(marks, height=SOAK_PX * ((len(rows) - 1) // SOAKS_A_ROW + 1))
    facts = tuple(f"{row['name']}: {row['said']} lost" for row in rows)
    keys = (plain_key("lost", "lost, stronger for a larger share"),)
    title = f"Lost of each {'soak' if things == 'soak' else f'{things} of soaks'}, the oldest first"
    whole = "" if things == "soak" else f"A square is a {things}: all {len(month.rows('soaks'))} soaks are counted."
    return [Chart("soaks", title, spec, keys, "soaks", tuple(rows), facts, part=whole)]


def _squares(month: Month) -> tuple[list[Point], str]:
    """Return what each square tells, and what a square is: a soak, or a month or year of them."""
    soaks = month.rows("soaks")
    if len(soaks) <= SQUARES:
        each_soak: list[Point] = [
            {"row": at, "name": isolated(spoken("soak", text_of(row, "soak")))}
            | _lost_of(whole_of(row, "lost"), whole_of(row, "units"))
            for at, row in enumerate(soaks)
        ]
        return each_soak, "soak"
    months = _by_day(soaks, lambda day: f"{MONTH_NAMES[day.month - 1][:3]} {day.year}")
    return (months, "month") if len(months) <= SQUARES else (_by_day(soaks, lambda day: str(day.year)), "year")


def _by_day(soaks: Rows, name: Callable[[date], str]) -> list[Point]:
    groups: dict[str, list[Row]] = {}
    for row in soaks:
        of = "no day noted" if row["inoculated_on"] is None else name(day_of(row, "inoculated_on"))
        groups.setdefault(of, []).append(row)
    return [
        {"name": each, "soaks": len(rows)}
        | _lost_of(sum(whole_of(row, "lost") for row in rows), sum(whole_of(row, "units") for row in rows))
        for each, rows in groups.items()
    ]


def _lost_of(lost: int, units: int) -> Point:
    return {"lost": lost, "share": 100 * lost / units, "said": f"{lost} of {units}"}
