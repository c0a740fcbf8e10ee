"""Column roles: the contracts say how comparisons, trials, the logbook and init --from use each column."""

from __future__ import annotations

import pytest

from schemas.contract import BATCHES, FILLINGS, ColumnRole, columns_with_role, contract, recipe_columns

FIELDS = [(name, each) for name in (BATCHES, FILLINGS) for each in contract(name).fields]


def test_choices_are_words_and_amounts_are_numbers() -> None:
    words = {each.name for each in recipe_columns() if each.role == ColumnRole.CHOICE}
    assert {"strain", "substrate", "treatment", "kind", "room"} <= words
    assert all(each.type == "string" for each in recipe_columns() if each.role == ColumnRole.CHOICE)
    assert all(each.is_number for each in recipe_columns() if each.role in (ColumnRole.AMOUNT, ColumnRole.READING))


def test_what_can_be_tried_or_is_reported_can_be_compared() -> None:
    assert [each.name for _, each in FIELDS if (each.varies or each.reported) and not each.role] == []


def test_a_column_belongs_to_one_that_is_there() -> None:
    known = {each.name for each in recipe_columns()}
    assert {each.belongs_to for _, each in FIELDS if each.belongs_to} <= known


@pytest.mark.parametrize("name", [BATCHES, FILLINGS])
def test_no_two_columns_share_an_option(name: str) -> None:
    options = [each.option for each in contract(name).fields if each.option]
    assert len(options) == len(set(options))
    assert all(each.startswith("--") for each in options)


def test_a_name_of_both_tables_is_the_batchs() -> None:
    names = [each.name for each in recipe_columns()]
    assert len(names) == len(set(names))
    assert columns_with_role(ColumnRole.CLUSTER) == ("spawn_lot",)
    assert "substrate_dry_kg" in columns_with_role(ColumnRole.OTHER)
