"""report.json: everything that the page of a month says, as data. Its contract is schemas/report.json."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import date, timedelta

from reports.drawing import Chart, row_drawn
from reports.figures import Figure
from reports.json_lines import in_json, json_lines
from reports.long_tables import ROWS_KEPT, findings_to_hold, rows_to_hold, runs
from reports.month import Month, first_day
from reports.page import sections
from reports.section import Section
from reports.sections import picked
from reports.statements import Statement, statements, unit_of
from schemas.audit_outcome import Audit
from schemas.finding import Finding
from schemas.result_rows import Row

# Raised where a reader of an older file would misread a newer one.
VERSION = 1
VERSION_IF_CUT = 2  # where rows are left out, a row's number is not its place any more
Data = Mapping[str, object]


def report_json(month: Month, brief: bool = False) -> str:
    """Return report.json of a month: the same text for the same month. Numbers are unrounded and in the units of their
    contracts, days as ISO 8601 has them, null is what is missing. `brief`: its first page alone, with all tables.
    """
    return "".join(json_pieces(month, brief))


def json_pieces(month: Month, brief: bool = False) -> Iterator[str]:
    """Yield the same piece by piece: together they are long on a large farm, and one sign of another script in them
    would double the memory of all.
    """
    days = (month.month, first_day(month.month, -1) - timedelta(days=1))
    shown = [] if brief else sections(month)
    return _pieces(month, days, statements(month, brief), _charts(month, shown), _rows_shown(shown))


def as_json(
    month: Month, days: tuple[date, date], says: Sequence[Statement], charts: Sequence[tuple[str, Chart]]
) -> str:
    """Return report.json of these days, the first and the last: what is said, what is drawn and in which section, and
    the result tables behind both.
    """
    return "".join(_pieces(month, days, says, charts))


def _pieces(
    month: Month,
    days: tuple[date, date],
    says: Sequence[Statement],
    charts: Sequence[tuple[str, Chart]],
    shown: Iterable[tuple[str, int]] = (),
) -> Iterator[str]:
    """Report.json of these days, the first and the last; of long tables some rows, those `shown` among them (each a
    table and a row's number).
    """
    first, last = days
    named = {*shown, *_rows_named(says), *_rows_drawn(charts)}
    tables, cut = _tables(month, named)
    findings, missing = (_some(name, getattr(month, name), cut) for name in ("findings", "missing"))
    found = {
        "version": VERSION_IF_CUT if cut else VERSION,
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
        "findings": [vars(each) for each in findings],
        "missing": [vars(each) for each in missing],
        "audit": _audited(month.audit, month.audit_is_stale),
        **({"cut": cut} if cut else {}),
        "tables": tables,
    }
    yield "{"
    yield from _members(found)
    yield "\n}\n"


def _tables(month: Month, named: Collection[tuple[str, int]]) -> tuple[dict[str, list[Row]], dict[str, Data]]:
    """Return the rows of each table that are kept, and of each that is cut how many there are and which of them are
    kept. What nothing else lists is never cut.
    """
    tables, cut = {}, {}
    for name, rows in sorted(month.tables.items()):
        if len(rows) > ROWS_KEPT and not month.of_span:
            held = rows_to_hold(name, len(rows), {at for table, at in named if table == name})
            cut[name] = _cut(len(rows), held)
            tables[name] = [rows[at] for at in held]
        else:
            tables[name] = [*rows]
    return tables, cut


def _some(name: str, found: Sequence[Finding], cut: dict[str, Data]) -> Sequence[Finding]:
    """Return the findings that are kept; where they are not all, `cut` says so."""
    if len(found) <= ROWS_KEPT:
        return found
    held = findings_to_hold(found)
    cut[name] = _cut(len(found), held)
    return [found[at] for at in held]


def _cut(whole: int, held: Sequence[int]) -> Data:
    return {"rows": whole, "kept": runs(held)}


def _rows_named(says: Iterable[Statement]) -> Iterator[tuple[str, int]]:
    """The rows that figures are cells of, each by its table and number."""
    for place in (place for each in says for figure in each.figures for place in figure.inputs):
        table, row, _ = place.split("/")
        if row != "*":
            yield table, int(row)


def _rows_drawn(charts: Iterable[tuple[str, Chart]]) -> Iterator[tuple[str, int]]:
    """The rows that are drawn, each by its table and number."""
    for row in (row_drawn(chart.table, point) for _, chart in charts for point in chart.rows):
        if row:
            yield row


def _rows_shown(shown: Iterable[Section]) -> list[tuple[str, int]]:
    """The rows of the page's tables, each by its result table and number."""
    return [(each.source, at) for section in shown for each in section.tables for at in each.numbers]


def _members(found: Mapping[str, object]) -> Iterator[str]:
    """The members of an object, a line each; of lists in it a line for each entry: they are long on a large farm, and
    the encoder that indents is much slower.
    """
    for at, (name, value) in enumerate(found.items()):
        yield f"{',' if at else ''}\n{in_json(name)}: "
        yield from _lines(value)


def _lines(value: object) -> Iterator[str]:
    if isinstance(value, list) and value:
        yield "[\n"
        yield ",\n".join(json_lines(value))
        yield "\n]"
    elif isinstance(value, dict) and any(isinstance(each, list) for each in value.values()):
        yield "{"
        yield from _members(value)
        yield "\n}"
    else:
        yield in_json(value)


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


def _charts(month: Month, shown: Iterable[Section]) -> list[tuple[str, Chart]]:
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
