"""How a comparison is shown: two tables that fit the screen, and sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

import typer

from pipeline.cli.group_screen import TOGETHER
from pipeline.cli.show import Column, notify, print_sentences, print_table
from schemas.answers import Worth, answered
from schemas.confidence import LEVEL, percent
from schemas.phrases import ONE_OVEN_TEST, counted, listed, no_batch

if TYPE_CHECKING:
    from pipeline.compare.comparison import Comparison
    from pipeline.compare.overview import Overview
    from pipeline.models.compared_units import FarmUnits
    from pipeline.models.view import Row, Rows

MOST_PAIRS = 12  # in the table; where there are more, those without an interval are only counted
# In the table, so that the names of both levels have room.
SHORT = {Worth.NO_MATTER: "no matter"}
MOST_REFUSED = 5  # pairs without a verdict that are named one by one
MOST_GUESSED = 2  # soaks without a name that are told one by one


def show_all(found: Sequence[Overview], units: FarmUnits, measure: str) -> None:
    """Print what holds of every factor that varies; of what has no verdict, why."""
    if not len(units.rows):
        _notify_no_batch(units)
    elif not found:
        print_sentences(f"Nothing varies that has a figure, so there is nothing to compare.{_by_mass(units, measure)}")
    else:
        print_sentences(f"{found[0].measure}, as of {units.as_of}.", "")
        typer.echo("")
        _show_factors(found)
        held = [row["sentence"] for each in found for row in each.pairs if _answered(row)]
        typer.echo("")
        print_sentences(*(held or ["No difference holds yet. gillbook compare FACTOR says why, and what would help."]))
        _notify_money(units, measure)
        notify(
            f"Intervals of {percent(LEVEL)} that hold at all looks together, for what is looked at again and again. "
            "Of one factor asked for by name they hold for that look alone, and are narrower."
        )
        _notify_guessed_soaks(units)


def _answered(row: Row) -> bool:
    return answered(row["direction"], row["worth"])


def _show_factors(found: Sequence[Overview]) -> None:
    from pipeline.compare.verdicts import RULES

    rows = []
    for each in found:
        open_ = Counter(RULES[row["rules"].split()[0]].title for row in each.pairs if not _answered(row))
        why = ", ".join(f"{title} {count}" for title, count in open_.most_common())
        soaks = sum(row["soaks"] > 0 for row in each.levels)
        pairs = len(each.pairs)
        rows.append(
            {"factor": each.factor, "levels": soaks, "pairs": pairs, "clear": pairs - each.open_pairs, "why": why}
        )
    print_table(
        rows,
        [
            Column("factor", "factor"),
            Column("levels", "levels", 0),
            Column("pairs", "pairs", 0),
            Column("clear", "clear", 0),
            Column("why", "cannot tell, for"),
        ],
    )


def _notify_money(units: FarmUnits, measure: str) -> None:
    """Say what a margin holds, where one is compared."""
    from pipeline.compare.measures import MEASURES
    from pipeline.compare.money import money_text

    if MEASURES[measure].money:
        notify(money_text(MEASURES[measure], units))


def _notify_guessed_soaks(units: FarmUnits) -> None:
    """Say which batches count as one soak although nobody said so."""
    from pipeline.models.compared_units import guessed_soaks

    found = guessed_soaks(units.rows)
    for batches in found[:MOST_GUESSED]:
        notify(
            f"Batches {listed(batches)} have one recipe, one day and no soak name: they count as one soak. "
            "Write their soaks into batches.csv, one name or several: gillbook check has the rows."
        )
    if len(found) > MOST_GUESSED:
        notify(f"{counted(len(found) - MOST_GUESSED, 'more soak')} without a name: gillbook check has them.")


def _notify_no_batch(units: FarmUnits) -> None:
    notify(no_batch(units.as_of))


def show(answer: Comparison, levels_only: bool) -> None:
    """Print what each level gave, how far the pairs lie apart, and what may be said of them."""
    from pipeline.compare import tables
    from pipeline.compare import text as sentences

    if not len(answer.units.rows):
        _notify_no_batch(answer.units)
        return
    pairs = tables.pair_rows(answer)
    varies = f" It varies {_varies(answer)}." if pairs else ""
    print_sentences(f"{sentences.heading(answer)}, as of {answer.units.as_of}.{varies}", "")
    typer.echo("")
    rows = tables.level_rows(answer)
    if rows:
        _show_levels(rows, answer)
    if pairs and not levels_only:
        typer.echo("")
        _show_pairs(pairs, answer.query.measure.decimals)
        typer.echo("")
        if answer.trend:
            show_trend(answer)
        _print_pair_sentences(pairs)
    elif not levels_only:
        sooner = "--through-flush 1" if answer.units.to_day is None else "an earlier --to-day"
        print_sentences(_nothing_to_compare(rows, sooner) + _by_mass(answer.units, answer.query.measure.name))
    _notify_notes(answer, rows)


def show_trend(answer: Comparison) -> None:
    """Print what ordered amounts together say, or that there is no trend to test."""
    from pipeline.compare.trend import trend_sentence

    if answer.trend is None:
        print_sentences("No trend to test: it takes three different amounts of an ordered factor, like spawn_rate.")
    else:
        print_sentences(trend_sentence(answer.trend, answer.query))


def _varies(answer: Comparison) -> str:
    return "between soaks and within them" if answer.varies == "both" else answer.varies


def _show_levels(rows: Rows, answer: Comparison) -> None:
    measure = answer.query.measure
    called, decimals = "share" if measure.by_day else measure.name, measure.decimals
    print_table(
        rows,
        [
            Column("level", answer.query.factor),
            Column("soaks", "soaks", 0),
            Column("batches", "batches", 0),
            Column("units", "con-\ntainers", 0),
            Column("soaks_not_yet", "soaks\nnot yet", 0),
            Column("units_not_yet", "con-\ntainers\nnot yet", 0),
            Column("estimate", f"{called}\n{rows[0]['unit']}", decimals),
            Column("low", f"{percent(LEVEL)}\nfrom", decimals),
            Column("high", f"{percent(LEVEL)}\nto", decimals),
        ],
    )


def _show_pairs(rows: Rows, decimals: int) -> None:
    unit = rows[0]["unit"]
    if len(rows) > MOST_PAIRS:
        rows = [row for row in rows if row["low"] is not None] or rows[:MOST_PAIRS]
    print_table(
        [{**row, "shown_p": shown_p(row["p"]), "shown": SHORT.get(row["verdict"], row["verdict"])} for row in rows],
        [
            Column("level", "level"),
            Column("against", "against"),
            Column("soaks_split", "split\nsoaks", 0),
            Column("difference", f"more by\n{unit}", decimals),
            Column("low", f"{percent(LEVEL)}\nfrom", decimals),
            Column("high", f"{percent(LEVEL)}\nto", decimals),
            Column("shown_p", "p", whole=True),
            Column("minimum_detectable", "could\nshow", decimals),
            Column("shown", "verdict", whole=True),
        ],
    )


def shown_p(p: float | None) -> str | None:
    """Return a p as a table shows it, with three digits at most; None for none."""
    if p is None:
        return None
    return "<.001" if p < 0.001 else f"{p:.3f}".lstrip("0") if p < 1 else "1"


def _print_pair_sentences(rows: Rows) -> None:
    """Print what holds first, then the pairs without a verdict: those nearest to one first."""
    settled = [row for row in rows if _answered(row)]
    open_ = [row for row in rows if not _answered(row)]
    open_.sort(key=lambda row: row["rules"].split()[0] not in ("R7", "R8"))
    for row in [*settled, *open_[:MOST_REFUSED]]:
        print_sentences(row["sentence"])
    rest = Counter(row["rules"].split()[0] for row in open_[MOST_REFUSED:])
    if rest:
        rules = ", ".join(f"{rule} {count}" for rule, count in sorted(rest.items()))
        print_sentences(
            f"{counted(rest.total(), 'more pair')} without a verdict (by rule: {rules}). "
            "--against LEVEL or --json says why."
        )


def _containers(count: int, one: str, many: str) -> str:
    return f"{counted(count, 'container')} {one if count == 1 else many}"


def _nothing_to_compare(rows: Rows, sooner: str) -> str:
    measured = [row["level"] for row in rows if row["soaks"]]
    waiting = sum(row["soaks_not_yet"] for row in rows)
    are = f"{counted(waiting, 'soak')} {'is' if waiting == 1 else 'are'}"
    young = f" {are} not that far yet: try {sooner}." if waiting else ""
    if not measured:
        return f"No level has a figure, so there is nothing to compare.{young}"
    return f"Only {measured[0]} has a figure, so there is nothing to compare.{young}"


def _by_mass(units: FarmUnits, measure: str) -> str:
    """What a farm without a dry mass can do: compare mass per container, and make one oven test."""
    if measure != "be" or (units.rows.parts[measure].under > 0).any():
        return ""
    return f" No dry mass is written down, so there is no BE. --measure kg compares kg per container. {ONE_OVEN_TEST}"


def _notify_notes(answer: Comparison, rows: Rows) -> None:
    from pipeline.compare.comparison import not_yet
    from pipeline.compare.wording import still_running

    measure = answer.query.measure
    notify(
        f"As of {answer.units.as_of}. Each soak counts once at a level: containers of one soak share its fate. "
        "not yet: left out, "
        f"{not_yet(measure, answer.units)}. could show: what these soaks would show in 4 of 5 farms. "
        f"{TOGETHER}"
    )
    without = sum(row["units_without"] for row in rows)
    if without:
        notify(f"{_containers(without, 'adds', 'add')} nothing: {measure.without}.")
    _notify_money(answer.units, measure.name)
    if answer.sizes:
        from pipeline.compare.per_container import sizes_text

        notify(sizes_text(answer.sizes))
    if answer.units_without_level:
        left_out = _containers(answer.units_without_level, "has", "have")
        notify(f"{left_out} no {answer.query.factor} written down: left out.")
    if any(each.leaning for each in answer.pairs if not each.judgement.answered):
        from pipeline.compare.leaning import prior_text

        notify(f"How the records lean is a guess, no evidence. Before the records: {prior_text()}.")
    if running := still_running(cell for level in answer.levels for cell in level.partly):
        notify(f"{running[0].upper()}{running[1:]}.")
    for why in dict.fromkeys(answer.unsure.values()):
        unsure = [level for level, own in answer.unsure.items() if own == why]
        notify(f"No figure for {listed(unsure)}: {why}.")
    if answer.bases:
        notify(f"Dry mass was found in several ways ({', '.join(answer.bases)}): BE of them does not compare well.")
    if answer.pairs:
        notify(
            "Looking again after every batch raises false alarms: from 5 to 6 % at the second look, to 12 % by the "
            "sixth. Decide beforehand when to look."
        )
    _notify_guessed_soaks(answer.units)
