"""How a comparison is shown: two tables that fit the screen, and sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import typer

from pipeline.cli.options import tell
from pipeline.cli.show import say

if TYPE_CHECKING:
    from pipeline.compare.comparison import Comparison
    from pipeline.compare.overview import Standing
    from pipeline.models.compared_units import FarmUnits

Rows = list[dict[str, Any]]

MOST_PAIRS = 12  # in the table; where there are more, those without an interval are only counted
# In the table, so that the names of both levels have room.
SHORT = {"no important difference": "no matter"}
MOST_REFUSED = 5  # pairs that cannot be told, told one by one


def show_all(found: Sequence[Standing], units: FarmUnits) -> None:
    """Prints what holds of every factor that varies; of what cannot be told, how to ask."""
    if not units.rows:
        _tell_no_batch(units)
    elif not found:
        say("Nothing varies that has a figure, so there is nothing to compare.")
    else:
        say(f"{found[0].measure}, as of {units.as_of}.", "")
        typer.echo("")
        _show_factors(found)
        held = [row["sentence"] for each in found for row in each.pairs if row["verdict"] != "cannot tell"]
        typer.echo("")
        say(*(held or ["No difference can be told yet. gillbook compare FACTOR tells why, and what would help."]))
        tell("Intervals of 99 %, for what is looked at again and again; of one factor asked for by name, of 95 %.")


def _show_factors(found: Sequence[Standing]) -> None:
    from pipeline.cli.show import Column, as_table
    from pipeline.compare.verdicts import RULES

    rows = []
    for each in found:
        open_ = Counter(RULES[row["rules"].split()[0]].title for row in each.pairs if row["verdict"] == "cannot tell")
        why = ", ".join(f"{title} {count}" for title, count in open_.most_common())
        soaks = sum(row["soaks"] > 0 for row in each.levels)
        pairs = len(each.pairs)
        rows.append(
            {"factor": each.factor, "levels": soaks, "pairs": pairs, "told": pairs - each.open_pairs, "why": why}
        )
    as_table(
        rows,
        [
            Column("factor", "factor"),
            Column("levels", "levels", 0),
            Column("pairs", "pairs", 0),
            Column("told", "told", 0),
            Column("why", "cannot tell, for"),
        ],
    )


def _tell_no_batch(units: FarmUnits) -> None:
    tell(f"No batch is loaded as of {units.as_of}. Fill in batches.csv, or mend it: gillbook check.")


def show(answer: Comparison, levels_only: bool) -> None:
    """Prints what each level gave, how far the pairs lie apart, and what may be said of them."""
    from pipeline.compare import tables
    from pipeline.compare import text as sentences

    if not answer.units.rows:
        _tell_no_batch(answer.units)
        return
    pairs = tables.pair_rows(answer)
    varies = f" It varies {_varies(answer)}." if pairs else ""
    say(f"{sentences.heading(answer)}, as of {answer.units.as_of}.{varies}", "")
    typer.echo("")
    rows = tables.level_rows(answer)
    if rows:
        _show_levels(rows, answer)
    if pairs and not levels_only:
        typer.echo("")
        _show_pairs(pairs)
        typer.echo("")
        _say_pairs(pairs)
    elif not levels_only:
        sooner = "--through-flush 1" if answer.units.to_day is None else "an earlier --to-day"
        say(_nothing_to_compare(rows, sooner))
    _tell_notes(answer, rows)


def _varies(answer: Comparison) -> str:
    return "between soaks and within them" if answer.varies == "both" else answer.varies


def _show_levels(rows: Rows, answer: Comparison) -> None:
    from pipeline.cli.show import Column, as_table

    called = "share" if answer.asked.measure.by_day else answer.asked.measure.name
    as_table(
        rows,
        [
            Column("level", answer.asked.factor),
            Column("soaks", "soaks", 0),
            Column("batches", "batches", 0),
            Column("units", "units", 0),
            Column("soaks_not_yet", "soaks\nnot yet", 0),
            Column("units_not_yet", "units\nnot yet", 0),
            Column("estimate", f"{called}\n{rows[0]['unit']}", 1),
            Column("low", "95 %\nfrom", 1),
            Column("high", "95 %\nto", 1),
        ],
    )


def _show_pairs(rows: Rows) -> None:
    from pipeline.cli.show import Column, as_table

    unit = rows[0]["unit"]
    if len(rows) > MOST_PAIRS:
        rows = [row for row in rows if row["low"] is not None] or rows[:MOST_PAIRS]
    as_table(
        [{**row, "shown_p": _p(row["p"]), "shown": SHORT.get(row["verdict"], row["verdict"])} for row in rows],
        [
            Column("level", "level"),
            Column("against", "against"),
            Column("soaks_split", "split\nsoaks", 0),
            Column("difference", f"more by\n{unit}", 1),
            Column("low", "95 %\nfrom", 1),
            Column("high", "95 %\nto", 1),
            Column("shown_p", "p", whole=True),
            Column("showable", "could\nshow", 1),
            Column("shown", "verdict", whole=True),
        ],
    )


def _p(p: float | None) -> str | None:
    if p is None:
        return None
    return "<.001" if p < 0.001 else f"{p:.3f}".lstrip("0") if p < 1 else "1"


def _say_pairs(rows: Rows) -> None:
    """Says what holds first, then what cannot be told: the pairs nearest to a verdict first."""
    told = [row for row in rows if row["verdict"] != "cannot tell"]
    open_ = [row for row in rows if row["verdict"] == "cannot tell"]
    open_.sort(key=lambda row: row["rules"].split()[0] not in ("R7", "R8"))
    for row in [*told, *open_[:MOST_REFUSED]]:
        say(row["sentence"])
    rest = Counter(row["rules"].split()[0] for row in open_[MOST_REFUSED:])
    if rest:
        listed = ", ".join(f"{rule} {count}" for rule, count in sorted(rest.items()))
        more = "1 more pair" if rest.total() == 1 else f"{rest.total()} more pairs"
        say(f"{more} cannot be told (by rule: {listed}). --against LEVEL or --json tells why.")


def _units(count: int, one: str, many: str) -> str:
    return f"1 unit {one}" if count == 1 else f"{count} units {many}"


def _nothing_to_compare(rows: Rows, sooner: str) -> str:
    told = [row["level"] for row in rows if row["soaks"]]
    waiting = sum(row["soaks_not_yet"] for row in rows)
    are = "1 soak is" if waiting == 1 else f"{waiting} soaks are"
    young = f" {are} not that far yet: try {sooner}." if waiting else ""
    if not told:
        return f"No level has a figure, so there is nothing to compare.{young}"
    return f"Only {told[0]} has a figure, so there is nothing to compare.{young}"


def _tell_notes(answer: Comparison, rows: Rows) -> None:
    from pipeline.compare.comparison import not_yet

    measure = answer.asked.measure
    tell(
        f"Each soak counts once at a level: containers of one soak share its fate. not yet: left out, "
        f"{not_yet(measure, answer.units)}. could show: what these soaks would show in 4 of 5 farms."
    )
    without = sum(row["units_without"] for row in rows)
    if without:
        tell(f"{_units(without, 'adds', 'add')} nothing: {measure.without}.")
    if answer.units_without_level:
        said = _units(answer.units_without_level, "has", "have")
        tell(f"{said} no {answer.asked.factor} written down: left out.")
    if answer.bases:
        tell(f"Dry mass was told in several ways ({', '.join(answer.bases)}): BE of them does not compare well.")
    if answer.pairs:
        tell(
            "Looking again after every batch raises false alarms: from 5 to 6 % at the second look, to 12 % by the "
            "sixth. Decide beforehand when to look."
        )
