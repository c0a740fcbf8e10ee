"""What the tests of the audit share: an audit in this process, generated cells, and edits of a ledger from outside."""

from __future__ import annotations

import os
import random
import re
from collections.abc import Mapping
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from conftest import write_table
from ledgers import THREE_TABLES, change_ledger, refreshed

from pipeline.audit.run import audit, ledger_outcomes, table_outcomes
from pipeline.audit.whole import whole_outcomes
from pipeline.farm.folder import open_farm
from pipeline.ledger.findings import read_findings
from pipeline.models.view import Ledger, Query, open_ledger, opened
from schemas.audit_outcome import Audit, Outcome
from schemas.contract import INPUTS, Contract, Field

AS_OF = date(2026, 6, 30)
RUN_ON = date(2026, 7, 1)
DAY = ("--as-of", "2026-06-30")
# A row that breaks a constraint: table, column and rule, then file, row and value.
Row = tuple[str, str, str, str, int, str | None]


def sound_farm(folder: Path) -> Path:
    """Writes a farm without a fault, with every table."""
    observations = "seen_on,event,container\n2026-01-20,pins,1\n2026-03-01,emptied,2"
    (folder / "farm.toml").write_text("", encoding="utf-8")
    for name, text in {**THREE_TABLES, "observations": observations}.items():
        write_table(folder, name, text)
    return folder


def broken_rows(folder: Path, *tables: str) -> list[Row]:
    """The rows of these tables that break a constraint, in the ledger as it lies there. None named: of all, and of the
    ledger as a whole.
    """
    with open_ledger(folder / "ledger.duckdb") as con:
        ledger = Ledger(con, {})
        outcomes = [each for name in tables or INPUTS if name in INPUTS for each in table_outcomes(ledger, name)]
        outcomes += ledger_outcomes(ledger) if not tables or "ledger" in tables else []
    errors = [each for each in outcomes if each.failed and each.severity == "error"]
    return [(each.table, each.column, each.rule, row.file, row.row, row.value) for each in errors for row in each.rows]


def audited(folder: Path, as_of: date = AS_OF, refresh: bool = True) -> Audit:
    """The audit of this farm's ledger; without `refresh`, of the ledger as it lies there."""
    if refresh:
        refreshed(folder)
    farm = open_farm(folder)
    with opened(farm.ledger, farm.settings) as ledger:
        view = ledger.view(Query(as_of))
        return audit(view, read_findings(ledger.connection, as_of), RUN_ON)


def whole(folder: Path, as_of: date = AS_OF) -> Audit:
    """The part of the audit that is about whole tables."""
    refreshed(folder)
    farm = open_farm(folder)
    with opened(farm.ledger, farm.settings) as ledger:
        view = ledger.view(Query(as_of))
        return Audit("", RUN_ON, as_of, tuple(whole_outcomes(view)))


def failed(told: Audit, severity: str) -> dict[tuple[str, str, str], Outcome]:
    """The expectations of this severity that did not hold, by table, column and rule."""
    return {
        (each.table, each.column, each.rule): each
        for each in told.outcomes
        if each.failed and each.severity == severity
    }


def outcome(told: Audit, rule: str) -> Outcome:
    """The outcome of the rule; there is one."""
    found = [each for each in told.outcomes if each.rule == rule]
    assert len(found) == 1, [each.rule for each in told.outcomes]
    return found[0]


def change_unseen(folder: Path, sql: str) -> None:
    """Changes the ledger as a program would that leaves no trace: the manifest is told the new size and time."""
    ledger, manifest = folder / "ledger.duckdb", folder / "ledger.manifest.json"
    before = ledger.stat()
    change_ledger(folder, sql)
    after, text = ledger.stat(), manifest.read_text(encoding="utf-8")
    assert text.count(str(before.st_mtime_ns)) == 1
    os.utime(ledger, ns=(before.st_atime_ns, before.st_mtime_ns))
    manifest.write_text(text.replace(f": {before.st_size},", f": {after.st_size},", 1), encoding="utf-8")


UNREADABLE = {"date": "2026-02-30", "number": "4oo", "integer": "2.5"}


def cells(each: Field, rng: random.Random, rows: int) -> list[str | None]:
    """Cells for a column: mostly good ones, the rest at, within and beyond each bound, unreadable, unknown or blank."""
    odd: list[str | None] = [None, *beside_bounds(each)]
    good = ["A", "b 2", "007"]
    if each.type != "string":
        odd.append(UNREADABLE[each.type])
        good = ["2026-05-01", "2026-05-01 10:00"] if each.type == "date" else ["2", "+3", "50"]
    if each.words:
        odd += ["my own word", "flatt"]
        good = [*each.words, *each.synonyms, *(word.upper().replace("_", " ") for word in each.words)]
    return [rng.choice(odd) if rng.random() < 0.2 else rng.choice(good) for _ in range(rows)]


def beside_bounds(each: Field) -> list[str | None]:
    """The cells at each bound of the column, and one step on either side of it."""
    bounds = ("minimum", "exclusiveMinimum", "maximum", "exclusiveMaximum")
    limits = [str(rules[bound]) for rules in (each.constraints, each.expect) for bound in bounds if bound in rules]
    if each.type == "date":
        days = [date.fromisoformat(limit).toordinal() for limit in limits]
        return [date.fromordinal(day + step).isoformat() for day in days for step in (-1, 0, 1)]
    step = Decimal(1) if each.type == "integer" else Decimal(1).scaleb(-(each.decimals or 3))
    near = [f"{Decimal(limit) + at * step:f}" for limit in limits for at in (-1, 0, 1)]
    # Finer than the column keeps: rounds to the limit itself.
    return [*near, *(f"{Decimal(limit) + step / 10:f}" for limit in limits if each.type == "number" and each.decimals)]


def typed(each: Field, cell: str | None) -> Any:
    """The value of a cell, said here without the program's own code: None for none; an unknown word stays as it is."""
    if cell is None or each.type == "string":
        return cell and word(each, cell)
    try:
        return date.fromisoformat(cell[:10]) if each.type == "date" else number(each, Decimal(cell))
    except (ValueError, InvalidOperation):
        return None


def number(each: Field, value: Decimal) -> float | None:
    if each.type == "integer" and value != int(value):
        return None
    places = Decimal(1).scaleb(-(each.decimals or 0))
    return float(value if each.decimals is None else value.quantize(places, ROUND_HALF_EVEN))


def word(each: Field, cell: str) -> str:
    plain = re.sub(r"[\s-]+", "_", cell.lower())
    known = {**{word: word for word in each.words}, **each.synonyms}
    return known.get(plain, cell)


def typed_frame(table: Contract, columns: Mapping[str, list[str | None]]) -> Any:
    """The typed rows as the engine takes them: a pandas frame whose rows are numbered from 0."""
    import pandas as pd

    frame = pd.DataFrame(
        {name: [typed(table.field(name), cell) for cell in column] for name, column in columns.items()}
    )
    for each in table.fields:
        if each.type == "date":
            frame[each.name] = frame[each.name].astype("datetime64[us]")
        elif each.type in ("number", "integer"):
            frame[each.name] = frame[each.name].astype("float64")
    return frame
