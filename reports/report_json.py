"""report.json: everything that the page of a month says, as data. Its contract is schemas/report.json."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date, timedelta

from reports.drawing import Chart
from reports.figures import Figure
from reports.json_lines import in_json, json_lines
from reports.month import Month, first_day
from reports.page import sections
from reports.sections import picked
from reports.statements import Statement, statements, unit_of
from schemas.audit_outcome import Audit

# Raised where a reader of an older file would misread a newer one.
VERSION = 1
Data = Mapping[str, object]


def report_json(month: Month, brief: bool = False) -> str:
    """Return report.json of a month: the same text for the same month. Numbers are unrounded and in the units of their
    contracts, days as ISO 8601 has them, null is what is missing. `brief`: its first page alone, with all tables.
    """
    days = (month.month, first_day(month.month, -1) - timedelta(days=1))
    return as_json(month, days, statements(month, brief), _charts(month, brief))


def as_json(
    month: Month, days: tuple[date, date], says: Sequence[Statement], charts: Sequence[tuple[str, Chart]]
) -> str:
    """Return report.json of these days, the first and the last: what is said, what is drawn and in which section, and
    the result tables behind both.
    """
    first, last = days
    found = {
        "version": VERSION,
        "farm": month.farm_name,
        "from": first,
        "to": last,
        "as_of": month.as_of,
        "over": month.as_of >= last,
        "late_from": month.late_from,
        "why_no_outlook": month.why_no_outlook,
        "says": [_said(each) for each in says],
        "charts": [_drawn(section, chart) for section, chart in charts],
        "counts": dict(month.counts),
        "findings": [vars(each) for each in month.findings],
        "missing": [vars(each) for each in month.missing],
        "audit": _audited(month.audit, month.audit_is_stale),
        "tables": {name: [*rows] for name, rows in sorted(month.tables.items())},
    }
    return f"{{\n{_members(found)}\n}}\n"


def _members(found: Mapping[str, object]) -> str:
    """The members of an object, a line each; of lists in it a line for each entry: they are long on a large farm, and
    the encoder that indents is much slower.
    """
    return ",\n".join(f"{in_json(name)}: {_lines(value)}" for name, value in found.items())


def _lines(value: object) -> str:
    if isinstance(value, list) and value:
        return "[\n" + ",\n".join(json_lines(value)) + "\n]"
    if isinstance(value, dict) and any(isinstance(each, list) for each in value.values()):
        return f"{{\n{_members(value)}\n}}"
    return in_json(value)


def _said(statement: Statement) -> Data:
    return {
        "section": statement.section,
        "part": statement.part,
        "text": statement.text,
        "figures": [_figure(each) for each in statement.figures],
    }


def _figure(figure: Figure) -> Data:
    return {
        "shown": figure.full,
        "value": figure.value,
        "unit": unit_of(figure),
        "formula": figure.formula,
        "inputs": list(figure.inputs),
    }


def _charts(month: Month, brief: bool) -> list[tuple[str, Chart]]:
    shown = [] if brief else sections(month)
    first = [("first", chart) for chart in picked.months_chart(month)]
    return [*first, *((section.id, chart) for section in shown for chart in section.charts)]


def _drawn(section: str, chart: Chart) -> Data:
    return {
        "section": section,
        "id": chart.id,
        "title": chart.title,
        "table": chart.table,
        "rows": [dict(row) for row in chart.rows],
        "read_out": chart.alternative,
    }


def _audited(audit: Audit | None, stale: bool) -> Data | None:
    return None if audit is None else {**asdict(audit), "of_another_ledger": stale}
