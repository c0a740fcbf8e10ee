"""The result tables that the report shows, gathered from the measures, the estimates and the outlook."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

from schemas.result_rows import number_of

if TYPE_CHECKING:
    from pipeline.models.view import Ledger, LedgerView
    from pipeline.outlook.ahead import FarmPast
    from schemas.result_rows import ResultRows

Tables = dict[str, "ResultRows"]

# What a recipe is on the page.
RECIPE = ("substrate", "treatment", "spawn_form")
# Which measures are shown by group, and by which columns; in the order in which groups are made least often, with those
# of a month and of growth, which are by no column and by substrate.
GROUPED = (
    ("causes", "all"),
    ("months", "all"),
    ("losses", "substrate,treatment"),
    ("days", "substrate"),
)
# What is compared for the section "What holds and what leans": BE with a picture, the others where a difference holds.
COMPARED = ("be", "losses", "days")
THROUGH_FLUSH = 2  # BE is compared through the second flush, as `gillbook compare` does unless asked otherwise
WEEKS_AHEAD = 8


def of_measures(view: LedgerView, first: date) -> Tables:
    """The tables of what was seen, those of the month that `first` begins among them."""
    from pipeline.models import measures
    from pipeline.models.groups import grouping
    from pipeline.models.today import today_rows

    tables: Tables = {"today": today_rows(view)}
    tables |= measures.of_month(view, first) | of_money(view)
    return tables | {name: getattr(measures, name)(view.by(*grouping(by, add_batch=False))) for name, by in GROUPED}


def of_money(view: LedgerView) -> Tables:
    """What each recipe brought and cost so far, the most left first; no table where the farm keeps no books."""
    from pipeline.models import money

    if not money.keeps_books(view):
        return {}
    rows = money.money(view.by(*RECIPE))
    return {"money": sorted(rows, key=lambda row: -number_of(row, "margin"))}


def of_growth(view: LedgerView) -> Tables:
    """The tables of growth over time, by substrate, and of recipes."""
    from pipeline.growth import another_flush, flushes, pins
    from pipeline.growth.recipes import recipes
    from pipeline.models.known_flushes import known_flushes

    by_substrate = view.by("substrate")
    known = known_flushes(by_substrate)
    of_flushes, of_declines = flushes.flushes_and_declines(by_substrate, known)
    of_pins, curve = pins.pins_and_curve(by_substrate)
    return {
        "flushes": of_flushes,
        "declines": [*of_declines],
        "pins": of_pins,
        "pins_curve": curve,
        "another_flush": another_flush.another_flush(by_substrate, view.settings, known, of_flushes),
        "recipes": recipes(view, date.min, view.query.as_of),
    }


def ready_to_compare() -> None:
    """Load what comparing needs, before it is asked for."""
    import pipeline.compare.overview
    import pipeline.models.compared_units
    import pipeline.models.unit_arrays
    import pipeline.spawn.best_rate
    import pipeline.spawn.steps
    import pipeline.spawn.summary
    import pipeline.trial.tables  # noqa: F401


def compared(ledger: Ledger, as_of: date) -> Tables:
    """The tables of what is compared: every factor that varies, and spawn rates. Of a large farm half of the work."""
    return of_comparisons(ledger, as_of) | of_spawn(ledger, as_of)


def of_spawn(ledger: Ledger, as_of: date) -> Tables:
    """The tables of spawn rates, by recipe; and of how much soaks and containers differ."""
    from pipeline.models.view import Query
    from pipeline.spawn import summary as spawn
    from pipeline.spawn.best_rate import best
    from pipeline.spawn.rates import RECIPE as TRIED
    from pipeline.spawn.steps import steps
    from pipeline.trial.tables import farm_spread

    view = ledger.view(Query(as_of))
    tested = spawn.spawn(view.by(*TRIED), view.settings, {})
    return {
        "spawn_levels": spawn.levels(tested),
        "spawn_steps": steps(tested),
        "spawn_best": best(tested),
        "spawn_points": spawn.points(tested),
        "spawn_curves": spawn.curves(tested),
        "trial_spread": farm_spread(view),
    }


def of_comparisons(ledger: Ledger, as_of: date) -> Tables:
    """The tables of every factor that varies, compared for a page that is read again and again."""
    from pipeline.compare.overview import overview
    from pipeline.models.compared_units import farm_units

    units = farm_units(ledger, as_of, THROUGH_FLUSH, measures=COMPARED)
    # Prices are the settings' of a day, once a view of that day was made.
    settings = ledger.settings
    found = [each for measure in COMPARED for each in overview(units, settings, measure)]
    return {
        "compared_levels": [row for each in found for row in each.levels],
        "compared_pairs": [row for each in found for row in each.pairs],
    }


def of_outlook(ledger: Ledger, as_of: date) -> tuple[Tables, str | None]:
    """The tables of the weeks ahead, and why nothing is foreseen (None: it is)."""
    from pipeline.outlook.ahead import read_past
    from pipeline.outlook.tables import outlook

    past = read_past(ledger, as_of)
    found = outlook(ledger, as_of, WEEKS_AHEAD, past=past)
    tables = {"outlook": found.weeks, "outlook_batches": found.batches, "outlook_past": found.past}
    tables |= {"outlook_by_batch": found.by_batch}
    return tables | of_promises(ledger, as_of, past), found.why_not


def of_promises(ledger: Ledger, as_of: date, past: FarmPast) -> Tables:
    """The tables of what is promised for the weeks ahead; none where nothing is."""
    from pipeline.models.promises import deliveries, promises
    from pipeline.planning.promise_tables import check_promises

    if not deliveries(promises(ledger), as_of, as_of + timedelta(weeks=WEEKS_AHEAD)):
        return {}
    found = check_promises(ledger, as_of, WEEKS_AHEAD, past=past)
    return {"promise_chances": found.chances, "promise_room": found.room}
