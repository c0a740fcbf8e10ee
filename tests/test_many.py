"""Many farms: one question, answered by each from its own ledger, and put together by site."""

from __future__ import annotations

import json
import sys
from datetime import date
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, cast

import duckdb
import polars as pl
import pytest
from conftest import Said, write_table
from ledgers import BATCHES, FILLINGS, here
from outlook_farms import weekly_farm

from pipeline.cli.commands import COMMANDS
from pipeline.cli.farm_answers import FarmAnswer, farms_in, named_farms
from pipeline.cli.many_command import READING, without_site
from pipeline.cli.show import Column, Gathered, gathered_table
from pipeline.cli.together import show_together
from pipeline.export.files import FileKind, write_files
from pipeline.export.hive import add_site
from pipeline.export.table import input_table
from pipeline.models.view import Query
from pipeline.spark.site_view import SiteView
from schemas.finding import WrongRequest

if TYPE_CHECKING:
    from pipeline.spark.engine import Sites

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
def reply(farms: Path) -> Said:
    return here("many", farms, "yields", "--by", "site,batch", *LATE, "--json")


def test_batches_of_one_name_on_two_farms_are_two_and_each_row_names_its_site(reply: Said, farms: Path) -> None:
    found = [(row["site"], row["batch"], row["fresh_g"]) for row in reply.json]
    assert found == [("hill", "A", 300.0), ("valley", "A", 500.0)]
    assert next(iter(reply.json[0])) == "site"
    alone = here("yields", "--by", "batch", *LATE, "--json", "--farm", farms / "valley").json
    assert [{key: cell for key, cell in row.items() if key != "site"} for row in reply.json[1:]] == alone


def test_a_farm_that_cannot_answer_is_named_and_the_others_answer(reply: Said) -> None:
    assert reply.code == 2
    assert reply.err.startswith("torn: farm.toml is not valid TOML")
    assert "hill" not in reply.err


def test_each_farm_keeps_a_ledger_of_its_own(reply: Said, farms: Path) -> None:
    assert reply.out
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
        (("many", "{}", "plan", "--kg", "5", "--out={}/rows"), "--out: rows to fill in are one farm's."),
        (("plan", "--kg", "5", "--out", "x", "--farm", "{}/hill", "--farm", "{}/valley"), "rows to fill in are one"),
        (("many", "{}", "report", "--open"), "--open: would open a page for each farm."),
        (("many", "{}", "promise", "2kg"), "promise: is about one farm at a time. Did you mean promise check?"),
        (("many", "{}", "weigh", "1", "400"), "weigh: is about one farm at a time."),
        (("many", "{}", "yield"), "Did you mean yields?"),
        (("many", "{}", "export", "--to", "{}/books", "--format", "csv"), "Many farms go into Parquet files: add"),
        (("many", "{}", "export", "--format", "parquet"), "Many farms go into Parquet files: add"),
        (("many", "{}", "export", "--to", "{}/hill", "--format", "parquet"), "hill: is there already"),
        (("many", "--engine", "spark", "{}", "yields"), "is no export of many farms. Write one: gillbook many FARMS"),
        (("many", "--engine", "spark", "{}", "yeilds"), "Spark does not answer that. Did you mean yields?"),
        (("many", "--engine", "spark", "{}", "months", "--weeks"), "--weeks: Spark does not answer that."),
        (
            ("many", "--engine", "spark", "--master", "7077", "{}", "yields"),
            "--master 7077: names no master of Spark. Write",
        ),
        (("many", "--master", "local[2]", "{}", "yields"), "--master: is Spark's. Add --engine spark"),
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
    answer = here(*(word.replace("{}", str(farms)) for word in words))
    assert answer.code == 2
    assert said.replace("{}", str(farms)) in answer.err
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


def test_promises_and_plans_of_many_farms_name_their_site(tmp_path: Path) -> None:
    for number, name in enumerate(("hill", "valley")):
        weekly_farm(tmp_path / name, 40)
        (tmp_path / name / "farm.toml").write_text("", encoding="utf-8")
        write_table(tmp_path / name, "promises", f"due_on,buyer,weight_g\n2026-10-16,inn,{1000 + number}")
    read = ("--as-of", "2026-10-09", "--json")
    said = here("many", tmp_path, "promise", "check", *read)
    assert said.code == 0, said.err
    assert [(row["site"], row["promised_kg"]) for row in said.json] == [("hill", 1.0), ("valley", 1.001)]
    named = [word for name in ("hill", "valley") for word in ("--farm", tmp_path / name)]
    assert here("promise", "check", *named, *read).json == said.json
    plans = here("many", tmp_path, "plan", "--kg", "9", "--weeks", "2", "--list", "weeks", *read).json
    assert [row["site"] for row in plans] == ["hill", "hill", "valley", "valley"]
    alone = here("plan", "--kg", "9", "--weeks", "2", "--list", "weeks", *read, "--farm", tmp_path / "hill").json
    assert [{key: cell for key, cell in row.items() if key != "site"} for row in plans[:2]] == alone


