"""Figures by group, for every command with --by: how they are read from the ledger, shown, and explained."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import TYPE_CHECKING

from pipeline.cli.farm_access import RUN, open_the_farm, read_ledger
from pipeline.cli.show import Column, notify, print_records
from schemas.finding import WrongRequest
from schemas.phrases import no_batch
from schemas.result_rows import Row, labels_of, number_if_known, text_of

if TYPE_CHECKING:
    from pipeline.cli.options import ReadOptions
    from pipeline.models.flush_rule import FlushRule
    from pipeline.models.view import LedgerView, Query

# Under every table that counts containers.
TOGETHER = "A batch weighed together counts as one container."
# What a strain is called that nobody wrote down.
NOT_NAMED = "not named"
# So many groups are named in a message: our choice, no source.
MOST_NAMED = 3


@contextmanager
def read_groups(
    read: ReadOptions, by: str, step: str, through_flush: int | None = None, add_batch: bool = True
) -> Iterator[LedgerView]:
    """Give the view of the farm's ledger, brought up to date, that --as-of, --by and --through-flush ask for.

    Raises WrongRequest for a day, column or flush that cannot be.
    """
    from pipeline.models.groups import grouping
    from pipeline.models.view import Query

    if through_flush is not None and through_flush < 1:
        raise WrongRequest(f"--through-flush {through_flush}: flushes are counted from 1.")
    query = Query(read.day, grouping(by, add_batch), through_flush)
    if RUN.view_of is not None:
        yield RUN.view_of(query)
        return
    with read_ledger(open_the_farm(read.farm), step) as ledger:
        yield ledger.view(query)


def print_groups(query: Query, rows: Sequence[Row], columns: Sequence[Column], json: bool) -> bool:
    """Print the rows as JSON or as a plain table; True when a table was printed that notes may follow."""
    shown = rows if json else with_names(rows, query.by)
    return print_records(shown, [*(Column(name, name) for name in query.by), *columns], json, no_batch(query.as_of))


def with_names(rows: Sequence[Row], columns: Sequence[str]) -> Sequence[Row]:
    """Return the rows as a screen shows them: a strain that nobody named says so."""
    return [{**row, "strain": row["strain"] or NOT_NAMED} for row in rows] if "strain" in columns else rows


def group_name(query: Query, row: Row) -> str:
    """Return what a row's group is called in a sentence."""
    blank = {"strain": NOT_NAMED}
    return " ".join(text_of(row, name) or blank.get(name, "(blank)") for name in query.by) or "the farm"


def with_limits(row: Row, name: str, low: str, high: str, decimals: int) -> str | None:
    """Return a number with its limits as shown, like "24 (22-26)", "-3 (-5 to 1)"; None where it is missing."""
    known = number_if_known(row, name)
    if known is None:
        return None
    if row[low] is None and row[high] is None:
        return _rounded(known, decimals)
    ends = [_rounded(number_if_known(row, each), decimals) for each in (low, high)]
    to = " to " if ends[0].startswith("-") else "-"
    return f"{_rounded(known, decimals)} ({ends[0]}{to}{ends[1]})"


def _rounded(value: float | None, decimals: int) -> str:
    # Rounded first: -0.3 without decimals is 0 and not -0.
    return "?" if value is None else f"{round(value, decimals) + 0.0:.{decimals}f}"


def notify_reasons(query: Query, rows: Sequence[Row], column: str, what: str) -> None:
    """Say why figures are missing: each reason once, with the groups that it holds for."""
    reasons: dict[str, dict[tuple[str, ...], Row]] = {}
    for called, row in zip(labels_of(rows, query.by), rows, strict=True):
        if row[column]:
            reasons.setdefault(text_of(row, column), {}).setdefault(called, row)
    for reason, groups in reasons.items():
        named = [group_name(query, row) for row in islice(groups.values(), MOST_NAMED)]
        more = f" and {len(groups) - MOST_NAMED} more" if len(groups) > MOST_NAMED else ""
        notify(f"{what} for {', '.join(named)}{more}: {reason}.")


def notify_derived(rule: FlushRule, json: bool) -> None:
    """Say how many flush numbers are derived, under a table of flushes."""
    note = None if json else rule.note()
    if note:
        notify(note)
