"""The command that looks ahead: outlook."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.farm_access import open_the_farm, read_ledger
from pipeline.cli.money_ahead import worth_of_weeks
from pipeline.cli.options import ReadOptions, date_of, spread
from pipeline.cli.show import Column, notify, print_json, print_sentences, print_table
from schemas.finding import WrongRequest
from schemas.phrases import counted
from schemas.result_rows import Row, day_of, number_of, whole_of

if TYPE_CHECKING:
    from datetime import date

    from pipeline.outlook.tables import Outlook, Wanted


class OutlookList(StrEnum):
    """Which list of the outlook is wanted."""

    weeks = "weeks"
    batches = "batches"
    past = "past"


# The columns of each list on the screen.
COLUMNS = {
    OutlookList.weeks: (
        Column("first_day", "week from", whole=True),
        Column("median_kg", "median\nkg", 1),
        Column("band50", "50 % band\nkg", whole=True),
        Column("band80", "80 % band\nkg", whole=True),
        Column("planned_kg", "planned\nkg", 1),
        Column("held", "80 % band\nheld before"),
        Column("past_off_kg", "off by\nkg", 1),
    ),
    OutlookList.batches: (
        Column("batch", "batch"),
        Column("state", "state"),
        Column("inoculated_on", "inoculated", whole=True),
        Column("running_pct", "runs\n%", 0),
        Column("expected_kg", "expected\nkg", 2),
        Column("weeks_known", "weeks\nknown", 0),
        Column("donors", "past\nbatches", 0),
        Column("borrowed_from", "borrowed from"),
    ),
    OutlookList.past: (
        Column("foreseen_on", "as of", whole=True),
        Column("week", "week", 0),
        Column("first_day", "from", whole=True),
        Column("median_kg", "median\nkg", 1),
        Column("band50", "50 % band", whole=True),
        Column("band80", "80 % band", whole=True),
        Column("actual_kg", "came\nkg", 1),
        Column("held_80", "held"),
    ),
}


@dataclass(frozen=True)
class NeedOptions:
    """How many kg are needed, by when, and what could be begun for them."""

    need: Annotated[
        float | None, typer.Option("--need", metavar="KG", help="Tell the chance of so many kg. Wants --by.")
    ] = None
    by: Annotated[str | None, typer.Option("--by", metavar="DATE", help="The last day that counts for --need.")] = None
    like: Annotated[
        str | None,
        typer.Option("--like", metavar="BATCH", help="For --need: more batches are like this one. Default: the last."),
    ] = None

    def wanted(self) -> Wanted | None:
        """Return what is wanted, None for nothing. Raises WrongRequest where a part of it is missing."""
        from pipeline.outlook.tables import Wanted

        if self.need is None:
            for option, given in (("--by", self.by), ("--like", self.like)):
                if given is not None:
                    raise WrongRequest(f"{option} goes with --need: name how many kg, like --need 40 --by 2026-06-30.")
            return None
        if self.by is None:
            raise WrongRequest(f"--need {self.need:g}: by when? Add a day, like --by 2026-06-30.")
        return Wanted(self.need, date_of("--by", self.by, ahead=True), self.like)


@spread
def outlook(
    weeks: Annotated[int, typer.Option("--weeks", metavar="N", help="How many weeks ahead, from 1 to 26.")] = 8,
    *,
    needed: NeedOptions,
    only: Annotated[
        OutlookList, typer.Option("--list", help="weeks; the batches they come from; or the past: what it said before.")
    ] = OutlookList.weeks,
    read: ReadOptions,
) -> None:
    """Tell how many kg a week are to come, from what runs and from batches with a day of inoculation to come."""
    from pipeline.models.view import Query
    from pipeline.outlook.tables import outlook as measure

    as_of = read.day
    wanted = needed.wanted()
    if wanted and only is not OutlookList.weeks:
        raise WrongRequest("--list tells the weeks, --need a chance: ask for one of them.")
    with read_ledger(open_the_farm(read.farm), "outlook") as ledger:
        found = measure(ledger, as_of, weeks, wanted)
        lists = {"weeks": found.weeks, "batches": found.batches, "past": found.past}
        rows = found.need if wanted else lists[only.value]
        if read.json:
            print_json(rows)
        elif not found.why_not:
            _show(wanted, only, rows)
        if found.why_not:
            notify(f"Cannot tell. {found.why_not}")
        elif not read.json:
            of_weeks = only is OutlookList.weeks and not wanted
            worth = worth_of_weeks(ledger.view(Query(as_of)), found.weeks if of_weeks else ())
            _notify_basis(as_of, found, of_weeks, worth)


def _show(wanted: Wanted | None, only: OutlookList, rows: Sequence[Row]) -> None:
    if wanted:
        _show_need(wanted, rows)
    elif not rows:
        nothing = {"batches": "Nothing runs, and nothing is planned for these weeks.", "past": "No past days yet."}
        print_sentences(nothing[only.value])
    else:
        shown = [_in_words(row) for row in rows]
        print_table([*shown, *_in_all(rows, only)], COLUMNS[only])


def _in_words(row: Row, of: str = "") -> Row:
    """Return the row with its bands as texts, like "12.1-15.0", and how often they held, like "19 of 24"."""
    ends = {name: (f"{of}low{name}_kg", f"{of}high{name}_kg") for name in ("50", "80")}
    texts = {f"band{name}": f"{row[low]:.1f}-{row[high]:.1f}" for name, (low, high) in ends.items() if low in row}
    if f"{of}past_seen" in row:
        texts["held"] = _held(row, of)
    if "held_80" in row:
        texts["held_80"] = "yes" if row["held_80"] else "no"
    return {**row, **texts}


def _held(row: Row, of: str) -> str:
    seen = whole_of(row, f"{of}past_seen")
    if not seen:
        return "not yet"
    return f"{round(seen * number_of(row, f'{of}past_held_80_pct') / 100)} of {seen}"


def _in_all(rows: Sequence[Row], only: OutlookList) -> list[Row]:
    """Return the last line of the weeks: all of them together, where they are more than one."""
    if only is not OutlookList.weeks or len(rows) < 2:
        return []
    last = rows[-1]
    planned = sum(number_of(row, "planned_kg") for row in rows)
    texts = {**_in_words(last, "sum_"), "first_day": "all", "median_kg": last["sum_median_kg"]}
    return [{**texts, "planned_kg": planned, "past_off_kg": None}]


def _percent(chance: float) -> str:
    """A chance that is drawn is never quite nothing or all."""
    if chance < 1:
        return "under 1 %"
    return "over 99 %" if chance > 99 else f"{chance:.0f} %"


def _show_need(wanted: Wanted, rows: Sequence[Row]) -> None:
    now, last = rows[0], rows[-1]
    chance = (
        f"{wanted.kg:g} kg by {wanted.by}: the chance is {_percent(number_of(now, 'chance_pct'))}. As it stands "
        f"{now['median_kg']:.1f} kg are to come by then (80 %: {now['low80_kg']:.1f} to {now['high80_kg']:.1f})."
    )
    print_sentences(chance, _advice(now, last))


def _span(first: date, last: date) -> str:
    return f"on {first}" if first == last else f"from {first} to {last}"


def _advice(now: Row, last: Row) -> str:
    if number_of(now, "chance_pct") >= 80:
        return "No further batch is needed for a chance of 80 %."
    if last["more_batches"] == 0:
        return (
            f"What more batches like {now['like_batch']} would give is not known: there is too little to borrow from."
        )
    number = whole_of(last, "more_batches")
    batches = counted(number, "more batch", "more batches")
    if number_of(last, "median_kg") - number_of(now, "median_kg") < 0.005 * number:
        return f"A batch begun on {now['start_from']} or later comes too late for that day: so soon none gave any."
    if number_of(last, "chance_pct") < 80:
        return (
            f"Even {batches} like {now['like_batch']}, begun on {now['start_from']}, would make it "
            f"{_percent(number_of(last, 'chance_pct'))}: ask for a later day, or for less."
        )
    begun = _span(day_of(now, "start_from"), day_of(last, "start_by"))
    return (
        f"With {batches} like {now['like_batch']}, begun {begun}, it is 80 % or more (begun on {now['start_from']}: "
        f"{_percent(number_of(last, 'chance_pct'))})."
    )


def _notify_basis(as_of: date, found: Outlook, of_weeks: bool, worth: str) -> None:
    """Say what the figures rest on, what they are worth, and what they lack."""
    notify(f"As of {as_of}; the records reach back {found.history_weeks:.0f} weeks.")
    if of_weeks:
        notify(
            _held_before(found)
            + " planned: of the kg, from batches with a day of inoculation to come, on average. all: these weeks "
            "together, with a band of its own."
        )
    if worth:
        notify(worth)
    if found.few_past:
        notify(
            "So few past weeks prove little: the bands are not widened by the farm's own misses yet, and may be too "
            "narrow."
        )
    for each in _lacking(found):
        notify(each)


def _held_before(found: Outlook) -> str:
    """Return how often the band of the first week held, as counted on the farm's own past."""
    first = found.weeks[0]
    seen = whole_of(first, "past_seen")
    if not seen:
        return "No past week could be foreseen yet, so how often the bands hold here is not known."
    held = round(seen * number_of(first, "past_held_80_pct") / 100)
    weeks = counted(seen, "week that was", "weeks that were")
    return f"Of the {weeks} foreseen in the past a week ahead, the 80 % band held {held}; further ahead see the table."


def _lacking(found: Outlook) -> list[str]:
    """Return what makes the figures less than they seem."""
    lines = []
    if not found.batches:
        lines.append("Nothing runs, and no batch has a day of inoculation in these weeks.")
    if found.silent_since:
        lines.append(
            f"The last picking entered is of {found.silent_since}. Are entries missing? Then this is too little."
        )
    without = max(whole_of(row, "batches_without_donors") for row in found.weeks)
    amounts = (
        (without, "Batches in no figure, for fewer than 4 past ones are old enough to borrow from"),
        (found.undated, "Batches without a day of inoculation, from which nothing is borrowed"),
        (found.pickings_set_aside, "Pickings set aside, which the past lacks"),
    )
    return lines + [f"{what}: {number}." for number, what in amounts if number]
