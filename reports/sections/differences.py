"""Whether differences hold: between levels of every factor that varies."""

from __future__ import annotations

from reports.columns import Limited, Merged, View
from reports.drawing import LANES_A_CHART, Chart, LaneLabel, some_of
from reports.figures import (
    LONGEST_NAME,
    NO_BREAK,
    Name,
    Sentence,
    cell,
    count,
    named,
    not_nothing,
    several,
    without_sign,
)
from reports.interval_chart import WIDEST, interval_chart, interval_facts
from reports.month import Month
from reports.section import Section, made, some_noted
from reports.tables import table, table_of
from reports.words import factor_name, isolated, spoken, visible
from schemas.answers import Direction, Worth
from schemas.confidence import LEVEL, percent
from schemas.result_rows import Row, number_of, text_of

PAIR = Merged("Level against level", ("level", "against"), between=" against ", spoken_as="factor")
COMPARED_PAIRS = View(
    "compared_pairs",
    (
        "factor",
        PAIR,
        "soaks",
        "soaks_against",
        "soaks_split",
        Limited("difference", "low", "high"),
        "minimum_detectable",
        "verdict",
    ),
)
PAIRS_DECIDED = View(
    "pairs_decided",
    (
        "measure",
        "factor",
        PAIR,
        Limited("difference", "low", "high"),
        "unit",
        "verdict",
        "sentence",
    ),
    table="compared_pairs",
)
COMPARED_LEVELS = View(
    "compared_levels",
    (
        "factor",
        "level",
        "soaks",
        "batches",
        "units",
        "units_without",
        "units_not_yet",
        Limited("estimate", "low", "high"),
        "of_sums",
    ),
)
TRIAL_SPREAD = View(
    "trial_spread",
    (
        "part",
        "variance_points2",
        "sd_points",
        "degrees",
        "planned_sd_points",
    ),
)
VIEWS = (
    COMPARED_PAIRS,
    PAIRS_DECIDED,
    COMPARED_LEVELS,
    TRIAL_SPREAD,
)

# Sentences above the table. Our choice, no source.
SENTENCES_SHOWN = 6
NEAREST_SHOWN = 2
LEANS = (Direction.LEANS_MORE, Direction.LEANS_LESS)
# measure: how the sentence names it, what the better level did, and the direction that makes the first level it
ABOUT = {
    "be": ("", "gave more than", Direction.MORE),
    "losses": (", losses", "lost less than", Direction.LESS),
    "days": (", days to pins", "had pins sooner than", Direction.LESS),
}
# Rules that no further soak of the same kind mends: what they stop is far from a verdict.
FAR = {"R1", "R2", "R3", "R4"}


def sentence(month: Month) -> Sentence:
    """Return how many differences in BE between recipes or containers can be judged."""
    pairs = count(month, "pairs_compared")
    if not pairs.value:
        return ("Nothing that has a BE varies yet, so there is no difference to show.",)
    decided = count(month, "pairs_decided")
    of: Sentence = (*several(pairs, "difference"), " in BE between recipes or containers can be judged")
    return ("None of ", *of, " yet.") if not decided.value else (decided, " of ", *of, ".")


def notes(month: Month) -> list[Sentence]:
    """Return in a short sentence each what the records show, and how they lean where they do."""
    rows = month.rows("compared_pairs")
    held = [at for at in range(len(rows)) if month.pair_is_decided(at)]
    leaning = [at for at in month.pairs("be") if rows[at]["direction"] in LEANS]
    leaning.sort(key=lambda at: -abs(number_of(rows[at], "chance_more") - 0.5))
    return [
        *(shown_pair(month, at) for at in held[:SENTENCES_SHOWN]),
        *some_noted(min(len(held), SENTENCES_SHOWN), len(held), "answers; the table has all"),
        *(_leans(month, at) for at in leaning[:NEAREST_SHOWN]),
    ]


def shown_pair(month: Month, at: int) -> Sentence:
    """Return what is shown of a pair: which level gave more, by how much, and whether that is worth acting on."""
    row = month.rows("compared_pairs")[at]
    about, did, _ = ABOUT[text_of(row, "measure")]
    start = f"{factor_name(text_of(row, 'factor')).capitalize()}{about}: "
    if not Direction(text_of(row, "direction")).is_shown:
        level, against = _ends(row)
        return (start, level, " and ", against, ": no difference that matters.")
    level, against = better_first(month, at)
    worth = ", and it is worth it" if row["worth"] == Worth.WORTH_IT else ""
    return (start, level, f" {did} ", against, *_by(month, at), f"{worth}.")


def better_first(month: Month, at: int) -> tuple[Name, Name]:
    """Return the levels of a pair, first that which did better."""
    row = month.rows("compared_pairs")[at]
    level, against = _ends(row)
    return (level, against) if row["direction"] == ABOUT[text_of(row, "measure")][2] else (against, level)


