"""Does `gillbook compare` answer, refuse and explain as it should, and keep the contracts of its tables?"""

import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from compare_farms import batches, compared, write_farm
from conftest import Said, gillbook, write_table

from pipeline.compare.tables import level_rows, pair_rows
from schemas.contract import contract

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
TYPES = {"integer": int, "number": (int, float), "string": str}
JAN, FEB = date(2026, 1, 5), date(2026, 1, 20)
LAST_DAY = "2026-09-30"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "farm"
    shutil.copytree(DEMO, folder)
    return folder


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three batches of straw and three of mulch, and a young one."""
    folder = tmp_path_factory.mktemp("plain")
    rows = [
        *batches("wheat straw", [63, 65, 67], JAN, treatment="cold_lime"),
        *batches("mulch", [40, 41, 42], FEB, treatment="cold_lime"),
        {"substrate": "mulch", "on": date(2026, 12, 20), "batch": "YOUNG", "open": True},
    ]
    write_farm(folder, rows)
    return folder


def ask(farm: Path, *words: object, as_of: str = "2026-12-31") -> Said:
    return gillbook("compare", *words, "--farm", farm, "--as-of", as_of)


def test_a_grower_reads_levels_pairs_and_a_sentence(plain: Path) -> None:
    said = ask(plain, "substrate")
    assert said.code == 0
    lines = said.out.splitlines()
    assert lines[0] == "BE of flushes 1 to 2 by substrate, as of 2026-12-31. It varies between soaks."
    assert all(len(line) <= 80 for line in lines)
    assert any(line.split() == ["mulch", "3", "3", "3", "1", "1", "41.0", "38.5", "43.5"] for line in lines)
    text = " ".join(said.out.split())
    # By hand: 65 - 41 = 24; SE = sqrt(4/3 + 1/3) = 1.291; Welch's df = (5/3)^2 / ((4/3)^2/2 + (1/3)^2/2) = 2.941 (Bell
    # and McCaffrey's is 4); t(.975, 2.941) = 3.219, so 24 -+ 4.16.
    assert "wheat straw gave more than mulch: by 19.8 to 28.2 points, about 24.0." in text
    assert "1 soak is left out, not yet through flush 2: YOUNG." in text
    assert "Looking again" in said.err


def test_json_tells_pairs_or_levels_unrounded(plain: Path) -> None:
    (pair,) = ask(plain, "substrate", "--json").json
    assert pair["difference"] == pytest.approx(24)
    assert pair["standard_error"] == pytest.approx((5 / 3) ** 0.5)
    assert pair["degrees_of_freedom"] == pytest.approx(25 / 9 / (16 / 18 + 1 / 18))
    assert (pair["direction"], pair["worth"], pair["verdict"]) == ("more", "worth it", "more, and worth it")
    assert pair["rules"] == "R8 R6 R9"
    levels = ask(plain, "substrate", "--json", "--levels").json
    assert [row["level"] for row in levels] == ["mulch", "wheat straw"]
    assert (levels[0]["soaks_not_yet"], levels[0]["units_not_yet"]) == (1, 1)
    assert list(pair) == list(contract("compared_pairs").names)
    assert list(levels[0]) == list(contract("compared_levels").names)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["substrat"], "substrat: this cannot be compared. Did you mean substrate?"),
        (["batch"], "batch: this cannot be compared."),
        (
            ["substrate", "--against", "straw"],
            "--against straw: substrate has no such level. Did you mean wheat straw?",
        ),
        (["substrate", "--within", "treatment"], "--within treatment: write a column and a label"),
        (["substrate", "--within", "treatment=steam"], "--within steam: treatment has no such level."),
        (["spawn_rate", "--bands", "five"], "--bands five: write numbers with commas between"),
        (["substrate", "--through-flush", "0"], "--through-flush 0: be counts from flush 1 on."),
        (["substrate", "--measure", "decline", "--through-flush", "1"], "decline counts from flush 2 on."),
        (["substrate", "--measure", "days", "--through-flush", "1"], "days does not go by flush."),
        (["substrate", "--measure", "days", "--to-day", "0"], "--to-day 0: name a day from 1 on"),
        (["substrate", "--measure", "decline", "--to-day", "60"], "decline does not go by age."),
        (["substrate", "--measure", "losses", "--to-day", "60"], "losses does not go by age."),
        (["substrate", "--to-day", "60", "--through-flush", "1"], "no --through-flush with it."),
    ],
)
def test_a_request_that_cannot_work_says_how_it_would(plain: Path, words: list[str], message: str) -> None:
    said = ask(plain, *words)
    assert said.code == 2
    assert message in said.err.replace("\n", " ")
    assert said.out == ""


def test_labels_are_found_whatever_their_case(plain: Path) -> None:
    said = ask(plain, "substrate", "--against", "Wheat Straw", "--within", "treatment=Cold Lime", "--json")
    assert [(row["level"], row["against"]) for row in said.json] == [("mulch", "wheat straw")]


def test_one_level_alone_is_no_comparison(plain: Path) -> None:
    said = ask(plain, "treatment")
    assert said.code == 0
    assert "Only cold_lime has a figure, so there is nothing to compare." in " ".join(said.out.split())
    assert ask(plain, "treatment", "--json").json == []
    assert "1 container has no treatment written down: left out." in said.err


@pytest.mark.parametrize("measure", ["be", "days", "colonised", "next-flush", "decline", "losses", "culled", "late"])
@pytest.mark.parametrize("factor", ["spawn_rate", "kind", "substrate"])
def test_the_tables_keep_their_contracts(demo: Path, factor: str, measure: str) -> None:
    answer = compared(demo, factor, measure, date.fromisoformat(LAST_DAY))
    for name, rows in (("compared_levels", level_rows(answer)), ("compared_pairs", pair_rows(answer))):
        assert rows
        for row in rows:
            assert tuple(row) == contract(name).names
            for each in contract(name).fields:
                value: Any = row[each.name]
                assert value is None or (isinstance(value, TYPES[each.type]) and not isinstance(value, bool)), each.name


@pytest.mark.parametrize("name", ["compared_levels", "compared_pairs"])
def test_the_contracts_say_what_every_column_means(name: str) -> None:
    assert contract(name).grain.startswith("one row per ")
    assert all(each.description.endswith(".") for each in contract(name).fields)


def test_numbers_are_levels_bands_at_gaps_or_bands_at_edges(demo: Path) -> None:
    on = date.fromisoformat(LAST_DAY)
    volumes = [level.name for level in compared(demo, "volume_l", as_of=on).levels]
    assert volumes == ["2 L", "10 L", "20 L"]  # 2 is a planted slip
    rates = [level.name for level in compared(demo, "spawn_rate", as_of=on).levels]
    assert rates == ["4 %", "5 %", "8 %", "10 %", "15 %", "20 %"]
    banded = [level.name for level in compared(demo, "spawn_rate", as_of=on, edges=(7.0, 13.0)).levels]
    assert banded == ["under 7 %", "7 to under 13 %", "13 % and more"]
    said = ask(demo, "ph_start", as_of=LAST_DAY)
    assert said.code == 2
    assert "ph_start: the numbers run from 12.2 to 13.5 without a gap." in said.err


def test_to_an_age_the_young_wait_and_later_pickings_do_not_count(plain: Path) -> None:
    (told,) = compared(plain, to_day=40).pairs
    assert told.pair.estimate.value == pytest.approx(24)
    levels = level_rows(compared(plain, to_day=25))
    assert [row["estimate"] for row in levels] == [0.0, 0.0]  # all are picked on day 30


def test_a_split_that_is_asked_for_leaves_out_the_other_soaks(demo: Path) -> None:
    on = date.fromisoformat(LAST_DAY)
    (mixed,) = compared(demo, "spawn_form", as_of=on).pairs
    (split,) = compared(demo, "spawn_form", as_of=on, split_only=True).pairs
    assert (mixed.pair.varies, split.pair.varies) == ("both", "within soaks")
    assert len(split.pair.first) == len(split.pair.second) == mixed.pair.split == split.pair.split


def test_without_a_factor_all_that_vary_are_told_in_brief(plain: Path, demo: Path) -> None:
    said = ask(plain)
    assert said.code == 0
    assert said.out.startswith("BE of flushes 1 to 2, as of 2026-12-31.\n")
    assert "substrate       2      1      1" in said.out
    assert "wheat straw gave more than mulch" in said.out
    (row,) = ask(plain, "--json").json
    (alone,) = ask(plain, "substrate", "--json").json
    assert (row["factor"], row["difference"]) == ("substrate", alone["difference"])
    # For all looks together 8.38 standard errors (2.941 degrees of freedom, 1.5 soaks), of one look t(.975) = 3.219.
    assert (row["high"] - row["low"]) / (alone["high"] - alone["low"]) == pytest.approx(8.38 / 3.219, rel=1e-2)
    factors = [row["factor"] for row in ask(demo, "--json", as_of=LAST_DAY).json]
    assert set(factors) >= {"substrate", "strain", "spawn_form", "spawn_rate", "kind"}
    refused = ask(plain, "--split")
    assert (refused.code, refused.out) == (2, "")
    assert "--split: name what is compared first, like gillbook compare substrate --split." in refused.err


def test_without_a_factor_containers_are_told_too(tmp_path: Path) -> None:
    """Buckets of 2 and 8 holes, some of them taped, in each of three batches; their volumes run on without a gap."""
    names = ("N1", "N2", "N3")
    places = [(name, f"{name}-{at}", 20 + 2 * at) for name in names for at in range(8)]
    days = {name: date(2026, 1, 5 + 7 * at) for at, name in enumerate(names)}
    write_table(
        tmp_path, "batches", "\n".join(["batch,inoculated_on", *(f"{name},{day}" for name, day in days.items())])
    )
    holes = [
        f"{name},{place},{litres},{8 if litres % 4 else 2},{4 if litres % 4 else 0},1" for name, place, litres in places
    ]
    write_table(
        tmp_path, "fillings", "\n".join(["batch,container,volume_l,holes_open,holes_taped,substrate_dry_kg", *holes])
    )
    picked = [
        f"{days[name] + timedelta(30)},{500 + 9 * at},{place},{name}" for at, (name, place, _) in enumerate(places)
    ]
    write_table(tmp_path, "harvests", "\n".join(["picked_on,fresh_weight_g,container,batch", *picked]))
    said = ask(tmp_path)
    assert [line.split()[0] for line in said.out.splitlines()[4:6]] == ["holes_open", "holes_taped"]
    assert "volume_l: the numbers run from 20 to 34 without a gap." in said.err
    assert {row["factor"] for row in ask(tmp_path, "--json").json} == {"holes_open", "holes_taped"}


def test_an_empty_farm_says_so(tmp_path: Path) -> None:
    write_farm(tmp_path, [])
    said = ask(tmp_path, "substrate")
    assert said.code == 0
    assert "No batch is loaded" in said.err
    assert ask(tmp_path, "substrate", "--json").json == []
