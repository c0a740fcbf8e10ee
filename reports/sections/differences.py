"""Whether differences hold: between levels of every factor that varies."""

from __future__ import annotations

from collections.abc import Sequence

from reports.columns import Limited, Merged, View
from reports.drawing import LANES_A_CHART, Chart, LaneLabel, some_of
from reports.figures import LONGEST_NAME, Name, Sentence, count, several
from reports.interval_chart import interval_chart, interval_facts
from reports.month import Month
from reports.section import Section, made, some_noted
from reports.tables import table, table_of
from reports.words import isolated, spoken, visible
from schemas.answers import Direction
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
# Rules that no further soak of the same kind mends: what they stop is far from a verdict.
FAR = {"R1", "R2", "R3", "R4"}


def sentence(month: Month) -> Sentence:
    """Return how many differences in BE between recipes or containers can be judged."""
    pairs = count(month, "pairs_compared")
    if not pairs.value:
        return ("Nothing varies yet that has a BE, so there is no difference to show.",)
    decided = count(month, "pairs_decided")
    of: Sentence = (*several(pairs, "difference"), " in BE between recipes or containers can be judged")
    return ("None of ", *of, " yet.") if not decided.value else (decided, " of ", *of, ".")


def notes(month: Month) -> list[Sentence]:
    """Return what holds, what comes nearest to it, and how soaks were held against each other."""
    rows = month.rows("compared_pairs")
    if not rows:
        return []
    held = [at for at in range(len(rows)) if month.pair_is_decided(at)]
    near = [at for at in month.pairs("be") if not month.pair_is_decided(at) and _nearly_resolved(rows[at])]
    near.sort(key=lambda at: _width(rows[at]))
    return [
        *(_finding(rows[at]) for at in held[:SENTENCES_SHOWN]),
        *some_noted(min(len(held), SENTENCES_SHOWN), len(held), "answers; the table has all"),
        *(_finding(rows[at]) for at in near[:NEAREST_SHOWN]),
        (
            "Each soak counts once at a level: containers of one soak share its fate, and counting them one by one "
            "would find differences that are not there. "
            f"Intervals of {percent(LEVEL)} hold for all pairs of a factor and for all months together, so that a page "
            "that is read every month raises no false alarms. BE of the first two flushes.",
        ),
        *_prior([rows[at] for at in near[:NEAREST_SHOWN]]),
        ("gillbook compare FACTOR says of each pair why, and gillbook trial plans what would settle it.",),
    ]


def _prior(shown: Sequence[Row]) -> list[Sentence]:
    """What is held before the records are seen, where it is said how they lean."""
    leaning = [each for each in shown if each["direction"] in (Direction.LEANS_MORE, Direction.LEANS_LESS)]
    if not leaning:
        return []
    held = text_of(leaning[0], "prior")
    return [(f"How the records lean is a guess, no evidence. Before the records: {held}.",)]


def _nearly_resolved(row: Row) -> bool:
    """Whether only the width of its interval stands between this pair and a verdict."""
    rules = set(text_of(row, "rules").split())
    return row["low"] is not None and not rules & FAR


def _width(row: Row) -> float:
    return abs(number_of(row, "high") - number_of(row, "low"))


def _finding(row: Row) -> Sentence:
    about = "" if row["measure"] == "be" else f"{'Losses' if row['measure'] == 'losses' else 'Days to pins'}, "
    return (Name(f"{about}{text_of(row, 'factor').replace('_', ' ')}: {row['sentence']}"),)


def pairs_chart(month: Month) -> list[Chart]:
    """How far do levels lie apart in BE, with intervals: what holds first, then what comes nearest to a verdict."""
    table = month.rows("compared_pairs")
    shown = [at for at in month.pairs("be") if month.pair_is_decided(at) or _nearly_resolved(table[at])]
    shown.sort(key=lambda at: (not month.pair_is_decided(at), _width(table[at])))
    part = some_of(min(len(shown), LANES_A_CHART), len(month.pairs("be")), "pairs", by=", answered or nearest to it")
    shown = shown[:LANES_A_CHART]
    labels = [
        LaneLabel(_pair_name(month, at), interval_facts(month, "compared_pairs", at, "difference")) for at in shown
    ]
    worth = number_of(table[shown[0]], "smallest_effect") if shown else None
    title = "Differences in BE, points"
    return interval_chart(
        month, "compared_pairs", "differences", title, shown, ("difference", "low", "high"), labels, worth, part
    )


def _pair_name(month: Month, at: int) -> str:
    row = month.rows("compared_pairs")[at]
    levels = (isolated(_short(spoken(text_of(row, "factor"), text_of(row, end)))) for end in ("level", "against"))
    return f"{text_of(row, 'factor').replace('_', ' ')}: {' against '.join(levels)}"


def _short(text: str) -> str:
    """Return a text that fits on a line of a chart."""
    shown = visible(text)
    return shown if len(shown) <= LONGEST_NAME else f"{shown[: LONGEST_NAME - 1]}\u2026"


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    resolved = [at for at in range(len(month.rows("compared_pairs"))) if month.pair_is_decided(at)]
    return made(
        "holds",
        "Does the difference hold?",
        sentence(month),
        notes(month),
        pairs_chart(month),
        [
            table_of(month, PAIRS_DECIDED, "What can be said, of BE, losses and days to pins", resolved),
            table_of(month, COMPARED_PAIRS, "Every pair compared, in points of BE", month.pairs("be")),
            table_of(month, COMPARED_LEVELS, "What each level gave, BE in %", month.levels("be")),
            table(month, TRIAL_SPREAD, "How much soaks and containers differ in BE"),
        ],
    )
