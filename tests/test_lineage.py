"""The heads of the SQL files say what the statements do: what each reads, the one table it writes, and its grain."""

from __future__ import annotations

import re
from collections import Counter
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest
import sqlglot
from lineage_picture import BEGIN, DOCUMENT, drawn
from sqlglot import exp

from pipeline.models import lineage
from pipeline.models.groups import GROUP_TABLES
from pipeline.models.lineage import GROUPS, LEDGER, RESULTS, UNITS, Model, model, names, needed, order, outdated
from schemas.contract import INPUTS

ALL = sorted(name for group in GROUPS for name in names(group))
# What the stage holds before anything is decided: see pipeline/ledger/stage.py.
STAGED = frozenset(
    {f"{kind}_{table}" for kind in ("stage", "rows_of", "cells_of") for table in INPUTS}
    | {"files", "cell_findings", "row_rules", "meta"}
)
HEAD = re.compile(
    r"(?:-- .*\n)+?-- Grain: one row.*\n(?:-- .*\n)*?-- reads: .+\n(?:--     .+\n)*-- writes: \w+\n(?!--)"
)


def statement_of(each: Model) -> exp.Expression:
    (parsed,) = [one for one in sqlglot.parse(each.text, dialect="duckdb") if one is not None]
    return parsed


def written_and_read(each: Model) -> tuple[str | None, set[str]]:
    statement = statement_of(each)
    target = statement.this if isinstance(statement, exp.Create) else None
    own = {cte.alias for cte in statement.find_all(exp.CTE)}
    tables = {table.name for table in statement.find_all(exp.Table) if table is not target and table.name}
    return (target.name if target is not None else None), tables - own


@pytest.mark.parametrize("name", ALL)
def test_a_head_says_what_the_statement_does(name: str) -> None:
    each = model(name)
    assert HEAD.match(each.text), "the head says what it holds, Grain:, reads: and writes:, in this order"
    writes, reads = written_and_read(each)
    assert (each.writes, each.reads) == (writes, reads)
    assert writes == (None if each.group == RESULTS else name)


@pytest.mark.parametrize("name", ALL)
def test_columns_are_written_out(name: str) -> None:
    statement = statement_of(model(name))
    last = statement.expression if isinstance(statement, exp.Create) else statement
    selects = [last] if isinstance(last, exp.Select) else list(last.find_all(exp.Select))[:1]
    assert not any(isinstance(column, exp.Star) for select in selects for column in select.expressions)
    for group in statement.find_all(exp.Group):
        assert not any(isinstance(column, exp.Literal) for column in group.expressions)


def test_each_table_has_one_writer_and_each_read_table_a_source() -> None:
    writers = Counter(model(name).writes for name in ALL if model(name).writes)
    assert max(writers.values()) == 1
    known = {LEDGER: STAGED | names(LEDGER)}
    known[UNITS] = known[LEDGER] | names(UNITS) | frozenset(GROUP_TABLES)
    known[RESULTS] = known[UNITS]
    for group in GROUPS:
        for name in names(group):
            assert model(name).reads <= known[group], name


def test_a_model_comes_behind_what_it_reads() -> None:
    for group in GROUPS:
        at = {name: place for place, name in enumerate(order(group))}
        assert set(at) == names(group)
        assert all(at[read] < place for name, place in at.items() for read in model(name).reads & names(group))


def test_a_circle_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        lineage, "model", lambda name: Model(name, LEDGER, "", frozenset({"a": "b", "b": "a"}[name]), name, frozenset())
    )
    monkeypatch.setattr(lineage, "names", lambda _: frozenset("ab"))
    with pytest.raises(CycleError):
        order(LEDGER)
    assert list(TopologicalSorter({"a": "b"}).static_order()) == ["b", "a"]


def test_what_is_read_is_made_first_and_made_anew_once_it_is_outdated() -> None:
    made = needed("yields")
    assert made == tuple(name for name in order(UNITS) if name in made)
    assert {"units", "unit_states", "unit_rejected"} <= set(made)
    assert "unit_waits" not in made
    assert outdated(made, ["through"]) == {name for name in made if "through" in model(name).variables} | outdated(
        made, [name for name in made if "through" in model(name).variables]
    )
    assert "units" not in outdated(made, ["unit_groups", "through"])
    assert outdated(needed("spawned_units"), ["unit_groups"]) == {"unit_spawn"}


def test_a_head_that_is_not_whole_is_refused(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "units").mkdir()
    (tmp_path / "units" / "half.sql").write_text("-- Half a head.\nselect 1 as one\n", encoding="utf-8")
    monkeypatch.setattr(lineage, "files", lambda _: tmp_path)
    monkeypatch.setattr(lineage, "names", lambda group: frozenset({"half"} if group == UNITS else ()))
    with pytest.raises(ValueError, match=r"half\.sql does not say"):
        model("half")
    with pytest.raises(KeyError, match="no model is called third"):
        model("third")


def test_the_picture_in_the_document_is_the_heads() -> None:
    text = DOCUMENT.read_text(encoding="utf-8")
    assert BEGIN in text
    assert drawn(text) == text, "make lineage draws it anew"
