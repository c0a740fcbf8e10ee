"""BE of what finished in the month, by recipe."""

from __future__ import annotations

from reports.be_chart import be_charts, be_text
from reports.columns import RECIPE, View
from reports.drawing import LANES_A_CHART, Chart, LaneLabel
from reports.figures import Figure, Sentence, cell, difference, measured, named, several
from reports.month import Month
from reports.section import Section, made
from reports.tables import PageTable, table, table_of
from reports.words import isolated, month_name, spoken
from schemas.phrases import counted
from schemas.result_rows import number_if_known, number_of, text_of, whole_of

FINISHED_RECIPES = View(
    "finished_recipes",
    (
        RECIPE,
        "batches",
        "units",
        "units_without_dry_mass",
        "fresh_g",
        "be_pct",
    ),
)
MONEY = View(
    "money",
    (
        RECIPE,
        "containers",
        "units_open",
        "picked_g",
        "revenue",
        "cost",
        "margin",
        "cost_per_kg",
        "margin_per_container",
        "lacks",
    ),
    if_known=("lacks",),
)
VIEWS = (FINISHED_RECIPES, MONEY)


def sentence(month: Month) -> Sentence:
    """Return how far apart the recipes that finished are, and how many batches each rests on."""
    rows = month.rows("finished_recipes")
    resolved = sorted(
        (at for at, row in enumerate(rows) if row["be_pct"] is not None), key=lambda at: number_of(rows[at], "be_pct")
    )
    if not resolved:
        lost = rows and not any(row["fresh_g"] for row in rows)
        return (
            "No recipe has a BE this month: all that finished was lost." if lost else "No recipe has a BE this month.",
        )
    if len(resolved) == 1:
        return ("One recipe has a BE: ", *_recipe(month, resolved[0]), ".")
    low, high = _recipe(month, resolved[0]), _recipe(month, resolved[-1])
    return ("The recipes lie between ", *low, " and ", *high, ".")


def _recipe(month: Month, at: int) -> Sentence:
    row = month.rows("finished_recipes")[at]
    words = ", ".join(spoken(column, text_of(row, column)) for column in ("substrate", "treatment", "spawn_form"))
    return (
        measured(month, "finished_recipes", at, "be_pct"),
        " (",
        named(words),
        "; ",
        *several(_in_be(month, at), "container"),
        " of ",
        *several(cell(month, "finished_recipes", at, "batches_in_be"), "batch", "batches"),
        ")",
    )


def _in_be(month: Month, at: int) -> Figure:
    """Return how many containers of this recipe are in its BE."""
    without = cell(month, "finished_recipes", at, "units_without_dry_mass")
    return difference(cell(month, "finished_recipes", at, "units"), without)


def notes(month: Month) -> list[Sentence]:
    """Return whether recipes rest on a single batch."""
    rows = month.rows("finished_recipes")
    if not rows:
        return []
    if all(number_of(row, "batches_in_be") < 2 for row in rows):
        return [("Each recipe rests on one batch, and one batch cannot tell recipes apart.",)]
    alone: list[Sentence] = []
    if any(number_of(row, "batches_in_be") < 2 for row in rows):
        alone = [
            ("Where a recipe rests on 1 batch, it cannot be set apart from others: batches of one recipe differ too.",)
        ]
    return [*alone, ("Sums over what finished this month, not a test of a difference.",)]


def recipes_chart(month: Month) -> list[Chart]:
    """The BE of each recipe of which units finished, the highest first, with its units as points."""
    columns = ("substrate", "treatment", "spawn_form")
    units: dict[tuple[str, ...], list[int]] = {}
    for at, row in enumerate(month.rows("finished_units")):
        units.setdefault(tuple(text_of(row, column) for column in columns), []).append(at)
    table = month.rows("finished_recipes")
    best_first = sorted(range(len(table)), key=lambda at: -(number_if_known(table[at], "be_pct") or 0))
    lanes = [(at, units.get(tuple(text_of(table[at], column) for column in columns), [])) for at in best_first]
    labels = {
        at: LaneLabel(
            isolated(" · ".join(spoken(column, text_of(table[at], column)) for column in columns)),
            _recipe_facts(month, at),
        )
        for at, _ in lanes
    }
    drawn = [lanes[start : start + LANES_A_CHART] for start in range(0, len(lanes), LANES_A_CHART)]
    return be_charts(month, "finished_recipes", drawn, labels, tall=True)


def _recipe_facts(month: Month, at: int) -> str:
    row = month.rows("finished_recipes")[at]
    containers, batches = (
        counted(whole_of(row, "units"), "container"),
        counted(whole_of(row, "batches"), "batch", "batches"),
    )
    return f"{containers} of {batches} · {be_text(month, 'finished_recipes', at)}"


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made(
        "recipes",
        "BE by recipe",
        sentence(month),
        notes(month),
        recipes_chart(month),
        [
            table(month, FINISHED_RECIPES, f"Recipes with containers that finished in {month_name(month.month)}"),
            money_table(month),
        ],
    )


def money_table(month: Month) -> PageTable | None:
    """Return what each recipe brought and cost so far; none where the farm keeps no books. What was sold of no picking
    that can be told is in no recipe.
    """
    whose = [at for at, row in enumerate(month.rows("money")) if row["units"]]
    called = f", {month.currency}" if month.currency else ""
    return table_of(month, MONEY, f"Money of each recipe so far{called}", whose)
