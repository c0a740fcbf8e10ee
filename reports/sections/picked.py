"""What was picked: kilograms by month, by week and by strain."""

from __future__ import annotations

from datetime import date, timedelta

from reports.colours import STRONGEST, paint, plain_key
from reports.columns import View
from reports.drawing import Chart, Drawn, column_chart, some_of
from reports.figures import Day, Part, Sentence, cell, change, measured, named, several
from reports.month import Month, first_day
from reports.section import Section, made
from reports.tables import table
from reports.vega_lite import Layer, Point, Spec, channel, options
from reports.words import MONTH_NAMES, month_name, short_day, short_month, spoken
from schemas.result_rows import day_of, number_of, text_of

MONTHS = View(
    "months",
    (
        "month",
        "fresh_g",
        "pickings",
        "units_finished",
        "units_lost",
        "be_finished_pct",
        "units_inoculated",
        "be_inoculated_pct",
        "picked_late_pct",
        "culled_pct",
        "sold_g",
        "revenue",
        "cost",
        "margin",
        "cost_per_kg",
    ),
    if_known=("sold_g", "revenue", "cost", "margin", "cost_per_kg"),
)
WEEKS = View(
    "weeks",
    (
        "week",
        "strain",
        "fresh_g",
        "pickings",
    ),
)
DAYS = View("picked_days", ("day", "fresh_g", "pickings"))
STRAINS = View(
    "strains",
    (
        "strain",
        "fresh_g",
        "pickings",
        "share_pct",
    ),
)
VIEWS = (
    MONTHS,
    WEEKS,
    DAYS,
    STRAINS,
)

STRAINS_NAMED = 4
# What has no readable weight may change it again.
WITH_KNOWN = "With what is known of"
MONTHS_SHOWN = 13
WEEKDAYS = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
LEAST_SHOWN = 0.05  # kg: less would be 0.0 with one digit
DAY_PX = 34  # height of a week in the calendar
# The month's name above, and below it the year, where one begins and at both ends. A fixed expression over labels that
# we write ourselves.
YEAR_WHERE = "datum.index == 0 || datum.index == 1 || substring(datum.label, 0, 3) == 'Jan'"
TWO_LINES = options(
    title=None,
    labelAngle=0,
    labelExpr=f"{YEAR_WHERE} ? split(datum.label, ' ') : substring(datum.label, 0, 3)",
    labelOverlap="parity",
)


def sentence(month: Month) -> Sentence:
    """Return on which day most was picked. What the month gave against others stands on page one."""
    name, at = month_name(month.month), month.place()
    if at is None or not month.rows("months")[at]["pickings"]:
        return (f"No day of {name} has a picking{'' if month.over else ' so far'}.",)
    pickings = several(cell(month, "months", at, "pickings"), "picking")
    days = month.rows("picked_days")
    if not any(row["pickings"] for row in days):
        return (measured(month, "months", at, "fresh_g"), " was picked in ", *pickings, ".")
    best = max(range(len(days)), key=lambda place: number_of(days[place], "fresh_g"))
    most = measured(month, "picked_days", best, "fresh_g")
    return ("Most was picked on ", Day(day_of(days[best], "day")), ": ", most, ". All came in ", *pickings, ".")


