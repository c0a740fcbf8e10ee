"""The commands that tell figures: yields, flushes, query."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.cli.options import (
    AsOfOption,
    ByOption,
    FarmOption,
    JsonOption,
    day,
    refreshed,
    tell,
    tell_set_aside,
    timed,
)
from pipeline.cli.options import the_farm as open_the_farm
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.cli.show import Column
    from pipeline.measures.runner import Question, Rows


def _ask(
    farm_dir: Path | None, as_of: str | None, by: str, through: int | None, name: str
) -> tuple[Question, Rows, Rows]:
    """Brings the ledger up to date and puts the question to the measure called `name`."""
    from pipeline.measures import runner

    if through is not None and through < 1:
        raise WrongRequest(f"--through-flush {through}: flushes are counted from 1.")
    question = runner.Question(day(as_of), runner.grouping(by), through)
    farm = open_the_farm(farm_dir)
    done = refreshed(farm)
    with timed(name), runner.open_ledger(farm.ledger) as con:
        runner.prepare(con, farm.settings, question)
        rows = getattr(runner, name)(con, question)
        missing = runner.missing_cells(con)
    tell_set_aside(done)
    return question, rows, missing


def _tell_missing(missing: Rows, most: int = 3) -> None:
    for cell in missing[:most]:
        units = "1 unit" if cell["units"] == 1 else f"{cell['units']} units"
        tell(f"No dry mass: {cell['file']}, row {cell['row']}, {cell['column_name']} would tell it for {units}.")
    if len(missing) > most:
        tell(f"No dry mass: {len(missing) - most} more cells. gillbook check lists them.")


def yields(
    by: ByOption = "batch",
    through_flush: Annotated[
        int | None,
        typer.Option("--through-flush", metavar="K", help="Also BE of flushes 1 to K, of units known through K."),
    ] = None,
    as_of: AsOfOption = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Tell biological efficiency, by batch or any other column. It is fresh mass over dry substrate mass."""
    from pipeline.cli.show import as_json, as_table

    question, rows, missing = _ask(farm, as_of, by, through_flush, "yields")
    if json:
        as_json(rows)
        return
    if not rows:
        tell(f"No batch is loaded as of {question.as_of}. Fill in batches.csv, or mend it: gillbook check.")
        return
    as_table(rows, _yield_columns(question))
    known = f"flush {through_flush or 1}"
    tell(
        f"As of {question.as_of}. known: told through {known}; open: of these, still running. BE: fresh over dry "
        "substrate mass; finished: of containers that are closed or lapsed."
    )
    _tell_missing(missing)


def _yield_columns(question: Question) -> list[Column]:
    from pipeline.cli.show import Column

    shown = [
        Column("units", "units", 0),
        Column("units_known", "known", 0),
        Column("units_open", "open", 0),
        Column("fresh_g", "fresh\nkg", 2, 0.001),
        Column("be_flush1_pct", "BE %\nflush 1", 1),
        Column("be_finished_pct", "BE %\nfinished", 1),
    ]
    if question.through_flush:
        shown.append(Column("be_pct", f"BE % 1\nto {question.through_flush}", 1))
    shown.append(Column("spawn_rate_wet_pct", "spawn\n% wet", 1))
    return [Column(name, name) for name in question.by] + shown


def flushes(
    by: ByOption = "batch",
    as_of: AsOfOption = None,
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Tell what each flush gave and how it compares with the first."""
    from pipeline.cli.show import Column, as_json, as_table

    question, rows, _ = _ask(farm, as_of, by, None, "flushes")
    if json:
        as_json(rows)
        return
    if not rows:
        tell(f"No batch is loaded as of {question.as_of}. Fill in batches.csv, or mend it: gillbook check.")
        return
    as_table(
        rows,
        [
            *(Column(name, name) for name in question.by),
            Column("flush", "flush", 0),
            Column("units_known", "known", 0),
            Column("units_not_yet", "not\nyet", 0),
            Column("fresh_g", "fresh\nkg", 2, 0.001),
            Column("share_pct", "share\n%", 1),
            Column("decline_vs_first", "of\nflush 1", 2),
        ],
    )
    tell(f"As of {question.as_of}. Each flush over the units known through it; share: of units closed or lapsed.")


def query(
    sql: Annotated[
        str,
        typer.Argument(
            help="One SELECT over the ledger's tables: batches, fillings, observations, harvests, findings, files."
        ),
    ],
    json: JsonOption = False,
    farm: FarmOption = None,
) -> None:
    """Ask the ledger with one SQL SELECT. Nothing is written and no other file can be read."""
    from pipeline.cli.show import Column, as_json, as_table
    from pipeline.measures.runner import open_ledger

    opened = open_the_farm(farm)
    done = refreshed(opened)
    with open_ledger(opened.ledger) as con:
        names, rows = _select(con, sql)
    tell_set_aside(done)
    records = [dict(zip(names, row, strict=True)) for row in rows]
    if json:
        as_json(records)
    elif records:
        as_table(records, [Column(name, name) for name in names], cut=False)
    else:
        tell("No rows.")


def _select(con: Any, sql: str) -> tuple[list[str], list[tuple[Any, ...]]]:
    """Runs one SELECT. Raises WrongRequest for anything else, and for what DuckDB finds wrong with it."""
    import duckdb

    try:
        statements = con.extract_statements(sql)
        if len(statements) != 1 or statements[0].type != duckdb.StatementType.SELECT:
            raise WrongRequest("query: one SELECT is allowed, and nothing else.")
        con.execute("set lock_configuration = true")
        cursor = con.execute(sql)
        rows = cursor.fetchall()
    except duckdb.PermissionException as problem:
        raise WrongRequest("query: only the ledger can be read, no other file or setting.") from problem
    except duckdb.Error as problem:
        raise WrongRequest(f"query: {problem}") from problem
    named: dict[str, int] = {}
    names = []
    for column in cursor.description:
        named[column[0]] = named.get(column[0], 0) + 1
        names.append(column[0] if named[column[0]] == 1 else f"{column[0]}_{named[column[0]]}")
    return names, rows


COMMANDS = (yields, flushes, query)