def test_tables_are_joined_by_their_columns_and_what_all_say_is_said_once(capsys: pytest.CaptureFixture[str]) -> None:
    be, kg = Column("be", "BE", 1), Column("kg", "kg", 2)
    batch = Column("batch", "batch")
    north = Gathered([gathered_table([{"batch": "A", "be": 81.24}], [batch, be])], notes=["As of today.", "a"])
    south = Gathered([gathered_table([{"batch": "A", "kg": 3.0}], [batch, kg])], notes=["As of today."])
    assert show_together({"north": FarmAnswer(0, north), "south": FarmAnswer(1, south)}, json=False) == 1
    shown = capsys.readouterr()
    assert [line.split() for line in shown.out.splitlines()] == [
        ["site", "batch", "kg", "BE"],
        ["-----", "-----", "----", "----"],
        ["north", "A", "-", "81.2"],
        ["south", "A", "3.00", "-"],
    ]
    assert shown.err.splitlines() == ["As of today.", "north: a"]


def test_a_table_without_rows_and_cells_without_letters_stay_what_they_are(capsys: pytest.CaptureFixture[str]) -> None:
    columns = [Column("batch", "batch"), Column("note", "its\nnote")]
    empty = Gathered([gathered_table([], columns)])
    blank = Gathered([gathered_table([{"batch": "A\nB", "note": ""}, {"batch": "", "note": None}], columns)])
    show_together({"north": FarmAnswer(0, empty), "so\x1buth": FarmAnswer(0, blank)}, json=False)
    assert capsys.readouterr().out.splitlines() == [
        "               its",
        "site    batch  note",
        "------  -----  ----",
        "so uth  A B",
        "so uth         -",
    ]


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


def test_many_farms_are_handed_on_as_parquet_parted_by_site_and_month(farms: Path, tmp_path: Path) -> None:
    to = tmp_path / "books"
    said = here("many", farms, "export", "--to", to, "--format", "parquet", *LATE)
    assert said.code == 2
    assert "torn: farm.toml is not valid TOML" in said.err
    assert said.out.startswith(f"{to}: 2 farms, ")
    files = [path.relative_to(to).as_posix() for path in sorted((to / "inputs" / "harvests").rglob("*.parquet"))]
    assert files == [f"inputs/harvests/site={site}/month=2026-02/data.parquet" for site in ("hill", "valley")]
    pattern = str(to / "inputs/harvests/**/*.parquet")
    picked = duckdb.sql(
        f"select site, month, sum(fresh_weight_g)::double from read_parquet('{pattern}', hive_partitioning = true,"
        " hive_types_autocast = false) group by all order by all"
    ).fetchall()
    assert picked == [("hill", "2026-02", 300.0), ("valley", "2026-02", 500.0)]
    yields = pl.scan_parquet(to / "results/yields", hive_partitioning=True).collect().sort("site")
    assert yields.select("site", "batch", "fresh_g").rows() == [("hill", "A", 300.0), ("valley", "A", 500.0)]
    schema = json.loads((to / "inputs" / "harvests.schema.json").read_text(encoding="utf-8"))
    assert [each["name"] for each in schema["fields"]][-2:] == ["site", "month"]
    assert sorted(path.name for path in to.iterdir()) == ["decided", "inputs", "results", "settings"]
    # What the ledgers decided is there also where no row is: engines read the types from it.
    assert {path.parent.name for path in (to / "decided" / "sales").rglob("*.parquet")} == {"site=hill", "site=valley"}
    sold = json.loads((to / "decided" / "sales.schema.json").read_text(encoding="utf-8"))
    assert [each["name"] for each in sold["fields"]][0:1] == ["sold_on"]
    assert [each["name"] for each in sold["fields"]][-1] == "site"
    assert [path.name for path in tmp_path.iterdir()] == ["books"]


def test_a_site_of_any_name_is_read_back_as_it_is_called(tmp_path: Path) -> None:
    table = input_table(
        "harvests", [{"picked_on": day, "fresh_weight_g": Decimal(1)} for day in (date(2026, 2, 1), None)]
    )
    site = "north shed=2/a"
    write_files(tmp_path / "one", [table], FileKind.parquet)
    add_site(tmp_path / "all", site, tmp_path / "one")
    found = pl.scan_parquet(tmp_path / "all/inputs/harvests", hive_partitioning=True, try_parse_hive_dates=False)
    assert found.select("site", "month").collect().sort("month", nulls_last=True).rows() == [
        (site, "2026-02"),
        (site, None),
    ]


def test_a_site_on_spark_names_its_groups_as_a_ledger_does() -> None:
    """All measures do so: the view of a site must have what the view of a ledger has, also where there is no Java."""
    answer = SimpleNamespace(columns={"group_number": "int", "names": "array"}, rows={"hill": [(1, ["straw"])]})
    sites = SimpleNamespace(farms={"hill": {}}, answer=lambda _name: answer, set_variables=lambda **_values: None)
    view = SiteView(cast("Sites", sites), "hill", Query(date(2026, 1, 1), ("substrate",)))
    assert view.groups() == {1: {"substrate": "straw"}}
    assert view.by("strain").groups() == {1: {"strain": "straw"}}


def test_without_java_or_spark_it_says_what_to_install(
    farms: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "decided").mkdir()
    monkeypatch.setenv("JAVA_HOME", "")
    monkeypatch.setenv("PATH", str(tmp_path))
    said = here("many", "--engine", "spark", tmp_path, "yields")
    assert said.code == 3
    assert "Spark runs on Java, and there is none here. Install Java 17" in " ".join(said.err.split())
    monkeypatch.setenv("JAVA_HOME", str(tmp_path))
    monkeypatch.setitem(sys.modules, "pyspark", None)
    said = here("many", "--engine", "spark", tmp_path, "yields")
    assert said.code == 3
    assert "Install gillbook[spark], or leave --engine away." in " ".join(said.err.split())