def waiting(month: Month) -> Sentence:
    """Return how many pickings are not counted until rows are mended, and what they change; nothing where all are.

    How many kg they have at least stands in the tile of page one.
    """
    at = waiting_at(month)
    if at is None:
        return ()
    row = month.rows("waiting_months")[at]
    where: Sentence = (" of ", named(text_of(row, "awaited_file"))) if row["awaited_file"] else ()
    pickings = several(cell(month, "waiting_months", at, "pickings_waiting"), "picking")
    rows = cell(month, "waiting_months", at, "rows_awaited")
    not_yet = f"{' is' if row['pickings_waiting'] == 1 else ' are'} not counted: "
    faulty = " is faulty" if rows.value == 1 else " are faulty"
    start: Sentence = (*pickings, not_yet, *several(rows, "row"), *where, faulty)
    before = _waiting_at(month, 1)
    if before is None or not month.over:
        return (*start, ".")
    now = measured(month, "waiting_months", at, "picked_and_waiting_g")
    then = measured(month, "waiting_months", before, "picked_and_waiting_g")
    if not then.value:
        return (*start, ".")
    known = f"{WITH_KNOWN} {'it' if row['pickings_waiting'] == 1 else 'them'} the month gave about"
    apart, name = change(now, then), MONTH_NAMES[first_day(month.month, 1).month - 1]
    if not round(float(apart.value or 0)):
        return (*start, f". {known} as much as in {name}.")
    word = "more" if (apart.value or 0) > 0 else "less"
    return (*start, f". {known} ", apart, f" {word} than in {name}.")


def waiting_at(month: Month) -> int | None:
    """Return the row of `waiting_months` of this month; None where none of its pickings waits."""
    at = _waiting_at(month, 0)
    return at if at is not None and month.rows("waiting_months")[at]["pickings_waiting"] else None


def _waiting_at(month: Month, months_before: int) -> int | None:
    """Return the row of `waiting_months` of this month, or of one before; None if there is none."""
    wanted = f"{first_day(month.month, months_before):%Y-%m}"
    return next((at for at, row in enumerate(month.rows("waiting_months")) if row["month"] == wanted), None)


def notes(month: Month) -> list[Sentence]:
    """Return which strains gave it."""
    notes: list[Sentence] = []
    rows = month.rows("strains")
    if len(rows) == 1:
        notes.append(("All of it was ", named(spoken("strain", text_of(rows[0], "strain"))), "."))
    elif rows:
        parts: list[Part] = ["By strain: " if len(rows) <= STRAINS_NAMED else "Most of it, by strain: "]
        for at in range(min(len(rows), STRAINS_NAMED)):
            share = measured(month, "strains", at, "share_pct")
            kilograms = measured(month, "strains", at, "fresh_g")
            parts += [
                ", " if at else "",
                named(spoken("strain", text_of(rows[at], "strain"))),
                " ",
                kilograms,
                " (",
                share,
                ")",
            ]
        notes.append((*parts, "."))
    return notes


def months_chart(month: Month) -> list[Chart]:
    """What was picked in each month, up to this one."""
    now = month.place()
    if now is None or now == 0:
        return []
    table = month.rows("months")
    begun = next((at for at, row in enumerate(table) if row["fresh_g"]), 0)
    places = range(max(begun, now + 1 - MONTHS_SHOWN), now + 1)
    rows: list[Point] = [
        {"row": at, "label": _short_month(text_of(table[at], "month")), "kg": number_of(table[at], "fresh_g") / 1000}
        for at in places
    ]
    if len(rows) == 1 or not any(row["kg"] for row in rows):
        return []
    for row in rows:
        before = _a_year_before(month, text_of(table[row["row"]], "month"))
        if before is not None:
            row |= {"before_row": before, "before": number_of(table[before], "fresh_g") / 1000}
    x = channel("label:N", sort=None, axis=TWO_LINES)
    tip = [
        channel("label:N", title="month"),
        channel("kg:Q", title="picked, kg", format=".2f"),
        channel("before:Q", title="a year before, kg", format=".2f"),
    ]
    last_year = [row for row in rows if "before" in row]
    bars = Layer(rows).mark("bar", color=paint("mass")).encode(x=x, y=_kilograms(), tooltip=tip)
    best = max(rows, key=lambda row: float(row["kg"]))["row"]
    compared = [row for row in rows if row["row"] in (best, now, month.place(1), month.place(12))]
    texts = Layer(compared).mark("text", baseline="bottom", dy=-4)
    marks = [bars, texts.encode(x=x, y="kg:Q", text=channel("kg:Q", format=".1f"))]
    keys = []
    if last_year:
        ticks = Layer(last_year).mark(
            "tick", color=paint("estimate"), thickness=3, width={"band": 1}, orient="horizontal"
        )
        marks.insert(1, ticks.encode(x=x, y=channel("before:Q"), tooltip=tip))
        keys = [plain_key("mass"), plain_key("estimate", "the same month a year before", shape="line")]
    spec = column_chart(marks)
    facts = tuple(
        f"{row['label']} {row['kg']:.2f} kg" + (f" (a year before {row['before']:.2f})" if "before" in row else "")
        for row in rows
    )
    part = some_of(len(rows), now + 1 - begun, "months", "last")
    summed = (
        Drawn("kg", "months/*/fresh_g"),
        Drawn("before", "months/*/fresh_g", " (a year before ", " kg)", row="before_row"),
    )
    title = "Picked in each month"
    return [Chart("months", title, spec, tuple(keys), "months", tuple(rows), facts, part=part, summed=summed)]


