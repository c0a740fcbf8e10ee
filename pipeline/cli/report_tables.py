"""The result tables that the report shows, gathered from the measures, the estimates and the outlook."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb

    from pipeline.measures.runner import Rows

Tables = dict[str, "Rows"]
Settings = Mapping[str, Any]

# Which measures are told by group, and by which columns.
GROUPED = (
    ("days", "substrate"),
    ("losses", "substrate,treatment"),
    ("causes", "all"),
    ("months", "all"),
)
# What is compared for the section "Does the difference hold?": BE with a picture, the others where a difference holds.
COMPARED = ("be", "losses", "days")
THROUGH_FLUSH = 2  # BE is compared through the second flush, as `gillbook compare` does unless asked otherwise
WEEKS_AHEAD = 8


def of_measures(con: duckdb.DuckDBPyConnection, settings: Settings, first: date, as_of: date) -> tuple[Tables, int]:
    """The tables of what was seen, those of the month that `first` begins among them; and how many pickings of the
    farm are set aside. Leaves the unit tables prepared as of `as_of`.
    """
    from pipeline.measures import runner

    whole_farm = runner.Question(as_of)
    runner.prepare(con, settings, whole_farm)
    whole = runner.yields(con, whole_farm)
    tables: Tables = {}
    for name, by in GROUPED:
        question = runner.Question(as_of, runner.grouping(by, add_batch=False))
        runner.regroup(con, question)
        tables[name] = getattr(runner, name)(con, question)
    return tables | runner.of_month(con, first), whole[0]["pickings_set_aside"] if whole else 0


def of_growth(con: duckdb.DuckDBPyConnection, settings: Settings, as_of: date) -> Tables:
    """The tables of growth over time, by substrate, and of spawn rates, by recipe. Call after of_measures."""
    from pipeline.growth import another_flush, flushes, pins, spawn
    from pipeline.growth.spawn_best import best
    from pipeline.growth.spawn_rates import RECIPE
    from pipeline.growth.spawn_steps import steps
    from pipeline.measures import runner

    question = runner.Question(as_of, ("substrate",))
    runner.regroup(con, question)
    tables: Tables = {
        "flushes": flushes.flushes(con, question),
        "declines": flushes.declines(con, question),
        "pins": pins.pins(con, question),
        "pins_curve": pins.pins_curve(con, question),
        "another_flush": another_flush.another_flush(con, question, settings),
    }
    recipes = runner.Question(as_of, RECIPE)
    runner.regroup(con, recipes)
    asked = spawn.spawn(con, recipes, settings, {})
    return tables | {
        "spawn_levels": spawn.levels(asked),
        "spawn_steps": steps(asked),
        "spawn_best": best(asked),
        "spawn_points": spawn.points(asked),
        "spawn_curves": spawn.curves(asked),
    }


def of_comparisons(con: duckdb.DuckDBPyConnection, settings: Settings, as_of: date) -> Tables:
    """The tables of every factor that varies, compared with 99 % intervals, for a page that is read again and again;
    and of how much soaks and containers differ. Makes the unit tables anew.
    """
    from pipeline.compare.standing import standing
    from pipeline.compare.units import farm_units
    from pipeline.trial.tables import farm_spread

    units = farm_units(con, settings, as_of, THROUGH_FLUSH)
    found = [each for measure in COMPARED for each in standing(units, settings, measure)]
    return {
        "compared_levels": [row for each in found for row in each.levels],
        "compared_pairs": [row for each in found for row in each.pairs],
        "trial_spread": farm_spread(con, settings, as_of),
    }


def of_outlook(con: duckdb.DuckDBPyConnection, settings: Settings, as_of: date) -> tuple[Tables, str | None]:
    """The tables of the weeks ahead, and why nothing can be told (None: it can)."""
    from pipeline.outlook.tables import outlook

    found = outlook(con, settings, as_of, WEEKS_AHEAD)
    tables = {"outlook": found.weeks, "outlook_batches": found.batches, "outlook_past": found.past}
    return tables, found.why_not
