"""What a comparison over several sites says: one row per pair, and sentences that a grower can act on."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from pipeline.compare import wording as words
from pipeline.compare.adjusted import alike_text
from pipeline.compare.factors import title
from pipeline.compare.sites import SitesComparison, SitesPair
from pipeline.models.view import Row, Rows
from schemas.answers import Direction, Worth
from schemas.phrases import counted, listed

MOST_SITES = 4  # sites named one by one in a sentence; the table has them all


def sites_rows(found: SitesComparison) -> Rows:
    """Return one record per pair, with the columns of the `compared_sites` contract."""
    return [_row(each, found) for each in found.pairs]


def _row(each: SitesPair, found: SitesComparison) -> Row:
    pair, apart, judgement = each.pair, each.agreement, each.judgement
    low, high = (pair.limits or (None, None)) if pair else (None, None)
    estimate = pair.estimate if pair else None
    return {
        "factor": found.query.factor,
        "measure": found.query.measure.name,
        "level": each.level,
        "against": each.against,
        "sites": len(each.both),
        "sites_with_both": ", ".join(each.both) or None,
        "sites_level_alone": ", ".join(each.alone[each.level]) or None,
        "sites_against_alone": ", ".join(each.alone[each.against]) or None,
        "sites_without_figures": ", ".join(each.blank) or None,
        "soaks": len(pair.first) if pair else 0,
        "soaks_against": len(pair.second) if pair else 0,
        "soaks_split": pair.split if pair else 0,
        "difference": estimate.value if estimate else None,
        "standard_error": estimate.standard_error if estimate else None,
        "degrees_of_freedom": estimate.degrees if estimate else None,
        "low": low,
        "high": high,
        "p": pair.p if pair else None,
        "smallest_effect": found.smallest_effects[1],
        "unit": found.query.measure.unit,
        "by_site": _by_site(each, found) or None,
        "sites_looked_at": apart.count if apart else 0,
        "sites_f": apart.f if apart else None,
        "sites_p": apart.p if apart else None,
        "direction": judgement.direction.value,
        "worth": judgement.worth.value,
        "verdict": sites_verdict(each),
        "rules": " ".join(dict.fromkeys(reason.rule for reason in judgement.reasons)) or None,
        "reason": ". ".join(reason.reason for reason in judgement.stopped) or None,
        "next_step": ". ".join(reason.next_step for reason in judgement.stopped) or None,
        "held_equal": ", ".join(pair.adjusted) or None if pair else None,
        "sentence": sites_sentence(each, found),
    }


def sites_verdict(each: SitesPair) -> str:
    """Return both answers of a pair in a few words, as a table shows them."""
    judgement = each.judgement
    if judgement.worth is Worth.NO_MATTER:
        return judgement.worth.value
    if judgement.direction.is_shown:
        return (
            f"{judgement.direction.value}, {'and worth it' if judgement.worth is Worth.WORTH_IT else 'worth it or not'}"
        )
    return "sites differ" if any(reason.rule == "S2" for reason in judgement.reasons) else judgement.direction.value


def sites_sentence(each: SitesPair, found: SitesComparison) -> str:
    """Return what may be said of this pair over the sites, what each says by itself, and which are left out."""
    parts = [_difference(each, found)] if each.judgement.answered else _cannot_tell(each)
    if each.both[1:]:
        parts += _of_each_site(each, found)
    left = [f"{listed(_some(sites))} ({level})" for level, sites in each.alone.items() if sites]
    if left:
        parts.append(f"Left out, for it has figures of one of the two alone: {', '.join(left)}.")
    if each.blank:
        parts.append(f"Left out, for it has no figure of either yet: {listed(_some(each.blank))}.")
    if each.pair:
        young = [reason for reason in each.judgement.reasons if reason.rule == "R8" and not reason.stops]
        parts += [f"{reason.reason[0].upper()}{reason.reason[1:]}." for reason in young]
    if not each.judgement.answered:
        parts += [f"{reason.next_step}." for reason in each.judgement.stopped[:1]]
    return " ".join(parts)


def _cannot_tell(each: SitesPair) -> list[str]:
    stopped = each.judgement.stopped
    over = f" over {counted(len(each.both), 'site')}" if each.both[1:] else ""
    parts = [f"{each.level} against {each.against}{over}: cannot tell."]
    parts += [f"{reason.reason[0].upper()}{reason.reason[1:]}." for reason in stopped[:1]]
    parts += [f"Also, {reason.reason}." for reason in stopped[1:2]]
    return parts


def _difference(each: SitesPair, found: SitesComparison) -> str:
    pair, measure, judgement = each.pair, found.query.measure, each.judgement
    assert pair is not None, "a pair that fewer than two sites hold has no answer"
    low, high = pair.limits or (0.0, 0.0)
    said = partial(words.number, decimals=measure.decimals)
    sites = f"over {len(each.both)} sites"
    alike = f"With {alike_text(pair)} alike, " if pair.adjusted else ""
    if not judgement.direction.is_shown:
        return (
            f"{alike}{pair.level} and {pair.against} {sites}: {judgement.worth.value}. It lies between {said(low)} and "
            f"{said(high, measure.unit)}, within the {found.smallest_effects[0]:g} {measure.unit} that count: choose "
            "by cost and work."
        )
    more = judgement.direction is Direction.MORE
    near, far = (low, high) if more else (-high, -low)
    better = pair.level if more != measure.less_is_better else pair.against
    return (
        f"{alike}{pair.level} {measure.more if more else measure.less} {pair.against} {sites}: by {said(near)} to "
        f"{said(far, measure.unit)}, about {said(abs(pair.estimate.value))}. {_worth(each, found, better)}"
    )


def _worth(each: SitesPair, found: SitesComparison, better: str) -> str:
    smallest, largest = (f"{effect:g} {found.query.measure.unit}" for effect in found.smallest_effects)
    match each.judgement.worth:
        case Worth.WORTH_IT:
            return f"Even the near end counts ({largest} or more): take {better}."
        case Worth.NO_MATTER:
            return f"Even the far end is less than the {smallest} that count, so choose by cost and work."
        case _:
            return f"Whether by {largest} is open: take {better} where it costs no more."


def _of_each_site(each: SitesPair, found: SitesComparison) -> list[str]:
    apart, judgement = each.agreement, each.judgement
    values = _by_site(each, found, MOST_SITES)
    if apart is None:
        said = [f"By site: {values}; whether they differ in it so few soaks on each cannot tell."]
    elif not apart.differ:
        said = [f"By site: {values}; they differ by no more than chance would have it."]
    else:
        said = [f"But the sites differ in it, more than by chance: {values}."]
        if judgement.answered:
            said.append("It is of them together: for one of them its own answer counts.")
    alone = [site for site, own in each.own.items() if own.direction.is_shown]
    if alone and not judgement.answered:
        said.append(f"By itself {listed(_some(alone))} {'shows' if len(alone) == 1 else 'show'} a difference.")
    return said


def _by_site(each: SitesPair, found: SitesComparison, most: int | None = None) -> str:
    """The difference on each site, of more than `most` sites those that lie furthest out."""
    said = partial(words.number, decimals=found.query.measure.decimals)
    values = {site: own.estimate.value for site, own in each.own.items()}
    if most is None or len(values) <= most:
        return ", ".join(f"{site} {said(value)}" for site, value in values.items())
    low, high = min(values, key=values.__getitem__), max(values, key=values.__getitem__)
    return f"from {said(values[low])} ({low}) to {said(values[high])} ({high})"


def _some(sites: Sequence[str]) -> list[str]:
    more = len(sites) - MOST_SITES
    return [*sites[:MOST_SITES], f"{more} more"] if more > 0 else list(sites)


def near_text(found: SitesComparison) -> str:
    """Return which levels are written in several ways, and so count as several; empty where none is."""
    said = [f"{each.usual}, and on {listed(_some(each.sites))} {each.other}" for each in found.near]
    if not said:
        return ""
    return (
        f"Written in several ways, and so held apart: {'; '.join(said)}. Where that is one thing, join it in farm.toml "
        f"there, under [words.{found.query.factor}]; gillbook check has the line where one farm writes both."
    )


def sites_heading(found: SitesComparison) -> str:
    """Return what is compared over which sites, as one sentence."""
    return (
        f"Over {counted(len(found.sites), 'site')}, each difference taken within its site: {found.heading}, as of "
        f"{found.as_of}."
    )


def sites_note(found: SitesComparison) -> str:
    """Return what an answer over sites rests on, and how far it reaches."""
    return (
        "Over all sites: what one farm gives more than another is in no difference, and each site weighs by its soaks. "
        f"It holds for these sites together; on another farm the {title(found.query.factor)} may do otherwise."
    )
