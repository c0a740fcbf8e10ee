"""Many farms: one question, answered by each from its own ledger, and put together by site."""

from __future__ import annotations

from pathlib import Path

import pytest
from conftest import Said, write_table
from ledgers import BATCHES, FILLINGS, here

from pipeline.cli.commands import COMMANDS
from pipeline.cli.farm_answers import FarmAnswer, farms_in, named_farms
from pipeline.cli.many_command import READING, without_site
from pipeline.cli.show import Column, Gathered
from pipeline.cli.together import show_together
from schemas.finding import WrongRequest

LATE = ("--as-of", "2026-06-01")


def write_farm(folder: Path, grams: int) -> None:
    folder.mkdir(parents=True)
    for table, text in {"batches": BATCHES, "fillings": FILLINGS}.items():
        write_table(folder, table, text)
    write_table(folder, "harvests", f"picked_on,fresh_weight_g,container\n2026-02-01,{grams},1")


@pytest.fixture(scope="module")
def farms(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("many")
    write_farm(folder / "hill", 300)
    write_farm(folder / "valley", 500)
    write_farm(folder / "torn", 700)
    (folder / "torn" / "farm.toml").write_text("lapse_days = ", encoding="utf-8")
    (folder / "papers").mkdir()
    return folder


@pytest.fixture(scope="module")
def asked(farms: Path) -> Said:
    return here("many", farms, "yields", "--by", "site,batch", *LATE, "--json")


def test_batches_of_one_name_on_two_farms_are_two_and_each_row_names_its_site(asked: Said, farms: Path) -> None:
    found = [(row["site"], row["batch"], row["fresh_g"]) for row in asked.json]
    assert found == [("hill", "A", 300.0), ("valley", "A", 500.0)]
    assert next(iter(asked.json[0])) == "site"
    alone = here("yields", "--by", "batch", *LATE, "--json", "--farm", farms / "valley").json
    assert [{key: cell for key, cell in row.items() if key != "site"} for row in asked.json[1:]] == alone


def test_a_farm_that_cannot_answer_is_named_and_the_others_answer(asked: Said) -> None:
    assert asked.code == 2
    assert asked.err.startswith("torn: farm.toml is not valid TOML")
    assert "hill" not in asked.err


def test_each_farm_keeps_a_ledger_of_its_own(asked: Said, farms: Path) -> None:
    assert asked.out
    assert [path.parent.name for path in sorted(farms.rglob("ledger.duckdb"))] == ["hill", "valley"]
    assert not (farms / "ledger.duckdb").exists()


def test_farms_that_are_named_one_by_one_are_asked_alike(farms: Path) -> None:
    said = here("losses", "--farm", farms / "valley", "--by", "site", f"--farm={farms / 'hill'}", *LATE)
    assert said.code == 0, said.err
    rows = [line.split()[:2] for line in said.out.splitlines() if line.startswith(("hill", "valley"))]
    assert rows == [["valley", "2"], ["hill", "2"]]
    assert said.out.splitlines()[1].startswith("site ")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("many", "{}/papers", "yields"), "none of the folders in it is a farm."),
        (("many", "{}/none", "yields"), "there is no such folder."),
        (("many", "{}/hill", "yields"), "is a farm itself."),
        (("many", "{}", "weigh", "1", "400"), "weigh: is about one farm at a time."),
        (("many", "{}", "yield"), "Did you mean yields?"),
        (("many", "{}", "yields", "--farm", "x"), "many asks all farms in its folder."),
        (("yields", "--farm", "{}/hill", "--farm", "{}/papers/../hill"), "is the same farm as {}/hill. Name each farm"),
        (("yields", "--farm", "{}/hill", "--farm", "{}/papers"), "papers: no farm here"),
        (
            ("note", "1", "pins", "--farm", "{}/hill", "--farm", "{}/valley"),
            "note: --farm is given twice, {}/hill and {}/valley.",
        ),
    ],
)
def test_a_wrong_request_asks_no_farm(words: tuple[str, ...], said: str, farms: Path) -> None:
    before = {path: path.read_bytes() for path in farms.rglob("*.csv")}
    answer = here(*(word.format(farms) for word in words))
    assert answer.code == 2
    assert said.format(farms) in answer.err
    assert {path: path.read_bytes() for path in farms.rglob("*.csv")} == before


def test_farms_are_called_by_their_folders_or_by_their_paths_where_two_have_one_name(tmp_path: Path) -> None:
    for place in ("a/farm", "b/farm", "c"):
        write_farm(tmp_path / place, 1)
    assert list(named_farms([tmp_path / "a/farm", tmp_path / "c"])) == ["farm", "c"]
    both = [tmp_path / "a/farm", tmp_path / "b/farm"]
    assert list(named_farms(both)) == [path.as_posix() for path in both]
    (tmp_path / "link").symlink_to(tmp_path / "c")
    with pytest.raises(WrongRequest, match="the same farm"):
        farms_in(tmp_path)


def test_tables_are_joined_by_their_columns_and_what_all_say_is_said_once(capsys: pytest.CaptureFixture[str]) -> None:
    be, kg = Column("be", "BE", 1), Column("kg", "kg", 2)
    north = Gathered([([{"batch": "A", "be": 81.24}], [Column("batch", "batch"), be])], notes=["As of today.", "a"])
    south = Gathered([([{"batch": "A", "kg": 3.0}], [Column("batch", "batch"), kg])], notes=["As of today."])
    assert show_together({"north": FarmAnswer(0, north), "south": FarmAnswer(1, south)}, json=False) == 1
    shown = capsys.readouterr()
    assert [line.split() for line in shown.out.splitlines()] == [
        ["site", "batch", "kg", "BE"],
        ["-----", "-----", "----", "----"],
        ["north", "A", "-", "81.2"],
        ["south", "A", "3.00", "-"],
    ]
    assert shown.err.splitlines() == ["As of today.", "north: a"]


def test_what_no_farm_can_answer_is_said_once(capsys: pytest.CaptureFixture[str]) -> None:
    refused = FarmAnswer(2, Gathered(notes=["--by x: there is no such column."]))
    assert show_together({"a": refused, "b": refused}, json=True) == 2
    shown = capsys.readouterr()
    assert (shown.out, shown.err) == ("", "--by x: there is no such column.\n")


def test_lines_stand_under_their_site_unless_all_are_alike(capsys: pytest.CaptureFixture[str]) -> None:
    answers = {"a": FarmAnswer(0, text="one\n"), "b": FarmAnswer(0, text="two\n")}
    show_together(answers, json=False)
    assert capsys.readouterr().out == "a:\none\n\nb:\ntwo\n"
    show_together({site: FarmAnswer(0, text="one\n") for site in answers}, json=False)
    assert capsys.readouterr().out == "one\n"


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (["--by", "site"], ["--by", "all"]),
        (["--by=site,substrate"], ["--by=substrate"]),
        (["--by", "strain,site", "--json"], ["--by", "strain", "--json"]),
        (["--within", "site"], ["--within", "site"]),
    ],
)
def test_by_site_is_what_each_farm_gives_as_a_whole(words: list[str], meant: list[str]) -> None:
    assert without_site(words) == meant


def test_what_many_answer_are_commands() -> None:
    assert set(READING) <= set(COMMANDS)
