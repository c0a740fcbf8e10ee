"""Spawn rates: what a step brings, and each batch as a point. A curve, from four rates on, is for the eye."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reports.colours import paint, plain_key
from reports.columns import Limited, Merged, View
from reports.drawing import NARROW_PX, Chart, column_chart, drawn
from reports.figures import Figure, Name, Part, Sentence, cell, measured, named, within
from reports.interval_chart import WIDEST
from reports.long_tables import evenly
from reports.month import Month
from reports.section import Section, made, some_noted
from reports.tables import merged, table
from reports.vega_lite import Layer, Point, Points, Spec, channel, options
from reports.words import isolated, spoken
from schemas.answers import StepAnswer
from schemas.result_rows import Row, number_of, text_of, texts_of

TRIED = Merged("Recipe", ("substrate", "supplement", "treatment", "strain", "spawn_form"), without_blanks=True)
SPAWN_LEVELS = View(
    "spawn_levels",
    (
        TRIED,
        "rate_wet_pct",
        "rate_dry_pct",
        "soaks",
        "batches",
        "units",
        "units_not_yet",
        "units_without_dry_mass",
        "pickings_set_aside",
        Limited("be_pct", "be_low_pct", "be_high_pct"),
        "be_with_spawn_pct",
        Limited("median_days_to_pins", "median_low_days", "median_high_days"),
        "lost",
        Limited("lost_pct", "lost_low_pct", "lost_high_pct"),
        Limited("margin_per_kg_dry", "margin_low", "margin_high"),
    ),
    if_known=("margin_per_kg_dry",),
)
SPAWN_STEPS = View(
    "spawn_steps",
    (
        TRIED,
        "from_rate_wet_pct",
        "to_rate_wet_pct",
        "soaks_from",
        "soaks_to",
        "soaks_both",
        Limited("be_difference_pct", "be_difference_low_pct", "be_difference_high_pct"),
        "extra_spawn_per_kg_dry",
        Limited("margin_difference", "margin_difference_low", "margin_difference_high"),
        "answer",
        "why",
        "next_step",
    ),
    if_known=(
        "margin_difference",
        "why",
        "next_step",
    ),
)
SPAWN_BEST = View(
    "spawn_best",
    (
        TRIED,
        "rates",
        "of",
        Limited("best_rate_wet_pct", "best_low_pct", "best_high_pct"),
        "answer",
        "why",
        "next_step",
    ),
    if_known=(
        "of",
        "best_rate_wet_pct",
        "why",
        "next_step",
    ),
)
SPAWN_POINTS = View(
    "spawn_points",
    (
        "batch",
        TRIED,
        "rate_wet_pct",
        "rate_dry_pct",
        "level_wet_pct",
        "units",
        "be_pct",
        "days_to_pins",
        "lost_pct",
    ),
)
VIEWS = (
    SPAWN_LEVELS,
    SPAWN_STEPS,
    SPAWN_BEST,
    SPAWN_POINTS,
)

STEPS_SHOWN = 4
RECIPES_SHOWN = 3
# Batches of a chart; a farm of some 100,000 pickings has all of them drawn. Our choice, no source.
POINTS_DRAWN = 1200
LEAST_RATES = 2  # with a figure, for a chart of them
NONE_LOST_TOP = 10.0  # where the scale of a chart ends in which all is 0
# column of spawn_points: the chart's title, the axis
MEASURED: Mapping[str, tuple[str, str]] = {
    "be_pct": ("BE against spawn rate", "BE, %"),
    "days_to_pins": ("Days to pins against spawn rate", "days"),
    "lost_pct": ("Lost against spawn rate", "lost, %"),
}
RecipeKey = tuple[str, ...]


def sentence(month: Month) -> Sentence:
    """Return what a step to the next spawn rate brings: one with an answer, and of these the one with most soaks."""
    rows = month.rows("spawn_steps")
    if not rows:
        return ("No recipe was tried at more than one spawn rate, so nothing shows which rate pays.",)
    resolved = [at for at, row in enumerate(rows) if row["be_difference_pct"] is not None and not _says_nothing(row)]
    if not resolved:
        return ("No step from one spawn rate to the next has a difference in BE yet.",)
    at = max(
        resolved,
        key=lambda at: (
            rows[at]["answer"] != StepAnswer.CANNOT_TELL,
            number_of(rows[at], "soaks_from") + number_of(rows[at], "soaks_to"),
        ),
    )
    return (*_step(month, at), ".")


def _says_nothing(row: Row) -> bool:
    """Whether the interval of the difference in BE is too wide to say anything."""
    low, high = row["be_difference_low_pct"], row["be_difference_high_pct"]
    if low is None or high is None:
        return False
    return number_of(row, "be_difference_high_pct") - number_of(row, "be_difference_low_pct") > WIDEST


def _step(month: Month, at: int) -> Sentence:
    row = month.rows("spawn_steps")[at]
    difference = cell(month, "spawn_steps", at, "be_difference_pct")
    return (
        "On ",
        _recipe_name(row),
        ", from ",
        cell(month, "spawn_steps", at, "from_rate_wet_pct"),
        " to ",
        measured(month, "spawn_steps", at, "to_rate_wet_pct"),
        " spawn: BE changes by ",
        *_signed(difference),
        " points",
        *within(month, "spawn_steps", at, "be_difference_low_pct", "be_difference_high_pct"),
        *_answered(row),
    )


def _answered(row: Row) -> Sequence[Part]:
    """The answer to a step. It is of the margin where prices are declared, and may be open where that of BE is not."""
    open_one = row["answer"] == StepAnswer.CANNOT_TELL
    if open_one and row["margin_difference"] is not None:
        return (". Whether it pays: ", Name(text_of(row, "answer")))
    low, high = row["be_difference_low_pct"], row["be_difference_high_pct"]
    known = low is not None and high is not None
    beside = known and number_of(row, "be_difference_low_pct") * number_of(row, "be_difference_high_pct") > 0
    why: Sequence[Part] = (", for ", Name(text_of(row, "why"))) if open_one and beside and row["why"] else ()
    return (": ", Name(text_of(row, "answer")), *why)


def _signed(figure: Figure) -> Sequence[Part]:
    return ("+", figure) if (figure.value or 0) > 0 else (figure,)


def _recipe_name(row: Row) -> Name:
    """Return a recipe as a sentence names it."""
    return named(merged(TRIED, row).text) if merged(TRIED, row).text else Name("the recipe")


def notes(month: Month) -> list[Sentence]:
    """Return why steps have no answer, the best rates, and how a curve is to be read."""
    rows = month.rows("spawn_steps")
    notes: list[Sentence] = []
    undecided = [at for at, row in enumerate(rows) if row["why"]]
    for at in undecided[:STEPS_SHOWN]:
        row = rows[at]
        rates: Sentence = (
            cell(month, "spawn_steps", at, "from_rate_wet_pct"),
            " to ",
            measured(month, "spawn_steps", at, "to_rate_wet_pct"),
        )
        notes.append(("On ", _recipe_name(row), ", ", *rates, ": ", Name(f"{row['why']}. {row['next_step']}")))
    notes += some_noted(min(len(undecided), STEPS_SHOWN), len(undecided), "steps without an answer")
    for at, row in enumerate(month.rows("spawn_best")):
        if row["best_rate_wet_pct"] is not None:
            best = measured(month, "spawn_best", at, "best_rate_wet_pct")
            limits = within(month, "spawn_best", at, "best_low_pct", "best_high_pct")
            notes.append(
                (
                    "The best rate for ",
                    _recipe_name(row),
                    ": ",
                    best,
                    *limits,
                    ", by ",
                    Name(spoken("of", text_of(row, "of"))),
                    ".",
                )
            )
    tried = len(_at_several_rates(month))
    notes += some_noted(min(tried, RECIPES_SHOWN), tried, "recipes are drawn", ", those with most batches")
    if month.rows("spawn_points"):
        notes.append(
            (
                "Rate: spawn over wet substrate. Each point is a batch. "
                "A curve is drawn from four rates on, for the eye only, and never beyond the tested rates.",
            )
        )
    return notes


def points_charts(month: Month) -> list[Chart]:
    """Return charts of what each batch gave at its rate, of the recipes with most batches at several rates."""
    groups = _at_several_rates(month)
    return [
        chart
        for number, name in enumerate([*groups][:RECIPES_SHOWN], start=1)
        for measure in MEASURED
        for chart in _chart(month, name, groups[name], measure, number)
    ]


def _at_several_rates(month: Month) -> dict[RecipeKey, list[int]]:
    """Return the rows of each recipe that was tried at several rates, the one with most batches first."""
    table = month.rows("spawn_points")
    groups: dict[RecipeKey, list[int]] = {}
    for at, key in enumerate(zip(*texts_of(table, *TRIED.columns), strict=True)):
        groups.setdefault(key, []).append(at)
    several = [name for name, of in groups.items() if len({table[at]["level_wet_pct"] for at in of}) > 1]
    return {name: groups[name] for name in sorted(several, key=lambda name: -len(groups[name]))}


def _recipe_key(row: Row) -> RecipeKey:
    return tuple(text_of(row, column) for column in TRIED.columns)


def _chart(month: Month, recipe: RecipeKey, places: Sequence[int], measure: str, number: int) -> list[Chart]:
    table, field = month.rows("spawn_points"), measure.replace("_", "")
    every = [at for at in places if table[at][measure] is not None and table[at]["rate_wet_pct"] is not None]
    points = [drawn(table[at], at, "rate_wet_pct", measure) for at in _some_of_each_rate(month, every)]
    points = [{**row, "name": isolated(spoken("batch", text_of(table[row["row"]], "batch")))} for row in points]
    levels = {table[at]["level_wet_pct"] for at in every}
    # One rate says nothing of rates, and a chart of nothing lost would be empty.
    if len(levels) < LEAST_RATES or (measure == "lost_pct" and not any(row[field] for row in points)):
        return []
    title, axis = MEASURED[measure]
    x = channel("ratewetpct:Q", axis=options(title="spawn, % of wet", tickCount=4), scale=options(nice=True))
    curve = _curve(month, recipe, measure)
    top = 1.08 * max([row[field] for row in points] + [row["high"] for row in curve]) or NONE_LOST_TOP
    scale = options(domain=[0, top], nice=True, clamp=True)
    tip = [
        channel("name:N", title="batch"),
        channel("ratewetpct:Q", title="spawn, % of wet", format=".1f"),
        channel(f"{field}:Q", title=axis, format=".1f"),
    ]
    dots = Layer(points).mark("circle", color=paint("batch"), size=90, opacity=0.85)
    y = channel(f"{field}:Q", axis=options(title=axis, tickCount=4), scale=scale)
    marks = [*_curve_marks(curve, x, y.copy(), scale), dots.encode(x=x, y=y, tooltip=tip)]
    keys = [plain_key("batch", shape="dot"), *([plain_key("band-wide", "curve with its band")] if curve else [])]
    name = spoken("batch", merged(TRIED, table[places[0]]).text)
    spec = column_chart(marks, height=NARROW_PX)
    chart_id = f"spawn-{number}-{field}"
    facts = tuple(
        f"{row['name']}: {row[field]:.1f} at {row['ratewetpct']:.1f} %"
        for row in sorted(points, key=lambda row: row["ratewetpct"])
    )
    part = f"{len(points)} of {len(every)} batches are drawn, evenly spread." if len(points) < len(every) else ""
    return [Chart(chart_id, title, spec, tuple(keys), "spawn_points", tuple(points), facts, True, name, part)]


def _some_of_each_rate(month: Month, places: Sequence[int]) -> list[int]:
    """Return so many of these batches as can be told apart, evenly spread over those of each rate."""
    by_rate: dict[object, list[int]] = {}
    for at in places:
        by_rate.setdefault(month.rows("spawn_points")[at]["level_wet_pct"], []).append(at)
    most = len(places) if len(places) <= POINTS_DRAWN else POINTS_DRAWN // len(by_rate)
    return sorted(at for of in by_rate.values() for at in evenly(of, most))


def _curve(month: Month, recipe: RecipeKey, measure: str) -> list[Point]:
    rows = month.rows("spawn_curves")
    return [
        {
            "ratewetpct": row["rate_wet_pct"],
            "value": row["value"],
            "low": max(0.0, number_of(row, "low")),
            "high": row["high"],
        }
        for row in rows
        if row["measure"] == measure and _recipe_key(row) == recipe
    ]


def _curve_marks(curve: Points, x: Spec, y: Spec, scale: Spec) -> list[Layer]:
    if not curve:
        return []
    base = Layer(curve).encode(x=x)
    axis = y["axis"]
    area = base.mark("area", color=paint("band-wide"), clip=True, line={"color": paint("band"), "strokeWidth": 1})
    line = base.mark("line", color=paint("band"), strokeWidth=2, clip=True)
    return [
        area.encode(y=channel("low:Q", axis=axis, scale=scale), y2="high:Q"),
        line.encode(y=channel("value:Q", axis=axis, scale=scale)),
    ]


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made(
        "spawn",
        "Spawn rates",
        sentence(month),
        notes(month),
        points_charts(month),
        [
            table(month, SPAWN_STEPS, "From each rate to the next, within one recipe"),
            table(month, SPAWN_BEST, "The best rate of each recipe"),
            table(month, SPAWN_LEVELS, "What each rate gave"),
            table(month, SPAWN_POINTS, "What each batch gave at its rate"),
        ],
    )
