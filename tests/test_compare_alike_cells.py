"""Cells that are alike are told by their mapping of shares: what follows is the same as row by row."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from pipeline.compare.adjusted import fitted
from pipeline.compare.design import DesignCell
from pipeline.compare.sides import Sides, tally
from pipeline.stats.estimability import basis, unlike

BLUE, GREY = {"blue": Fraction(1)}, {"grey": Fraction(1)}
MIXED = {"blue": Fraction(1, 3), "grey": Fraction(2, 3)}


def _cell(soak: int, level: str, strain: Mapping[str, Fraction]) -> DesignCell:
    value = 60.0 + soak**2 % 7 + 5 * (level == "straw") + 3 * float(strain.get("blue", 0))
    return DesignCell(f"S{soak}", level, value, value, 1.0, (f"S{soak}",), 1, 0, 0, None, {"strain": strain}, {})


def _sides(copied: bool) -> Sides:
    strains = [BLUE, GREY, MIXED, BLUE, GREY, BLUE]
    made = [
        [_cell(10 * at + place, level, dict(of) if copied else of) for place, of in enumerate(strains)]
        for at, level in enumerate(("straw", "chips"))
    ]
    return Sides("straw", "chips", tuple(made[0]), tuple(made[1]), False)


def test_cells_with_one_mapping_have_one_row_and_the_same_answer() -> None:
    shared, copied = _sides(False), _sides(True)
    assert len({id(row) for _, row, _ in shared.valued_rows(["strain"])}) == 6
    assert len({id(row) for _, row, _ in copied.valued_rows(["strain"])}) == 12
    assert shared.rows(["strain"]) == copied.rows(["strain"])
    assert tally(shared.cells, "strain") == tally(copied.cells, "strain")
    assert tally(shared.first, "strain") == {"blue": Fraction(10, 3), "grey": Fraction(8, 3)}
    ours, theirs = fitted(shared, ["strain"]), fitted(copied, ["strain"])
    assert ours.fit.names == theirs.fit.names
    assert ours.fit.coefficients.tolist() == theirs.fit.coefficients.tolist()


def test_a_row_that_came_before_adds_nothing() -> None:
    one, other = {"a": 1}, {"a": 1, "b": 1}
    assert unlike([one, other, one]) == [one, other]
    assert basis([one, other, one]).rank == 2
