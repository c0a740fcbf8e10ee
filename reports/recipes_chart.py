"""The chart of recipes: each one's biological efficiency as a dot with its interval, the highest first."""

from __future__ import annotations

from reports.colours import paint, plain_key
from reports.drawing import LANES_A_CHART, Chart, LaneLabel, across, below, facts_of, known, lane, row_chart, some_of
from reports.figures import Sentence, cell, measured, plain, within
from reports.month import Month
from reports.vega_lite import Layer, Point, Points, Spec, channel
from reports.words import isolated, spoken
from schemas.phrases import counted
from schemas.result_rows import Row, number_of, text_of, whole_of

# From so many soaks on a recipe has an interval: see the contract of the table. Fewer make a grey dot.
ENOUGH_SOAKS = 3
# An interval that ends above the BE that `check` warns of says nothing: the dot is grey as well. Our choice, no source.
HIGHEST_PCT = 200
RECIPE = ("substrate", "treatment", "spawn_form")


def best_first(month: Month) -> list[int]:
    """Return the rows of `recipes` that have a BE, the highest first."""
    rows = month.rows("recipes")
    return sorted(
        (at for at, row in enumerate(rows) if row["be_pct"] is not None), key=lambda at: -number_of(rows[at], "be_pct")
    )


def is_grey(row: Row) -> bool:
    """Whether a recipe rests on so few soaks that it has no interval, or none that says anything."""
    return whole_of(row, "soaks") < ENOUGH_SOAKS or says_nothing(row)


def says_nothing(row: Row) -> bool:
    """Whether the interval of a recipe ends above what a BE can be."""
    return row["high_pct"] is not None and number_of(row, "high_pct") > HIGHEST_PCT


def limits_of(month: Month, at: int) -> Sentence:
    """Return the limits of the BE of a recipe, " (62.8 to 87.2)"; nothing where there are none that say anything."""
    return () if is_grey(month.rows("recipes")[at]) else within(month, "recipes", at, "low_pct", "high_pct")


def recipes_chart(month: Month) -> list[Chart]:
    """Return the chart of the BE of each recipe; none where no recipe has one."""
    table, order = month.rows("recipes"), best_first(month)
    places = order[:LANES_A_CHART]
    if not places:
        return []
    labels = [LaneLabel(_name(table[at]), _facts(month, at), _margin(month, table[at])) for at in places]
    rows = [_point(table[at], at, place) for place, at in enumerate(places)]
    keys = [plain_key("estimate", "BE", "dot")] if any(not row["grey"] for row in rows) else []
    keys += [plain_key("interval", shape="line")] if known(rows, "low", "high") else []
    if any(row["high"] is not None and row["high"] > _top(rows) for row in rows):
        keys.append(plain_key("interval", "goes on beyond the scale", shape="arrow"))
    keys += [plain_key("few", shape="ring")] if any(row["grey"] for row in rows) else []
    keys += [plain_key("clean", shape="tick")] if any(row["clean"] is not None for row in rows) else []
    title = "BE of each recipe, the highest first"
    if any(each.right for each in labels):
        title += f"; at the right the margin of a container{f', {month.currency}' if month.currency else ''}"
    part = some_of(len(places), len(order), "recipes")
    return [
        Chart("recipes", title, _spec(rows, labels), tuple(keys), "recipes", tuple(rows), facts_of(labels), part=part)
    ]


def _name(row: Row) -> str:
    return isolated(" \u00b7 ".join(spoken(column, text_of(row, column)) for column in RECIPE))


def _facts(month: Month, at: int) -> str:
    row = month.rows("recipes")[at]
    be = f"{measured(month, 'recipes', at, 'be_pct').full}{plain(limits_of(month, at))}"
    facts = [be, counted(whole_of(row, "soaks"), "soak")]
    if _clean(row) is not None:
        facts.append(f"{cell(month, 'recipes', at, 'be_clean_pct').text} clean")
    return " \u00b7 ".join(facts)


def _margin(month: Month, row: Row) -> str:
    """Return what a container of this recipe left, as the table of money has it; "" where no books are kept."""
    same = [
        at
        for at, paid in enumerate(month.rows("money"))
        if paid["units"] and all(paid[key] == row[key] for key in RECIPE)
    ]
    return cell(month, "money", same[0], "margin_per_container").text if same else ""


def _clean(row: Row) -> float | None:
    """Return the BE without losses to contamination, where there were any."""
    return (
        number_of(row, "be_clean_pct") if row["contaminated_before_pick"] and row["be_clean_pct"] is not None else None
    )


def _point(row: Row, at: int, place: int) -> Point:
    return {
        "row": at,
        "lane": f"{place:03}",
        "be": row["be_pct"],
        "low": None if is_grey(row) else row["low_pct"],
        "high": None if is_grey(row) else row["high_pct"],
        "clean": _clean(row),
        "soaks": row["soaks"],
        "grey": is_grey(row),
    }


def _top(rows: Points) -> float:
    """Return where the scale ends: at the highest limit, but no more than twice as high as the highest BE."""
    highest = max(row[name] for row in rows for name in ("be", "clean") if row[name] is not None)
    limits = [row["high"] for row in rows if row["high"] is not None]
    return float(max(1.0, 1.02 * min(2 * highest, max([highest, *limits]))))


def _spec(rows: Points, labels: list[LaneLabel]) -> Spec:
    top = _top(rows)
    title, domain = "BE, % (fresh over dry substrate)", (0, top)
    y, down = lane(labels), below(tall=True)
    tip = [
        channel("be:Q", title="BE, %", format=".1f"),
        channel("low:Q", title="from", format=".1f"),
        channel("high:Q", title="to", format=".1f"),
        channel("clean:Q", title="clean BE, %", format=".1f"),
        channel("soaks:Q", title="soaks"),
    ]
    marks = []
    limited = [row | {"end": min(row["high"], top)} for row in known(rows, "low", "high")]
    cleaned, beyond = known(rows, "clean"), [row for row in limited if row["high"] > top]
    if limited:
        rules = Layer(limited).mark("rule", color=paint("interval"), strokeWidth=2, yOffset=down)
        marks.append(rules.encode(x=across("low", title, domain), x2="end:Q", y=y, tooltip=tip))
    if cleaned:
        ticks = Layer(cleaned).mark("tick", thickness=3, size=22, color=paint("clean"), yOffset=down, orient="vertical")
        marks.append(ticks.encode(x=across("clean", title, domain), y=y, tooltip=tip))
    if beyond:
        arrows = Layer(beyond).mark(
            "point", shape="triangle-right", filled=True, size=150, opacity=1, color=paint("interval"), yOffset=down
        )
        marks.append(arrows.encode(x=across("end", title, domain), y=y, tooltip=tip))
    for grey in (False, True):
        some = [row for row in rows if row["grey"] == grey]
        if not some:
            continue
        own = {"filled": False, "strokeWidth": 3, "color": paint("few")} if grey else {"color": paint("estimate")}
        dots = Layer(some).mark("circle", size=130, opacity=1, yOffset=down, **own)
        marks.append(dots.encode(x=across("be", title, domain), y=y, tooltip=tip))
    return row_chart(marks, labels, tall=True)