def _a_year_before(month: Month, text: str) -> int | None:
    """Return the row of `months` with the same month of the year before this one; None where there is none."""
    wanted = f"{int(text[:4]) - 1}{text[4:]}"
    return next((at for at, row in enumerate(month.rows("months")) if row["month"] == wanted), None)


def _short_month(text: str) -> str:
    return short_month(date.fromisoformat(f"{text}-01"))


def _kilograms() -> Spec:
    return channel("kg:Q", axis=options(title="kg, fresh", tickCount=5))


def calendar_chart(month: Month) -> list[Chart]:
    """What was picked on each day of the month: a row a week, a column a weekday, darker for more."""
    rows: list[Point] = [
        {
            "row": at,
            "kg": number_of(row, "fresh_g") / 1000,
            "weekday": WEEKDAYS[day_of(row, "day").weekday()],
            "week": short_day(day_of(row, "day") - timedelta(days=day_of(row, "day").weekday())),
            "shown": short_day(day_of(row, "day")),
        }
        for at, row in enumerate(month.rows("picked_days"))
    ]
    if not any(row["kg"] for row in rows):
        return []
    tip = [channel("shown:N", title="day"), channel("kg:Q", title="picked, kg", format=".2f")]
    x = channel("weekday:N", sort=None, scale=options(domain=WEEKDAYS), axis=options(title=None, labelAngle=0))
    y = channel("week:N", sort=None, axis=options(title="week from Monday"))
    base = Layer(rows)
    shade = channel("kg:Q", legend=None, scale=options(domainMin=0, range=[0.04, STRONGEST]))
    squares = base.mark("rect", color=paint("mass"), stroke=paint("line"), strokeWidth=1)
    some = [row for row in rows if row["kg"]]
    # A picking of some grams is not nothing: it has a digit more.
    shown = [row | {"said": f"{row['kg']:.1f}" if row["kg"] >= LEAST_SHOWN else f"{row['kg']:.2f}"} for row in some]
    texts = Layer(shown).mark("text").encode(x=x, y=y, text="said:N", tooltip=tip)
    weeks = len({row["week"] for row in rows})
    return [
        Chart(
            "calendar",
            "Picked on each day, kg",
            column_chart([squares.encode(x=x, y=y, fillOpacity=shade, tooltip=tip), texts], height=DAY_PX * weeks + 20),
            (),
            "picked_days",
            tuple(some),
            tuple(f"{row['shown']} {row['kg']:.2f} kg" for row in some),
            summed=(Drawn("kg", "picked_days/*/fresh_g", said="said"),),
        )
    ]


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made(
        "picked",
        "What was picked",
        sentence(month),
        notes(month),
        calendar_chart(month),
        [
            table(month, STRAINS, "Picked in the month, by strain"),
            table(month, WEEKS, "Picked in each week, by strain"),
            table(month, DAYS, "Picked on each day"),
            table(month, MONTHS, "The months so far", last=MONTHS_SHOWN),
        ],
    )
