"""The result tables of a comparison: one row per level, one row per pair."""

from __future__ import annotations

from pipeline.compare.comparison import Comparison, PairResult
from pipeline.compare.factors import unit_of
from pipeline.compare.leaning import chance_said, prior_text
from pipeline.compare.pairs import LEAST_FOR_AN_INTERVAL, Level
from pipeline.compare.text import also_differed, by_label, pair_sentence, verdict_text, within_text
from pipeline.compare.trend import trend_sentence
from pipeline.models.view import Row, Rows
from pipeline.stats.estimate import Limits
from pipeline.stats.proportions import share_limits
from pipeline.stats.sums import total


def level_rows(comparison: Comparison) -> Rows:
    """Return one record per level, with the columns of the `compared_levels` contract."""
    return [_level_row(level, comparison) for level in comparison.levels]


def _level_row(level: Level, comparison: Comparison) -> Row:
    measure = comparison.query.measure
    low, high = _limits(level, comparison) or (None, None)
    table, at = level.used.table, level.used.at
    under = total(table.under[at])
    return {
        "factor": comparison.query.factor,
        "measure": measure.name,
        "level": level.name,
        "soaks": len(level.used),
        "batches": table.batches.different(at),
        "units": int(table.units[at].sum()),
        "units_without": int(table.units_without[at].sum()),
        "soaks_not_yet": len(level.waiting),
        "units_not_yet": sum(int(each.table.units_not_yet[each.at].sum()) for each in (level.waiting, level.used)),
        "estimate": level.estimate.value if level.estimate else None,
        "low": low,
        "high": high,
        "of_sums": measure.scale * total(table.over[at]) / under if under else None,
        "unit": "%" if measure.unit == "points" else measure.unit,
        "why_no_figure": comparison.unsure.get(level.name),
    }


def _limits(level: Level, comparison: Comparison) -> Limits | None:
    if level.estimate is None or len(level.used) < LEAST_FOR_AN_INTERVAL:
        return None
    limits = level.estimate.limits()
    if comparison.query.measure.share:
        return share_limits(level.used.values.tolist(), limits)
    return limits if limits is None or comparison.query.measure.money else (max(0.0, limits[0]), limits[1])


def pair_rows(comparison: Comparison) -> Rows:
    """Return one record per pair, with the columns of the `compared_pairs` contract."""
    return [_pair_row(each, comparison) for each in comparison.pairs]


def _pair_row(result: PairResult, comparison: Comparison) -> Row:
    pair, stopped = result.pair, result.judgement.stopped
    low, high = pair.limits or (None, None)
    estimate = pair.estimate
    rules = dict.fromkeys(each.rule for each in result.judgement.reasons)
    return {
        "factor": comparison.query.factor,
        "measure": comparison.query.measure.name,
        "level": pair.level,
        "against": pair.against,
        "varies": pair.varies.value,
        "soaks": len(pair.first),
        "soaks_against": len(pair.second),
        "soaks_split": pair.split,
        "difference": estimate.value,
        "standard_error": estimate.standard_error if pair.has_interval else None,
        "degrees_of_freedom": estimate.degrees if pair.has_interval else None,
        "low": low,
        "high": high,
        "p": pair.p,
        "minimum_detectable": pair.minimum_detectable,
        "smallest_effect": comparison.smallest_effect,
        "unit": comparison.query.measure.unit,
        "permutation_p": pair.permutation.evidence if pair.permutation else None,
        "permutation_floor": pair.permutation.floor if pair.permutation else None,
        "direction": result.judgement.direction.value,
        "worth": result.judgement.worth.value,
        "verdict": verdict_text(result),
        **_leaning(result, comparison),
        "rules": " ".join(rules) or None,
        "reason": ". ".join(each.reason for each in stopped) or None,
        "next_step": ". ".join(each.next_step for each in stopped) or None,
        "held_equal": ", ".join(pair.adjusted) or None,
        "by_label": "; ".join(by_label(each, comparison.query.measure) for each in result.interplays) or None,
        "differs_by": ", ".join(each.factor for each in result.interplays if each.differs) or None,
        "also_differed": "; ".join(also_differed(each, result) for each in result.differing) or None,
        "held_alike": "; ".join(within_text(stratum.within) for stratum in result.strata) or None,
        "sentence": pair_sentence(result, comparison),
    }


def _leaning(result: PairResult, comparison: Comparison) -> Row:
    found, money = result.leaning, comparison.money_a_point
    return {
        "chance_more": chance_said(result.pair, found) if found else None,
        "expected_loss": found.expected_loss if found else None,
        "expected_loss_money": money * found.expected_loss if found and money is not None else None,
        "prior": prior_text() if found else None,
    }


def trend_rows(comparison: Comparison) -> Rows:
    """Return the trend over ordered amounts as one record, with the columns of the `compared_trends` contract; none
    where there is no trend to test.
    """
    found = comparison.trend
    if found is None:
        return []
    low, high = found.estimate.limits() or (None, None)
    return [
        {
            "factor": found.factor,
            "measure": comparison.query.measure.name,
            "slope": found.estimate.value,
            "standard_error": found.estimate.standard_error,
            "degrees_of_freedom": found.estimate.degrees,
            "low": low,
            "high": high,
            "p": found.estimate.p,
            "shown": found.is_shown,
            "lowest": found.lowest,
            "highest": found.highest,
            "soaks": found.soaks,
            "unit": f"{comparison.query.measure.unit} per {unit_of(found.factor)}",
            "held_equal": ", ".join(found.adjusted) or None,
            "sentence": trend_sentence(found, comparison.query),
        }
    ]
