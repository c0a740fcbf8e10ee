"""The command for what to try next: next-soak."""

from __future__ import annotations

from typing import Annotated

import typer

from pipeline.cli.farm_access import open_the_farm, read_ledger
from pipeline.cli.options import ReadOptions, spread
from pipeline.cli.show import Column, notify, print_json, print_sentences, print_table
from pipeline.trial.ahead import AHEAD
from schemas.finding import WrongRequest

SHOWN = 8  # splits in the table; with --json all


@spread
def next_soak(
    *,
    ahead: Annotated[
        int, typer.Option("--ahead", metavar="N", help="Soaks that will follow, in which the lesson is used.")
    ] = AHEAD,
    read: ReadOptions,
) -> None:
    """Say which split of the coming soak is expected to teach most, and what to grow meanwhile."""
    from pipeline.compare.leaning import prior_text
    from pipeline.compare.measures import DEFAULT_FLUSH
    from pipeline.models.compared_units import farm_units
    from pipeline.trial.next_soak import next_soak as weighed
    from pipeline.trial.next_soak_text import advice, split_rows

    if ahead < 1:
        raise WrongRequest(f"--ahead {ahead}: name a number from 1 on.")
    with read_ledger(open_the_farm(read.farm), "units") as ledger:
        found = weighed(farm_units(ledger, read.day, DEFAULT_FLUSH), ledger.settings, ahead)
    rows = split_rows(found, ahead)
    if read.json:
        print_json(rows)
        return
    print_sentences(*advice(found, ahead))
    if rows:
        typer.echo("")
        print_table(
            rows[:SHOWN],
            [
                Column("factor", "factor"),
                Column("level", "level"),
                Column("against", "against"),
                Column("teaches_1", "1 split\nteaches", 1),
                Column("teaches_2", "2", 1),
                Column("teaches_3", "3", 1),
                Column("costs", "one\ncosts", 1),
                Column("pays", f"over {ahead}\nit pays", 0),
            ],
        )
        notify(
            f"As of {read.day}. In points of BE of every soak after: how much better the choice is expected to be. "
            f"A model's guess, no evidence; before the records: {prior_text()}."
        )
