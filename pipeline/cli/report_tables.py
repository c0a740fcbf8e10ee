"""The result tables that the report shows, gathered from the measures, the estimates and the outlook."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb

    from pipeline.models.measures import Rows

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
    from pipeline.models import measures

    whole_farm = measures.Query(as_of)
    measures.prepare(con, settings, whole_farm)
    whole = measures.yields(con, whole_farm)
    tables: Tables = {}
    for name, by in GROUPED:
        query = measures.Query(as_of, measures.grouping(by, add_batch=False))
        measures.regroup(con, query)
        tables[name] = getattr(measures, name)(con, query)
    return tables | measures.of_month(con, first), whole[0]["pickings_set_aside"] if whole else 0


def of_growth(con: duckdb.DuckDBPyConnection, settings: Settings, as_of: date) -> Tables:
    """The tables of growth over time, by substrate, and of spawn rates, by recipe. Call after of_measures."""
    from pipeline.growth import another_flush, flushes, pins
    from pipeline.models import measures
    from pipeline.spawn import summary as spawn
    from pipeline.spawn.best_rate import best
    from pipeline.spawn.rates import RECIPE
    from pipeline.spawn.steps import steps

    query = measures.Query(as_of, ("substrate",))
    measures.regroup(con, query)
    tables: Tables = {
        "flushes": flushes.flushes(con, query),
        "declines": flushes.declines(con, query),
        "pins": pins.pins(con, query),
        "pins_curve": pins.pins_curve(con, query),
        "another_flush": another_flush.another_flush(con, query, settings),
    }
    recipes = measures.Query(as_of, RECIPE)
    measures.regroup(con, recipes)
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
    from pipeline.compare.overview import standing
    from pipeline.models.compared_units import farm_units
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
