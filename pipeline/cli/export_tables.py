"""The tables that are handed on: the entries as they were read, all that is worked out from them, and the settings."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from schemas.steps import STEPS

if TYPE_CHECKING:
    from pipeline.cli.report_tables import Tables
    from pipeline.export.table import ExportTable
    from pipeline.models.view import Ledger


def export_tables(ledger: Ledger, as_of: date, month: date | None) -> list[ExportTable]:
    """Return every table as of a day. `month`: the first day of the one whose entries and own tables are wanted; what
    answers a question (trace, trial, next-soak, --need) is none of them.
    """
    from pipeline.export.table import input_table, result_table, settings_table
    from pipeline.models.input_rows import input_rows

    inputs = [input_table(name, rows) for name, rows in input_rows(ledger, month).items()]
    results = [result_table(name, rows) for name, rows in _results(ledger, as_of, month).items()]
    return [*inputs, *results, settings_table(ledger.farm_settings)]


def _results(ledger: Ledger, as_of: date, month: date | None) -> Tables:
    from pipeline.cli import report_tables
    from pipeline.models import measures, money
    from pipeline.models.groups import grouping
    from pipeline.models.view import Query

    view = ledger.view(Query(as_of))
    tables = {"yields": measures.yields(view.by(*grouping("batch", add_batch=True)))}
    tables |= {
        name: getattr(measures, name)(view.by(*grouping(by, add_batch=False))) for name, by in report_tables.GROUPED
    }
    tables |= measures.of_month(view, month) if month else {"weeks": measures.weeks(view)}
    tables["money"] = money.money(view.by(*money.recipe_names()))
    tables["money_months"] = money.money_months(view.by())
    tables["running_units"] = measures.running_units(view)
    STEPS.at("The export: flushes and pins")
    tables |= report_tables.of_growth(view)
    STEPS.at("The export: comparisons")
    tables |= report_tables.compared(ledger, as_of)
    STEPS.at("The export: the weeks ahead")
    return tables | report_tables.of_outlook(ledger, as_of)[0]
