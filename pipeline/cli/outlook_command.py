"""The command that looks ahead: outlook."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.cli.options import (
    AsOfOption,
    FarmOption,
    JsonOption,
    date_of,
    day,
    refreshed,
    tell,
    tell_set_aside,
    timed,
)
from pipeline.cli.options import the_farm as open_the_farm
from pipeline.cli.show import say
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from datetime import date

    from pipeline.cli.show import Column
    from pipeline.outlook.tables import Outlook, Wanted

Rows = list[dict[str, Any]]


class OutlookList(StrEnum):
    """Which list of the outlook is wanted."""

    weeks = "weeks"
    batches = "batches"
    past = "past"


def outlook(
    weeks: Annotated[int, typer.Option("--weeks", metavar="N", help="How many weeks ahead, from 1 to 26.")] = 8,
    need: Annotated[
        float | None, typer.Option("--need", metavar="KG", help="Tell the chance of so many kg. Wants --by.")
    ] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="DATE", help="The last day that counts for --need.")] = None,
    like: Annotated[
        str | None,
        typer.Option("--like", metavar="BATCH", help="For --need: more batches are like this one. Default: the last."),
    ] = None,
    only: Annotated[
        OutlookList, typer.Option("--list", help="weeks; the batches they come from; or the past: what it told before.")
    ] = OutlookList.weeks,
    as_of: AsOfOption = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Tell how many kg a week are to come, from what runs and from batches with a day of inoculation to come."""
    from pipeline.cli.show import as_json
    from pipeline.models.view import opened as open_ledger
    from pipeline.outlook.tables import outlook as measure

    told_on = day(as_of)
    wanted = _wanted(need, by, like)
    if wanted and only is not OutlookList.weeks:
        raise WrongRequest("--list tells the weeks, --need a chance: ask for one of them.")
    opened = open_the_farm(farm)
    done = refreshed(opened)
    with timed("outlook"), open_ledger(opened.ledger, opened.settings) as ledger:
        found = measure(ledger, told_on, weeks, wanted)
    rows = found.need if wanted else {"weeks": found.weeks, "batches": found.batches, "past": found.past}[only.value]
    if json:
        as_json(rows)
    elif not found.why_not:
        _show(wanted, only, rows)
    if found.why_not:
        tell(f"Cannot tell. {found.why_not}")
    elif not json:
        _tell_notes(told_on, found, only is OutlookList.weeks and not wanted)
    tell_set_aside(done)


def _wanted(need: float | None, by: str | None, like: str | None) -> Wanted | None:
    from pipeline.outlook.tables import Wanted

    if need is None:
        for option, given in (("--by", by), ("--like", like)):
            if given is not None:
                raise WrongRequest(f"{option} goes with --need: name how many kg, like --need 40 --by 2026-06-30.")
        return None
    if by is None:
        raise WrongRequest(f"--need {need:g}: by when? Add a day, like --by 2026-06-30.")
    return Wanted(need, date_of("--by", by), like)


def _show(wanted: Wanted | None, only: OutlookList, rows: Rows) -> None:
    from pipeline.cli.show import as_table

    if wanted:
        _show_need(wanted, rows)
    elif not rows:
        nothing = {"batches": "Nothing runs, and nothing is planned for these weeks.", "past": "No past days yet."}
        say(nothing[only.value])
    else:
        as_table([_in_words(row) for row in rows], _columns(only))


def _in_words(row: dict[str, Any]) -> dict[str, Any]:
    """The row with its bands as texts, like "12.1-15.0", and yes or no for what held."""
    ends = {name: (f"low{name}_kg", f"high{name}_kg") for name in ("50", "80")}
    told = {f"band{name}": f"{row[low]:.1f}-{row[high]:.1f}" for name, (low, high) in ends.items() if low in row}
    if "held_80" in row:
        told["held_80"] = "yes" if row["held_80"] else "no"
    return {**row, **told}