def _by(month: Month, at: int) -> Sentence:
    """Return by how much the levels of a pair differ, without sign, and its limits: " by 24.4 points (9.5 to 39.3)"."""
    row = month.rows("compared_pairs")[at]
    difference, *limits = (
        not_nothing(without_sign(cell(month, "compared_pairs", at, name))) for name in ("difference", "low", "high")
    )
    low, high = limits if number_of(row, "difference") > 0 else reversed(limits)
    return (" by ", difference, f" {text_of(row, 'unit')} (", low, " to ", high, ")")


def _leans(month: Month, at: int) -> Sentence:
    """Return to which level the records lean."""
    row = month.rows("compared_pairs")[at]
    level, against = _ends(row)
    if row["direction"] == Direction.LEANS_LESS:
        level, against = against, level
    factor = factor_name(text_of(row, "factor"))
    return (f"By {factor}, the records lean to ", level, " over ", against, ": a guess, no evidence.")


def _ends(row: Row) -> tuple[Name, Name]:
    factor = text_of(row, "factor")
    level, against = (spoken(factor, text_of(row, end)).replace(" %", f"{NO_BREAK}%") for end in ("level", "against"))
    return named(level), named(against)


def how(month: Month) -> list[Sentence]:
    """Return how soaks were held against each other."""
    if not month.rows("compared_pairs"):
        return []
    return [
        (
            "Containers of one soak share its fate: counted one by one they would show differences that are not there. "
            f"Intervals of {percent(LEVEL)} hold for all pairs of a factor and for all months together. "
            "So a page that is read every month raises no false alarms. BE is of the first two flushes.",
        ),
    ]


def _nearly_resolved(row: Row) -> bool:
    """Whether only the width of its interval stands between this pair and a verdict."""
    rules = set(text_of(row, "rules").split())
    return row["low"] is not None and not rules & FAR


def _width(row: Row) -> float:
    return abs(number_of(row, "high") - number_of(row, "low"))


def pairs_chart(month: Month, measure: str = "be", title: str = "Differences in BE, points") -> list[Chart]:
    """How far do levels lie apart, with intervals: what holds first, then what comes nearest to a verdict."""
    table = month.rows("compared_pairs")
    shown = [at for at in month.pairs(measure) if month.pair_is_decided(at) or _nearly_resolved(table[at])]
    shown = [at for at in shown if _width(table[at]) <= WIDEST]
    shown.sort(key=lambda at: (not month.pair_is_decided(at), _width(table[at])))
    part = some_of(min(len(shown), LANES_A_CHART), len(month.pairs(measure)), "pairs", by=", answered or nearest to it")
    shown = shown[:LANES_A_CHART]
    labels = [
        LaneLabel(_pair_name(month, at), interval_facts(month, "compared_pairs", at, "difference")) for at in shown
    ]
    worth = number_of(table[shown[0]], "smallest_effect") if shown else None
    return interval_chart(
        month, "compared_pairs", "differences", title, shown, ("difference", "low", "high"), labels, worth, part
    )


def _pair_name(month: Month, at: int) -> str:
    row = month.rows("compared_pairs")[at]
    levels = (isolated(_short(spoken(text_of(row, "factor"), text_of(row, end)))) for end in ("level", "against"))
    return f"{factor_name(text_of(row, 'factor'))}: {' vs '.join(levels)}"


def _short(text: str) -> str:
    """Return a text that fits on a line of a chart."""
    shown = visible(text)
    return shown if len(shown) <= LONGEST_NAME else f"{shown[: LONGEST_NAME - 1]}\u2026"


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    resolved = [at for at in range(len(month.rows("compared_pairs"))) if month.pair_is_decided(at)]
    return made(
        "holds",
        "What holds and what leans",
        sentence(month),
        notes(month),
        pairs_chart(month),
        [table_of(month, PAIRS_DECIDED, "What can be said, of BE, losses and days to pins", resolved)],
    )


def appendix(month: Month) -> Section:
    """Return every pair and what stands behind it, for the appendix."""
    pairs = count(month, "pairs_compared")
    return made(
        "pairs",
        "All that was compared",
        (*several(pairs, "pair"), " in BE, each soak once at a level.")
        if pairs.value
        else ("Nothing that has a BE varies yet.",),
        how(month),
        [],
        [
            table_of(month, COMPARED_PAIRS, "Every pair compared, in points of BE", month.pairs("be")),
            table_of(month, COMPARED_LEVELS, "What each level gave, BE in %", month.levels("be")),
            table(month, TRIAL_SPREAD, "How much soaks and containers differ in BE"),
        ],
    )
