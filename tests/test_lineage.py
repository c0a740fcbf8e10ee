"""The heads of the SQL files say what the statements do: what each reads, the one table it writes, and its grain."""

from __future__ import annotations

import ast
import re
from collections import Counter
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest
import sqlglot
from lineage_picture import BEGIN, DOCUMENT, drawn
from sqlglot import exp

from pipeline.models import lineage
from pipeline.models.columns import grouped
from pipeline.models.lineage import (
    DECIDED,
    DRAFT,
    GROUPS,
    LEDGER,
    PART,
    RESULTS,
    STAGE,
    UNITS,
    Model,
    model,
    names,
    needed,
    order,
    outdated,
)
from schemas.contract import GROWING, INPUTS

ALL = sorted(name for group in GROUPS for name in names(group))
HOUSE = Path(__file__).parent.parent
# The frames that a refresh hands over: see pipeline/ledger/stage.py.
FRAMES = frozenset({"incoming", "found"})
# The units of these columns' groups have a key of the batch and one of the filling.
BY = ("substrate", "container")
# Statements in Python: those that attach and finish a draft, set a variable, or ask of a contract's columns. May only
# fall.
MOST_STATEMENTS = 6
STATEMENT = re.compile(
    r"\s*(select\s.+?\sfrom\s|with \w+ as|insert into|update \S+ set|delete from|attach |detach |use \w+$"
    r"|checkpoint\s*(;|$)"
    r"|(create|drop|alter) (or replace |temp )*(table|view|macro)|set \w+( \w+)? =|(copy|export) .* to |pragma )",
    re.IGNORECASE | re.DOTALL,
)
HEAD = re.compile(
    r"(?:-- .*\n)+?-- Grain: one row.*\n(?:-- .*\n)*?-- reads: .+\n(?:--     .+\n)*-- writes: \w+\n(?!--)"
)


def statement_of(each: Model) -> exp.Expression:
    (parsed,) = [one for one in sqlglot.parse(grouped(each.text, BY), dialect="duckdb") if one is not None]
    return parsed


def written_and_read(each: Model) -> tuple[str | None, set[str]]:
    statement = statement_of(each)
    target = statement.this if isinstance(statement, exp.Create | exp.Insert | exp.Delete | exp.Update) else None
    if isinstance(target, exp.UserDefinedFunction | exp.Schema):
        target = target.this
    own = {cte.alias for cte in statement.find_all(exp.CTE)}
    tables = {table.name for table in statement.find_all(exp.Table) if table is not target and table.name}
    return (target.name if target is not None else None), tables - own


@pytest.mark.parametrize("name", ALL)
def test_a_head_says_what_the_statement_does(name: str) -> None:
    each = model(name)
    assert HEAD.match(each.text), "the head says what it holds, Grain:, reads: and writes:, in this order"
    writes, reads = written_and_read(each)
    assert (each.writes, each.reads) == (writes, reads)
    if each.group not in (DRAFT, PART):
        assert writes == (None if each.group == RESULTS else name)


@pytest.mark.parametrize("name", ALL)
def test_columns_are_written_out(name: str) -> None:
    statement = statement_of(model(name))
    last = statement.expression if isinstance(statement, exp.Create) else statement
    selects = [last] if isinstance(last, exp.Select) else list(last.find_all(exp.Select))[:1] if last else []
    assert not any(isinstance(column, exp.Star) for select in selects for column in select.expressions)
    for group in statement.find_all(exp.Group):
        assert not any(isinstance(column, exp.Literal) for column in group.expressions)


@pytest.mark.parametrize("name", ALL)
def test_tables_are_joined_by_what_is_equal(name: str) -> None:
    """One that is joined by this or that alone is held against every row of the other: minutes on a large farm."""
    assert [on.sql() for on in joined_by_an_or(statement_of(model(name)))] == []


def test_a_join_by_an_or_is_found() -> None:
    joined = "select 1 from a join b on {}"
    found = {
        on: joined_by_an_or(sqlglot.parse_one(joined.format(on), dialect="duckdb"))
        for on in ("a.x = b.x", "a.x = b.x or a.y = b.y")
    }
    assert [on for on, of in found.items() if of] == ["a.x = b.x or a.y = b.y"]


def joined_by_an_or(statement: exp.Expression) -> list[exp.Expression]:
    return [
        on
        for join in statement.find_all(exp.Join)
        if isinstance(on := (join.args.get("on") or exp.true()).unnest(), exp.Or)
    ]