def _columns(only: OutlookList) -> list[Column]:
    from pipeline.cli.show import Column

    if only is OutlookList.batches:
        return [
            Column("batch", "batch"),
            Column("state", "state"),
            Column("inoculated_on", "inoculated", whole=True),
            Column("running_pct", "runs\n%", 0),
            Column("expected_kg", "expected\nkg", 2),
            Column("weeks_known", "weeks\ntold", 0),
            Column("donors", "past\nbatches", 0),
            Column("borrowed_from", "borrowed from"),
        ]
    if only is OutlookList.past:
        return [
            Column("foreseen_on", "told on", whole=True),
            Column("week", "week", 0),
            Column("first_day", "from", whole=True),
            Column("median_kg", "median\nkg", 1),
            Column("band50", "50 % band", whole=True),
            Column("band80", "80 % band", whole=True),
            Column("actual_kg", "came\nkg", 1),
            Column("held_80", "held"),
        ]
    return [
        Column("first_day", "week from", whole=True),
        Column("median_kg", "median\nkg", 1),
        Column("band50", "50 % band\nkg", whole=True),
        Column("band80", "80 % band\nkg", whole=True),
        Column("planned_kg", "planned\nkg", 1),
        Column("past_days", "past\ndays", 0),
        Column("past_held_80_pct", "80 %\nheld %", 0),
        Column("past_off_kg", "off by\nkg", 1),
    ]


def _percent(chance: float) -> str:
    """A chance that is drawn is never quite nothing or all."""
    if chance < 1:
        return "under 1 %"
    return "over 99 %" if chance > 99 else f"{chance:.0f} %"


def _show_need(wanted: Wanted, rows: Rows) -> None:
    now, last = rows[0], rows[-1]
    told = (
        f"{wanted.kg:g} kg by {wanted.by}: the chance is {_percent(now['chance_pct'])}. As it stands "
        f"{now['median_kg']:.1f} kg are to come by then (80 %: {now['low80_kg']:.1f} to {now['high80_kg']:.1f})."
    )
    say(told, _advice(now, last))


def _span(first: date, last: date) -> str:
    return f"on {first}" if first == last else f"from {first} to {last}"


def _advice(now: dict[str, Any], last: dict[str, Any]) -> str:
    if now["chance_pct"] >= 80:
        return "No further batch is needed for a chance of 80 %."
    if last["more_batches"] == 0:
        return (
            f"What more batches like {now['like_batch']} would give cannot be told: there is too little to borrow from."
        )
    number = last["more_batches"]
    batches = f"{number} more batch" if number == 1 else f"{number} more batches"
    if last["median_kg"] - now["median_kg"] < 0.005 * number:
        return f"A batch begun on {now['start_from']} or later comes too late for that day: so soon none gave any."
    if last["chance_pct"] < 80:
        return (
            f"Even {batches} like {now['like_batch']}, begun on {now['start_from']}, would make it "
            f"{_percent(last['chance_pct'])}: ask for a later day, or for less."
        )
    return (
        f"With {batches} like {now['like_batch']}, begun {_span(now['start_from'], last['start_by'])}, it is 80 % or "
        f"more (begun on {now['start_from']}: {_percent(last['chance_pct'])})."
    )


def _tell_notes(told_on: date, found: Outlook, of_weeks: bool) -> None:
    """Says what the figures rest on, and what they lack."""
    tell(f"As of {told_on}; the records reach back {found.history_weeks:.0f} weeks.")
    if of_weeks:
        tell(
            "In 8 of 10 cases a week lies within its 80 % band. planned: of the kg, from batches with a day of "
            f"inoculation to come, on average. past: the same, told on {found.past_days} days by what was known then."
        )
    if found.widened is None:
        takes = f"longer records (from {found.widened_from} on)"
        if found.widened_from and found.widened_from <= told_on:
            takes = "more past weeks with pickings"
        tell(
            f"The bands are not widened by how far they missed before: that takes {takes}. They are likely too narrow."
        )
    elif of_weeks:
        tell(f"The 80 % bands are widened {found.widened:.2f} times, so that they would have held on the past days.")
    for each in _lacking(found):
        tell(each)


def _lacking(found: Outlook) -> list[str]:
    """Which things make the figures less than they seem?"""
    told = []
    if not found.batches:
        told.append("Nothing runs, and no batch has a day of inoculation in these weeks.")
    if found.silent_since:
        told.append(
            f"The last picking entered is of {found.silent_since}. Are entries missing? Then this tells too little."
        )
    untold = max(row["batches_without_donors"] for row in found.weeks)
    counted = (
        (untold, "Batches in no figure, for fewer than 4 past ones are old enough to borrow from"),
        (found.undated, "Batches without a day of inoculation, from which nothing is borrowed"),
        (found.pickings_set_aside, "Pickings set aside, which the past lacks"),
    )
    return told + [f"{what}: {number}." for number, what in counted if number]
