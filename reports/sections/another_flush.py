"""Whether another flush is worth the room: a day of waiting against a day of a container begun anew."""

from __future__ import annotations

from reports.by_substrate import NAMED, reasons, substrate_name
from reports.columns import Limited, View
from reports.drawing import LANES_A_CHART, Chart, LaneLabel, some_of
from reports.figures import Part, Sentence, cell, within
from reports.interval_chart import interval_chart, interval_facts
from reports.month import Month
from reports.section import Section, made
from reports.tables import table
from reports.words import isolated, spoken
from schemas.answers import WaitAnswer
from schemas.result_rows import text_of

ANOTHER_FLUSH = View(
    "another_flush",
    (
        "substrate",
        "flush",
        "soaks",
        "units_waited",
        "units_not_held",
        "gave_pct",
        "wait_days",
        "wait_g",
        Limited("wait_g_per_day", "wait_g_per_day_low", "wait_g_per_day_high"),
        Limited("new_g_per_day", "new_g_per_day_low", "new_g_per_day_high"),
        Limited("difference_g_per_day", "difference_g_per_day_low", "difference_g_per_day_high"),
        Limited("wait_money_per_day", "wait_money_per_day_low", "wait_money_per_day_high"),
        Limited("new_money_per_day", "new_money_per_day_low", "new_money_per_day_high"),
        Limited("difference_money_per_day", "difference_money_per_day_low", "difference_money_per_day_high"),
        "answer",
        "why",
    ),
    if_known=(
        "wait_money_per_day",
        "new_money_per_day",
        "difference_money_per_day",
        "why",
    ),
)
VIEWS = (ANOTHER_FLUSH,)

LONGEST_CURRENCY = 20  # letters that a phone has room for below the chart


def sentence(month: Month) -> Sentence:
    """Return where another flush is worth the room, or that it cannot be decided yet."""
    rows = month.rows("another_flush")
    if not rows:
        return ("No second flush was picked yet, so nothing shows what waiting for one brings.",)
    decided = [at for at, row in enumerate(rows) if row["answer"] != WaitAnswer.CANNOT_TELL]
    if not decided:
        return ("Whether another flush is worth the room cannot be decided yet.",)
    parts: list[Part] = []
    for place, at in enumerate(decided[:NAMED]):
        start = "On " if not place else ". On "
        parts += [start, substrate_name(month, "another_flush", at), " waiting for flush "]
        parts += [cell(month, "another_flush", at, "flush"), *_worth(month, at)]
    in_money = any(rows[at]["difference_money_per_day"] is not None for at in decided[:NAMED])
    return (*parts, f". Money is in {_currency(month)}." if in_money else ".")


def _currency(month: Month) -> str:
    return month.currency or "the farm's currency"


def _short(currency: str) -> str:
    """Return the name of a currency so short that it has room below a chart."""
    return currency if len(currency) <= LONGEST_CURRENCY else f"{currency[: LONGEST_CURRENCY - 1]}\u2026"


def _worth(month: Month, at: int) -> Sentence:
    row = month.rows("another_flush")[at]
    column = "difference_g_per_day" if row["difference_money_per_day"] is None else "difference_money_per_day"
    unit = " g a container-day" if column == "difference_g_per_day" else " a container-day"
    answer = " pays" if row["answer"] == WaitAnswer.WAIT else " does not pay"
    difference = cell(month, "another_flush", at, column)
    limits = within(month, "another_flush", at, f"{column}_low", f"{column}_high")
    return (f"{answer}: against one begun anew it brings ", difference, *limits, unit)


def notes(month: Month) -> list[Sentence]:
    """Return for which rooms it holds, and why it cannot be decided for others."""
    rows = month.rows("another_flush")
    if not rows:
        return []
    return [
        *reasons(month, "another_flush", "why", "Cannot tell for "),
        (
            "It holds for a full room: where places stand empty, waiting costs nothing. "
            "Waiting: what a container kept for the flush gives for each day that it stands. "
            "Anew: what a new one gives, kept to the end of the flush before.",
        ),
    ]


def waiting_chart(month: Month) -> list[Chart]:
    """Return the chart of what a day of waiting for a flush brings, less a day of a container begun anew."""
    table = month.rows("another_flush")
    money = any(row["difference_money_per_day"] is not None for row in table)
    column = "difference_money_per_day" if money else "difference_g_per_day"
    columns = (column, f"{column}_low", f"{column}_high")
    known = [at for at, row in enumerate(table) if row[column] is not None]
    shown = known[:LANES_A_CHART]
    names = [
        f"{isolated(spoken('substrate', text_of(table[at], 'substrate')))}, flush {table[at]['flush']}" for at in shown
    ]
    facts = [interval_facts(month, "another_flush", at, *columns) for at in shown]
    labels = [LaneLabel(*both) for both in zip(names, facts, strict=True)]
    part = some_of(len(shown), len(known), "flushes of substrates")
    unit = f"{_short(_currency(month)) if money else 'g'} a container-day"
    title = f"Waiting less beginning anew, {unit}"
    return interval_chart(month, "another_flush", "waiting", title, shown, columns, labels, None, part, unit)


def section(month: Month) -> Section:
    """Return this section of the report of a month."""
    return made(
        "waiting",
        "Is another flush worth the room?",
        sentence(month),
        notes(month),
        waiting_chart(month),
        [table(month, ANOTHER_FLUSH, "A day of waiting for a flush against a day of a container begun anew")],
    )
