"""The yardsticks of `make bench`: on a farm without faults they give the same kilograms as gillbook; lines measure."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from ledgers import here

from tests import bench, yardsticks

DAY = bench.DAY


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("yardsticks") / "farm"
    bench.write_farm(folder, 2_000, 0.0)
    # Some flushes are left to be worked out.
    path = max((folder / "harvests").glob("*.csv"))
    header, *rows = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines()]
    for row in rows:
        row[header.index("flush")] = ""
    path.write_text("".join(f"{','.join(row)}\n" for row in [header, *rows]), encoding="utf-8")
    return folder


@pytest.mark.parametrize("name", ["polars", "pandas"])
def test_scripts_give_the_same_kilograms(farm: Path, name: str) -> None:
    answer = yardsticks.YARDSTICKS[name](farm)
    yields = here("yields", "--by", "substrate", "--as-of", DAY, "--json", "--farm", farm).json
    flushes = here("flushes", "--by", "substrate", "--as-of", DAY, "--json", "--farm", farm).json
    assert answer["kg"] == pytest.approx({row["substrate"]: row["fresh_g"] / 1000 for row in yields}, rel=1e-12)
    ours = {f"{row['substrate']}, flush {row['flush']}": row["fresh_g"] / 1000 for row in flushes}
    assert len(ours) > 3
    assert answer["flushes_kg"] == pytest.approx(ours, rel=1e-12)


def test_a_line_is_a_ratio_of_medians_and_says_whether_its_goal_held() -> None:
    quick = bench.Work([(sys.executable, "-c", "pass")])
    slow = bench.Work([(sys.executable, "-c", "import time; time.sleep(1)")] * 2)
    missed = bench.measured(bench.Line("slow", "quick", slow, quick, 1.0), 1)
    assert missed["ratio"] > 1
    assert missed["work"]["seconds"] > 2
    assert not missed["held"]
    assert bench.measured(bench.Line("quick", "slow", quick, slow, 1.0), 1)["held"]
    with pytest.raises(RuntimeError, match="ended with 3: no"):
        bench.cost([(sys.executable, "-c", "import sys; print('no', file=sys.stderr); sys.exit(3)")])


def test_all_lines_name_commands_that_end(farm: Path) -> None:
    lines = [
        line
        for line in bench.lines_of_size(farm, 2_000)
        if line.what in ("yields, ready", "a picking appended, yields")
    ]
    assert [bench.measured(line, 1)["work"]["seconds"] > 0 for line in lines] == [True, True]
