"""Compiling: the contracts of the input tables become suites of expectations.

A constraint becomes an expectation of severity error, `expect` one of severity warning. A required cell whose lack sets
no row aside (a batch without its strain) is a warning, as it is for the screen.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from datetime import datetime

from pipeline.audit.expected import Expected
from schemas.audit import RowRule, row_rules
from schemas.contract import Contract, Field
from schemas.finding import finding

# The engine's names of its tests.
PRESENT = "ExpectColumnValuesToNotBeNull"
BETWEEN = "ExpectColumnValuesToBeBetween"
AMONG = "ExpectColumnValuesToBeInSet"
NOT_AMONG = "ExpectColumnValuesToNotBeInSet"
UNIQUE = "ExpectColumnValuesToBeUnique"
UNIQUE_TOGETHER = "ExpectCompoundColumnsToBeUnique"
EQUAL = "ExpectColumnPairValuesToBeEqual"
AT_LEAST = "ExpectColumnPairValuesAToBeGreaterThanB"

BOUNDS = ("minimum", "exclusiveMinimum", "maximum", "exclusiveMaximum")
# A level of a rule that means: the row, or the cell, must not have been used.
REFUSES = ("set_aside", "dropped")
# How a frame calls what was read for a column of the loaded table, and whether the row was refused (1) or not (0).
AS_READ, REFUSED = "{} as read", "refused"


def suite(table: Contract, columns: Collection[str], among: Mapping[str, Collection[str]]) -> list[Expected]:
    """Return what the contract's cells and rows have to keep.

    `columns` are those that the frame has: nothing is expected of others here. `among`: the values that TABLE.COLUMN
    holds, for references.
    """
    compiled = [expected for each in table.fields if each.name in columns for expected in _of_field(table, each)]
    for rule in row_rules():
        same_row = {rule.other} if rule.relation in ("at_least", "at_most") else set()
        if rule.table == table.name and {*rule.columns} | same_row <= {*columns}:
            compiled.append(_of_row(table, rule, among))
    return compiled


def as_read_suite(table: Contract, columns: Collection[str]) -> list[Expected]:
    """Return what says that each loaded row was read and not refused, and holds what was read.

    Only columns whose fault sets the row aside are compared: other cells may be dropped, or filled in (a blank flush).
    """
    compiled = []
    if REFUSED in columns:
        words = f"{table.title}: only rows that were read and not set aside"
        arguments = {"column": REFUSED, "value_set": [0]}
        compiled.append(Expected(table.name, "", "refused", "error", words, AMONG, arguments))
    for each in table.fields:
        read = AS_READ.format(each.name)
        if each.required and each.on_fault == "set_aside" and {each.name, read} <= {*columns}:
            words = f"{each.title}: what was read from the row"
            pair = {"column_A": each.name, "column_B": read, "ignore_row_if": "both_values_are_missing"}
            expected = Expected(table.name, each.name, "as_read", "error", words, EQUAL, pair, each.name, read)
            compiled.append(expected)
    return compiled


def _of_field(table: Contract, each: Field) -> Iterator[Expected]:
    if each.required:
        severity = "error" if each.on_fault == "set_aside" else "warning"
        yield _of_cell(table, each, "required", severity, PRESENT, {})
    for severity, rules in (("error", each.constraints), ("warning", each.expect)):
        for rule, (test, arguments) in _bounds(each, rules).items():
            yield _of_cell(table, each, rule, severity, test, arguments)
        if "enum" in rules:
            yield _of_cell(table, each, "enum", severity, AMONG, {"value_set": list(rules["enum"])})


def _of_cell(
    table: Contract, each: Field, rule: str, severity: str, test: str, arguments: Mapping[str, object]
) -> Expected:
    words = _words(table, each.name, rule, "warning" if severity == "warning" else "set_aside")
    return Expected(
        table.name, each.name, rule, severity, words, test, {"column": each.name, **arguments}, shown=each.name
    )


def _words(table: Contract, column: str, rule: str, level: str) -> str:
    """What is expected, as the findings say it: "Fresh weight (g): 0 or more"?"""
    expected = finding(table, "", 0, column, rule, level, detail="the other").expected
    if column not in table.names:
        return f"{table.title}: {expected}"
    each = table.field(column)
    return f"{each.title} ({each.unit}): {expected}" if each.unit else f"{each.title}: {expected}"


def _bounds(each: Field, rules: Mapping[str, object]) -> dict[str, tuple[str, dict[str, object]]]:
    """Yield the test, with its arguments, of each bound that is set."""
    set_here = [rule for rule in BOUNDS if rule in rules]
    limits = {
        rule: datetime.fromisoformat(str(rules[rule])) if each.type == "date" else rules[rule] for rule in set_here
    }
    tests: dict[str, tuple[str, dict[str, object]]] = {}
    for rule, limit in limits.items():
        end = "min" if rule in ("minimum", "exclusiveMinimum") else "max"
        tests[rule] = (BETWEEN, {f"{end}_value": limit, f"strict_{end}": rule.startswith("exclusive")})
    if limits.keys() >= {"minimum", "exclusiveMinimum"}:
        # As the screen has it: what is below the minimum is told for that, and only the limit itself for the other.
        tests["exclusiveMinimum"] = (NOT_AMONG, {"value_set": [limits["exclusiveMinimum"]]})
    return tests


def _of_row(table: Contract, rule: RowRule, among: Mapping[str, Collection[str]]) -> Expected:
    found = table.row_rules[rule.rule]
    severity = "error" if found["level"] in REFUSES else "warning"
    column = found.get("column", "")
    words = _words(table, column, rule.rule, found["level"])
    expected = Expected(table.name, column, rule.rule, severity, words, "", shown=column)
    first = rule.columns[0]
    if rule.relation == "among":
        arguments: dict[str, object] = {"column": first, "value_set": sorted(among[rule.other])}
        return replace(expected, test=AMONG, arguments=arguments)
    if rule.relation == "unlike_others" and len(rule.columns) == 1:
        return replace(expected, test=UNIQUE, arguments={"column": first})
    if rule.relation == "unlike_others":
        return replace(expected, test=UNIQUE_TOGETHER, arguments={"column_list": list(rule.columns)})
    larger, smaller = (first, rule.other) if rule.relation == "at_least" else (rule.other, first)
    pair = {"column_A": larger, "column_B": smaller, "or_equal": True, "ignore_row_if": "either_value_is_missing"}
    return replace(expected, test=AT_LEAST, arguments=pair, beside=rule.other)