def test_each_table_has_one_writer_and_each_read_table_a_source() -> None:
    writers = Counter(
        model(name).writes for name in ALL if model(name).writes and model(name).group not in (DRAFT, PART)
    )
    assert max(writers.values()) == 1
    by_draft = {model(name).writes for name in names(DRAFT)} - {None}
    # A refresh changes the stage, and keeps notes of its own; what is decided, the decisions alone write.
    assert by_draft - names(STAGE) == {"meta", "row_versions", "held_rows", "held_before"} | {
        f"arriving_{table}" for table in INPUTS
    }
    by_part = {model(name).writes for name in names(PART)} - {None}
    notes = {"changed_rows", "moved_containers", "part_batches", "part_containers", "named_together", "part_lines"}
    by_place = {"closings", "picked_flushes", "picking_days"}
    assert by_part == notes | {f"stage_{table}" for table in GROWING} | {"files", *by_place, *DECIDED}
    known = {STAGE: names(STAGE), DRAFT: names(STAGE) | by_draft | FRAMES | {"findings"}}
    known[LEDGER] = names(STAGE) | names(LEDGER) | {"meta"}
    known[PART] = known[LEDGER] | by_part | by_draft
    known[UNITS] = known[LEDGER] | names(UNITS)
    known[RESULTS] = known[UNITS]
    for group in GROUPS:
        for name in names(group):
            assert model(name).reads <= known[group], name


def test_no_two_models_have_one_name() -> None:
    assert len(ALL) == len(set(ALL))


def test_a_file_of_all_input_tables_is_one_model_each() -> None:
    assert {f"stage_{table}" for table in INPUTS} < names(STAGE)
    assert not re.search("|".join(lineage.STANDS_FOR), "".join(model(name).text for name in ALL))
    assert 'create table stage_batches (\n    "line" ubigint,\n    "batch" varchar,' in model("stage_batches").text


def strings(path: Path) -> Iterator[tuple[int, str]]:
    """The texts of a module, without its docstrings; what is put into one is left out."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    inside = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values}
    documents = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        match node:
            case ast.JoinedStr(values=parts):
                yield node.lineno, "".join(str(part.value) if isinstance(part, ast.Constant) else "x" for part in parts)
            case ast.Constant(value=str() as text) if id(node) not in inside | documents:
                yield node.lineno, text


def test_statements_stand_in_model_files() -> None:
    """Those of the ledger; the logbook's own store is no ledger, and all its statements stand in its one module."""
    modules = [path for package in ("pipeline", "reports", "schemas") for path in (HOUSE / package).rglob("*.py")]
    modules.remove(HOUSE / "pipeline/logbook/store.py")
    assert [
        path for path in modules if path.is_relative_to(HOUSE / "pipeline") and "sqlite3.connect" in path.read_text()
    ] == []
    found = [
        f"{path.relative_to(HOUSE)}:{line} {text}"
        for path in modules
        for line, text in strings(path)
        if STATEMENT.match(text)
    ]
    assert len(found) <= MOST_STATEMENTS, "\n".join(found)
    assert any("set variable" in each for each in found), "those that are left are seen"


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
    assert "units" not in outdated(made, ["group_by", "through"])
    labels = {"batch_labels", "filling_labels", "unit_labels"}
    assert outdated(needed("spawned_units"), ["group_by"]) == {*labels, "groups", "unit_groups"}


def test_a_head_that_is_not_whole_is_refused(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "units").mkdir()
    (tmp_path / "units" / "half.sql").write_text("-- Half a head.\nselect 1 as one\n", encoding="utf-8")
    monkeypatch.setattr(lineage, "_folder", lambda: tmp_path)
    monkeypatch.setattr(lineage, "_files", lambda group: {"half": ("half.sql", "", "")} if group == UNITS else {})
    monkeypatch.setattr(lineage, "names", lambda group: frozenset(lineage._files(group)))
    with pytest.raises(ValueError, match=r"half\.sql does not say"):
        model("half")
    with pytest.raises(KeyError, match="no model is called third"):
        model("third")


def test_the_picture_in_the_document_is_the_heads() -> None:
    text = DOCUMENT.read_text(encoding="utf-8")
    assert BEGIN in text
    assert drawn(text) == text, "make lineage draws it anew"
