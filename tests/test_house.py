"""The house: names that mean one thing, in the field's words; docstrings that state; typed rows between rooms."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

from schemas.confidence import LEVEL, percent
from schemas.contract import INPUTS, contract

HOUSE = Path(__file__).parent.parent
MODULES = sorted(path for package in ("schemas", "reports", "pipeline") for path in (HOUSE / package).rglob("*.py"))
# Private words that had come to name classes, functions, modules and tables. A grower's words stay on screens.
PRIVATE_WORDS = re.compile(
    r"(?:^|_)(told|asked|standing|aside|kept|placed|located|showable|worthwhile|row_space|manner|wanting|habits?|screened)"
    r"(?:_|$)|^(Told|Asked|Standing|Kept|Placed|Manner|Habits|Screened|Bare)$"
)
# What growers write in farm.toml, what stands in files that they have, and the keys of results that are published.
PUBLISHED = frozenset({"pickings_set_aside", "set_aside"})
# Lines of code that name Any: only at the edges (JSON, rows of DuckDB, the library of the command line). May only fall.
MOST_ANY = 34
DOCUMENTS_ELSEWHERE = re.compile(r"\b(STATISTICS|BLUEPRINT|CHECKS|STYLE)\b|\bissue \d")


def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def place(path: Path, node: ast.AST) -> str:
    return f"{path.relative_to(HOUSE)}:{getattr(node, 'lineno', 1)}"


def named(path: Path) -> Iterator[tuple[str, ast.AST]]:
    """The names that a module gives: itself, classes, functions, parameters, fields, variables."""
    yield path.stem, ast.Module([], [])
    for node in ast.walk(tree(path)):
        match node:
            case ast.FunctionDef(name=name) | ast.ClassDef(name=name) | ast.arg(arg=name):
                yield name, node
            case ast.Name(id=name, ctx=ast.Store()):
                yield name, node


def test_names_are_the_fields_words() -> None:
    found = sorted(
        {
            f"{place(path, node)} {name}"
            for path in MODULES
            for name, node in named(path)
            if PRIVATE_WORDS.search(name) and name not in PUBLISHED
        }
    )
    assert not found, "\n".join(found)


def test_no_class_is_called_like_another() -> None:
    places = defaultdict(list)
    for path in MODULES:
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.ClassDef):
                places[node.name].append(place(path, node))
    assert {name: where for name, where in places.items() if len(where) > 1} == {}


def test_docstrings_state_what_they_give() -> None:
    found = []
    for path in MODULES:
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and (text := ast.get_docstring(node)):
                first = re.split(r"(?<=[.?!:])\s", text, maxsplit=1)[0]
                if first.endswith("?"):
                    found.append(f"{place(path, node)} {first}")
    assert not found, "\n".join(found)


@pytest.mark.parametrize("package", ["schemas", "reports", "pipeline", "tests"])
def test_no_document_is_cited_that_is_not_here(package: str) -> None:
    found = [
        f"{path.relative_to(HOUSE)}:{number} {line.strip()}"
        for path in sorted((HOUSE / package).rglob("*"))
        if path.suffix in {".py", ".sql", ".json", ".js", ".j2"} and path.name != Path(__file__).name
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if DOCUMENTS_ELSEWHERE.search(line)
    ]
    assert not found, "\n".join(found)


def lines_with_any() -> list[str]:
    found = {
        place(path, node)
        for path in MODULES
        for node in ast.walk(tree(path))
        if isinstance(node, ast.Name) and node.id == "Any"
    }
    return sorted(found)


def test_untyped_values_stay_at_the_edges() -> None:
    found = lines_with_any()
    assert len(found) <= MOST_ANY, f"{len(found)} lines name Any; {MOST_ANY} did"


def table_names_quoted(path: Path) -> Iterator[str]:
    """Where a module types the name of an input table. batches is a noun and a column too: only as a table's name."""
    for node in ast.walk(tree(path)):
        match node:
            case ast.Constant(value="fillings" | "observations" | "harvests" as name):
                yield f"{place(path, node)} {name}"
            case ast.Call(func=ast.Name(id="contract" | "columns"), args=[ast.Constant(value="batches"), *_]):
                yield f"{place(path, node)} batches"
            case ast.Tuple(elts=elements) | ast.Dict(values=elements):
                texts = {each.value for each in elements if isinstance(each, ast.Constant)}
                if "batches" in texts and texts & {"batch", *INPUTS[1:]}:
                    yield f"{place(path, node)} batches"


def test_input_tables_are_named_by_the_contract_alone() -> None:
    named_there = HOUSE / "schemas" / "contract.py"
    assert list(table_names_quoted(named_there))
    assert [each for path in MODULES if path != named_there for each in table_names_quoted(path)] == []


def test_contracts_take_confidence_levels_from_one_place() -> None:
    typed = [
        f"{path.name}:{number} {line.strip()}"
        for path in sorted((HOUSE / "schemas").rglob("*.json"))
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if re.search(r"\b(95|99) %", line) and '"description"' in line
    ]
    assert typed == []
    assert contract("pins_curve").field("high_pct").description.startswith(f"Upper {percent(LEVEL)} limit")
    assert f"{percent(LEVEL)} for all pairs together" in contract("compared_pairs").field("low").description


def test_modules_hold_one_idea() -> None:
    lengths = {str(path.relative_to(HOUSE)): len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    assert {name: lines for name, lines in lengths.items() if lines > 400} == {}
