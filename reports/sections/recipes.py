"""BE of each recipe so far, with what it rests on; and what each brought and cost."""

from __future__ import annotations

from reports.columns import RECIPE, Limited, View
from reports.figures import Name, Sentence, cell, measured, named, several, total
from reports.month import Month
from reports.recipes_chart import RECIPE as PARTS
from reports.recipes_chart import best_first, is_grey, limits_of, recipes_chart, says_nothing
from reports.section import Section, made
from reports.tables import PageTable, table_of
from reports.words import spoken
from schemas.result_rows import text_of

RECIPES = View(
    "recipes",
    (
        RECIPE,
        "soaks",
        "units",
        "units_without_dry_mass",
        "contaminated_before_pick",
        Limited("be_pct", "low_pct", "high_pct"),
        "be_clean_pct",
        "why_no_interval",
    ),
    if_known=("why_no_interval",),
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
VIEWS = (RECIPES, MONEY)


def sentence(month: Month) -> Sentence:
    """Return which recipe has the highest BE and which the lowest, of those that rest on enough soaks where any do."""
    order = best_first(month)
    if not order:
        return no_be(month)
    firm = [at for at in order if not is_grey(month.rows("recipes")[at])]
    shown = firm or order
    if len(shown) == 1:
        return ("So far ", _recipe(month, shown[0]), " gave ", *_be(month, shown[0]), ".")
    high, low = shown[0], shown[-1]
    most: Sentence = ("So far ", _recipe(month, high), " gave most: ", *_be(month, high))
    return (*most, ". Least: ", _recipe(month, low), ", ", *_be(month, low), ".")


def no_be(month: Month) -> Sentence:
    """Return why no recipe has a BE: none of what ended has a dry mass, or nothing ended."""
    ended = total(month, "recipes", "units")
    if ended.value and ended.value == total(month, "recipes", "units_without_dry_mass").value:
        return ("No recipe has a BE: of none of ", *several(ended, "container"), " that ended the dry mass is known.")
    return ("No recipe has a BE yet.",)


def _recipe(month: Month, at: int) -> Name:
    row = month.rows("recipes")[at]
    return named(", ".join(spoken(column, text_of(row, column)) for column in PARTS))


def _be(month: Month, at: int) -> Sentence:
    """Return the BE of a recipe with its interval, and how many soaks it rests on."""
    soaks = several(cell(month, "recipes", at, "soaks"), "soak")
    few = ", too few for a likely range" if says_nothing(month.rows("recipes")[at]) else ""
    return ("BE ", measured(month, "recipes", at, "be_pct"), *limits_of(month, at), " from ", *soaks, few)


def notes(month: Month) -> list[Sentence]:
    """Return what BE is, and that dots side by side are no test."""
    order = best_first(month)
    if not order:
        return []
    found: list[Sentence] = [("BE says how many kg came from a hundred kg of dry substrate.",)]
    if len(order) < len(month.rows("recipes")):
        found.append(("Recipes without a BE stand in the table alone: no container is over, or no dry mass known.",))
    if len(order) > 1:
        found.append(("Months and soaks differ too: whether one is better stands under What holds and what leans.",))
    return found


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made(
        "recipes",
        "BE by recipe",
        sentence(month),
        notes(month),
        recipes_chart(month),
        [
            table_of(month, RECIPES, "Each recipe so far, the highest first", rows_in_order(month)),
            money_table(month),
        ],
    )


def rows_in_order(month: Month) -> list[int]:
    """Return the rows of `recipes`, the highest BE first, and those without one at the end."""
    order = best_first(month)
    return [*order, *(at for at in range(len(month.rows("recipes"))) if at not in order)]


def money_table(month: Month) -> PageTable | None:
    """Return what each recipe brought and cost so far; none where the farm keeps no books. What was sold of no picking
    that can be told is in no recipe.
    """
    whose = [at for at, row in enumerate(month.rows("money")) if row["units"]]
    called = f", {month.currency}" if month.currency else ""
    return table_of(month, MONEY, f"Money of each recipe so far{called}", whose)
