"""A pair with other factors held alike: is it the estimate that its definition says, and does it keep its promise?"""

from datetime import date
from pathlib import Path

import numpy as np
import pytest
from compare_farms import batches, compared, write_farm
from scipy.stats import t

from pipeline.compare.tables import pair_rows
from pipeline.stats.cluster_robust import fit
from tests.calibrate_adjusted import DESIGNS, run

JAN = date(2026, 1, 5)


def mixed_rows(straw: dict[str, list[float]], mulch: dict[str, list[float]]) -> list[dict[str, object]]:
    """Batches of both, by strain; days alternate, so that neither is the earlier."""
    rows = [
        row
        for level, of in (("straw", straw), ("mulch", mulch))
        for strain, values in of.items()
        for row in batches(level, values, JAN, strain=strain)
    ]
    for at, row in enumerate(rows):
        row["on"] = date(2026, 1 + at % 3, 5 + at)
    return rows


def test_an_uneven_mix_of_strains_is_estimated_with_strains_alike(tmp_path: Path) -> None:
    straw = {"grey": [80.0, 86, 77, 83], "pink": [58.0, 61]}
    mulch = {"grey": [66.0, 71], "pink": [47.0, 50, 44, 41]}
    write_farm(tmp_path, mixed_rows(straw, mulch))
    answer = compared(tmp_path)
    (row,) = pair_rows(answer)
    level = np.array([1.0] * 6 + [0.0] * 6)
    pink = np.array([0.0] * 4 + [1] * 2 + [0] * 2 + [1] * 4)
    values = np.array([80, 86, 77, 83, 58, 61, 66, 71, 47, 50, 44, 41.0])
    design = np.column_stack([level, 1 - level, pink])
    # Least squares, HC2 (CR2 of one row a soak) and Satterthwaite's degrees, written out by their definitions.
    inverse = np.linalg.inv(design.T @ design)
    contrast = np.array([1.0, -1, 0])
    residuals = values - design @ inverse @ design.T @ values
    hat = design @ inverse @ design.T
    pull = design @ inverse @ contrast
    error = np.sqrt(np.sum(pull**2 * residuals**2 / (1 - np.diag(hat))))
    weights = pull / np.sqrt(1 - np.diag(hat))
    kernel = weights[:, None] * (np.eye(12) - hat) * weights[None, :]
    straw_less_mulch = -1 if row["level"] == "mulch" else 1
    assert row["held_equal"] == "strain"
    assert row["difference"] == pytest.approx(straw_less_mulch * contrast @ inverse @ design.T @ values)
    assert row["standard_error"] == pytest.approx(error)
    assert row["degrees_of_freedom"] == pytest.approx(np.trace(kernel) ** 2 / np.sum(kernel**2))
    assert row["sentence"].startswith("With strain alike, ")
    # The plain difference of means mixes the strains in.
    assert abs(row["difference"]) < abs(values[:6].mean() - values[6:].mean()) - 3


def test_a_mix_that_is_alike_keeps_the_plain_difference(tmp_path: Path) -> None:
    write_farm(
        tmp_path,
        mixed_rows({"grey": [80.0, 86], "pink": [58.0, 61]}, {"grey": [66.0, 71], "pink": [47.0, 50]}),
    )
    (row,) = pair_rows(compared(tmp_path))
    assert row["held_equal"] is None
    assert abs(row["difference"]) == pytest.approx(71.25 - 58.5)


def test_a_third_level_shows_what_a_strain_does(tmp_path: Path) -> None:
    # Straw had grey alone and mulch pink alone; coir had both, 20 apart, and so parts substrate from strain.
    rows = mixed_rows({"grey": [80.0, 84, 79, 85]}, {"pink": [60.0, 64, 61, 63]})
    coir = [
        row for strain, values in {"grey": [70.0, 71, 69, 74], "pink": [50.0, 52, 51, 47]}.items()
        for row in batches("coir", values, JAN, 14, strain=strain)
    ]  # fmt: skip
    write_farm(tmp_path, rows)
    (alone,) = pair_rows(compared(tmp_path))
    assert alone["rules"].startswith("R3")
    write_farm(tmp_path, rows + coir)
    found = {frozenset((row["level"], row["against"])): row for row in pair_rows(compared(tmp_path))}
    both = found[frozenset(("straw", "mulch"))]
    assert both["held_equal"] == "strain"
    assert not both["rules"].startswith("R3")
    # 82 - 62 less the 21 that the strain makes in coir.
    assert abs(both["difference"]) == pytest.approx(abs(82 - 62 - 21), abs=1e-9)


