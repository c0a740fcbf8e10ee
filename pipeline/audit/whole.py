"""Whole tables: shares, medians and months, held against bands in print and the farm's own history. They only warn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from pipeline.audit.compiled import BETWEEN
from pipeline.audit.engine import verdicts
from pipeline.audit.expected import Expected, Tested
from schemas.audit import WholeRule, substrate_with_band, whole_rules
from schemas.audit_outcome import FaultyRow, Outcome
from schemas.contract import HARVESTS

if TYPE_CHECKING:
    import pandas as pd  # type: ignore[import-untyped]

    from pipeline.models.view import LedgerView

SHARE = "ExpectColumnProportionOfNonNullValuesToBeBetween"
MEDIAN = "ExpectColumnMedianToBeBetween"


def whole_outcomes(view: LedgerView) -> list[Outcome]:
    """Whole tables against their bands, as of the view's day: one outcome per rule. A rule of a substrate that the farm
    does not grow on is not among them.
    """
    import pandas as pd

    from pipeline.models import measures

    months = pd.DataFrame(measures.months(view))
    frames = {rule.table: view.frame(f"whole_{rule.table}") for rule in whole_rules() if rule.table != "months"}
    grown = {substrate_with_band(name) for (name,) in view.tuples("substrates")}
    outcomes = []
    for rule in whole_rules():
        if rule.kind == "each_month":
            outcomes.append(_each_month(rule, months))
        elif rule.kind == "history":
            outcomes.append(_history(rule, months, view.query.as_of))
        elif rule.substrate is None or rule.substrate in grown:
            outcomes.append(_within(rule, frames[rule.table]))
    return outcomes


def _outcome(rule: WholeRule, low: float | None, high: float | None, looked_at: int) -> Outcome:
    return Outcome(
        table=rule.table,
        column=rule.column,
        rule=rule.name,
        expectation=f"{rule.title}: {band(low, high, rule.unit)}",
        severity="warning",
        held=None,
        looked_at=looked_at,
        low=low,
        high=high,
        unit=rule.unit,
        source=rule.source,
        fix=rule.fix,
    )


def band(low: float | None, high: float | None, unit: str) -> str:
    """How does one say a band: "55 to 140 %"? Masses in g are told in kg."""
    shown = [None if end is None else shown_number(end, unit) for end in (low, high)]
    unit = "kg" if unit == "g" else unit
    if shown[0] is None or shown[1] is None:
        words = f"{shown[0]} or more" if shown[1] is None else f"{shown[1]} or less"
        return words.replace(" or", f" {unit} or") if unit else words
    return f"{shown[0]} to {shown[1]} {unit}".strip()


def shown_number(value: float, unit: str) -> str:
    """How is a number of this unit shown: 62, 81.3, and 12.35 (kg) for one in g?"""
    if unit == "g":
        return f"{value / 1000:.2f}"
    return f"{value:.1f}".removesuffix(".0")


def _too_few(rule: WholeRule, counted: int, batches: int | None = None) -> str:
    """Return why nothing is known yet. Empty when it can."""
    if counted < rule.fewest:
        return f"needs {rule.fewest} {rule.counted}, has {counted}"
    if batches is not None and batches < rule.fewest_batches:
        return f"needs {rule.counted} of {rule.fewest_batches} batches, has them of {batches}"
    return ""


def _within(rule: WholeRule, frame: pd.DataFrame) -> Outcome:
    """Return whether the share, or the median, is within its band."""
    if rule.substrate is not None:
        frame = frame[frame["substrate"].map(substrate_with_band) == rule.substrate]
    frame = frame.reset_index(drop=True)
    outcome = _outcome(rule, rule.low, rule.high, len(frame))
    too_few = _too_few(rule, len(frame), frame["batch"].nunique())
    if too_few:
        return replace(outcome, why_undecided=too_few)
    percent = 100 if rule.kind == "share" else 1
    limits = {"min_value": rule.low, "max_value": rule.high}
    limits = {end: limit / percent for end, limit in limits.items() if limit is not None}
    verdict = _ask(rule, SHARE if rule.kind == "share" else MEDIAN, frame, limits)
    observed = None if verdict.observed is None else verdict.observed * percent
    return replace(outcome, held=verdict.held, observed=observed)


def _ask(rule: WholeRule, test: str, frame: pd.DataFrame, arguments: Mapping[str, object]) -> Tested:
    given = {"column": rule.column, **arguments}
    return verdicts(frame, [Expected(rule.table, rule.column, rule.name, "warning", rule.title, test, given)])[0]


def _each_month(rule: WholeRule, months: pd.DataFrame) -> Outcome:
    """Return whether each month between the first and the last with pickings has any."""
    picked = months[months[rule.column] > 0] if len(months) else months
    between = months.loc[picked.index.min() : picked.index.max()] if len(picked) else months.iloc[:0]
    between = between.reset_index(drop=True)
    outcome = _outcome(rule, rule.low, rule.high, len(between))
    too_few = _too_few(rule, len(between))
    if too_few:
        return replace(outcome, why_undecided=too_few)
    verdict = _ask(rule, BETWEEN, between, {"min_value": rule.low})
    rows = tuple(FaultyRow(HARVESTS, 0, str(between["month"][at])) for at in verdict.faulty)
    return replace(outcome, held=verdict.held, faulty=len(rows), rows=rows)


def _history(rule: WholeRule, months: pd.DataFrame, as_of: date) -> Outcome:
    """Return whether the last month that is over is within what the farm's earlier months gave.

    Months in which there was nothing to measure are no history; nor are those before the first with any.
    """
    last = (as_of + timedelta(days=1)).replace(day=1) - timedelta(days=1)
    over = months[months["month"] <= f"{last:%Y-%m}"].reset_index(drop=True) if len(months) else months
    this = over[over["month"] == f"{last:%Y-%m}"].reset_index(drop=True) if len(over) else over
    earlier = over[(over["month"] < f"{last:%Y-%m}") & (over[rule.column] > 0)] if len(over) else over
    too_few = _too_few(rule, len(earlier))
    if not too_few and (this.empty or this[rule.column].isna().any()):
        too_few = f"nothing to measure in {last:%Y-%m}"
    if too_few:
        return replace(_outcome(rule, None, None, len(earlier)), expectation=_beside(rule), why_undecided=too_few)
    low, high = float(earlier[rule.column].min()) / rule.factor, float(earlier[rule.column].max()) * rule.factor
    verdict = _ask(rule, BETWEEN, this, {"min_value": low, "max_value": high})
    observed = float(this[rule.column][0])
    outcome = _outcome(rule, low, high, len(earlier))
    return replace(outcome, held=verdict.held, observed=observed, rows=(FaultyRow(HARVESTS, 0, f"{last:%Y-%m}"),))


def _beside(rule: WholeRule) -> str:
    return f"{rule.title}: within half the lowest and twice the highest of them"
