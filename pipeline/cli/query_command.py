"""The command that asks the ledger in SQL: query."""

from __future__ import annotations

from typing import Annotated

import typer

from pipeline.cli.farm_access import current_ledger, notify_rejected, open_the_farm
from pipeline.cli.options import FarmOption, JsonOption


def query(
    sql: Annotated[
        str,
        typer.Argument(
            help="One SELECT over the ledger's tables: batches, fillings, observations, harvests, findings, files."
        ),
    ],
    limit_time: Annotated[
        float | None, typer.Option(min=0.001, metavar="SECONDS", help="Stop after so many seconds. None: never.")
    ] = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Ask the ledger with one SQL SELECT. Nothing is written and no other file can be read. It takes 1 GB of memory at
    most.
    """
    from pipeline.cli.show import Column, print_records
    from pipeline.models.free_query import free_query

    opened = open_the_farm(farm)
    with current_ledger(opened) as current:
        found = free_query(current.path, sql, limit_time)
    notify_rejected(current.done)
    print_records(found.records, [Column(name, name) for name in found.names], json, "No rows.", cut=False)