def test_pooled_errors_are_those_of_least_squares_where_they_are_the_larger() -> None:
    level = np.array([1.0] * 6 + [0.0] * 6)
    strain = np.array([0.0] * 5 + [1, 0] + [1] * 5)
    design = np.column_stack([level, 1 - level, strain])
    values = np.array([60, 62, 57, 66, 61, 40, 58, 42, 45, 39, 44, 41.0])
    found = fit(list(range(12)), design, values.tolist(), ["a", "b", "s"])
    robust, pooled = found.contrast([1, -1, 0]), found.pooled([1, -1, 0])
    inverse = np.linalg.inv(design.T @ design)
    residuals = values - design @ inverse @ design.T @ values
    classical = float(np.sqrt(residuals @ residuals / 9 * (inverse[0, 0] + inverse[1, 1] - 2 * inverse[0, 1])))
    assert robust.degrees is not None
    assert robust.degrees < 2
    assert robust.standard_error is not None
    assert pooled.standard_error == pytest.approx(max(classical, robust.standard_error))
    assert pooled.degrees == 9


@pytest.mark.parametrize("at", [0, 2, 10])
def test_adjusted_intervals_hold_and_alarms_are_rare(at: int) -> None:
    done = run(DESIGNS[at], 150, 5)
    # Three binomial standard errors about 5 and 95 %.
    assert done.answered > 0.9
    assert done.alarms < 0.11
    assert done.coverage > 0.89
    assert done.interplay < 0.11


def test_where_the_difference_goes_with_the_strain_it_is_said_and_where_not_nothing(tmp_path: Path) -> None:
    # Straw gives 40 more than mulch with grey, and as much with pink.
    straw = {"grey": [90.0, 94, 86, 94], "pink": [48.0, 51]}
    mulch = {"grey": [50.0, 53], "pink": [47.0, 50, 53, 46]}
    write_farm(tmp_path, mixed_rows(straw, mulch))
    (row,) = pair_rows(compared(tmp_path))
    assert row["held_equal"] == "strain"
    sign = 1 if row["level"] == "straw" else -1
    grey, pink = sign * (91.0 - 51.5), sign * (49.5 - 49)
    assert row["by_label"] == f"strain: grey {grey:.1f}, pink {pink:.1f}"
    assert row["differs_by"] == "strain"
    assert (
        f"But {row['level']} less {row['against']} is not the same for each strain, more than by chance: "
        f"{grey:.1f} points with grey and {pink:.1f} points with pink."
    ) in row["sentence"]
    write_farm(tmp_path, mixed_rows({**straw, "pink": [88.0, 92]}, mulch))
    (row,) = pair_rows(compared(tmp_path))
    assert row["by_label"] is not None
    assert row["differs_by"] is None
    assert "not the same" not in row["sentence"]


def test_the_error_of_the_check_is_that_of_least_squares(tmp_path: Path) -> None:
    straw = {"grey": [80.0, 86, 77, 83], "pink": [58.0, 61]}
    mulch = {"grey": [66.0, 71], "pink": [47.0, 50, 44, 41]}
    write_farm(tmp_path, mixed_rows(straw, mulch))
    ((check,),) = (each.interplays for each in compared(tmp_path).pairs)
    cells = [straw["grey"], straw["pink"], mulch["grey"], mulch["pink"]]
    # The four means apart: pooled variance of 12 soaks less 4 means, and that of each cell by itself (CR2).
    squares = [sum((value - np.mean(own)) ** 2 for value in own) for own in cells]
    pooled = (sum(squares) / 8 * sum(1 / len(own) for own in cells)) ** 0.5
    robust = sum(own / (len(of) - 1) / len(of) for own, of in zip(squares, cells, strict=True)) ** 0.5
    apart = np.mean(cells[0]) - np.mean(cells[2]) - (np.mean(cells[1]) - np.mean(cells[3]))
    assert check.p == pytest.approx(2 * t.sf(abs(apart) / max(pooled, robust), 8))


def test_without_adjusting_an_uneven_mix_would_alarm() -> None:
    done = run(DESIGNS[0], 150, 5)
    assert done.plain_alarms > 0.15
