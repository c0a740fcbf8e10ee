"""On a cluster of Spark, with a master and workers of their own, every measure is what each farm's own ledger gives."""

from __future__ import annotations

import gc
import json
import shutil
import socket
import subprocess
import sys
import warnings
from collections.abc import Iterator
from contextlib import ExitStack, closing
from datetime import date
from pathlib import Path

import pytest
from ledgers import here
from spark_cluster import cluster, worker
from spark_farms import hand_on, of_ledger, question, unlike, write_farms

from pipeline.demo import LAST_DAY
from pipeline.farm.folder import open_farm
from pipeline.models.decided import MEASURES
from pipeline.models.view import Query, opened
from pipeline.spark import session as sessions
from pipeline.spark.engine import Sites
from pipeline.spark.session import again_when_lost, spark_problem, spark_session, why_not
from pipeline.spark.site_view import SiteView
from schemas.finding import OutOfReach

pytestmark = [
    # Four sessions of Spark and three clusters, on machines that have other things to do.
    pytest.mark.timeout(1800),
    pytest.mark.skipif(bool(why_not()), reason=why_not() or "Spark is here"),
    pytest.mark.skipif(shutil.which("bash") is None, reason="Spark's own scripts start a master by bash"),
    # Spark's connections to its Java process are closed when they are collected, not before.
    pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning"),
    pytest.mark.filterwarnings("ignore:Exception ignored in. <socket"),
]
QUERY = Query(LAST_DAY, ("batch", "kind", "substrate"), through_flush=2)
ASKED = ("yields", "--by", "substrate", "--as-of", LAST_DAY)


@pytest.fixture(autouse=True)
def collected() -> Iterator[None]:
    yield
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()


@pytest.fixture(scope="module")
def farms(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("farms")
    write_farms(folder)
    return folder


@pytest.fixture(scope="module")
def together(farms: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("together")
    hand_on(farms, folder)
    return folder


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with cluster(tmp_path_factory.mktemp("cluster"), workers=2) as found:
        yield found


def asked(master: str, together: Path, *words: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """What the program says, in a process of its own, as it is started by hand."""
    given = ["many", "--engine", "spark", "--master", master, together, *words]
    command = [sys.executable, "-c", "import sys; from pipeline.cli import run; sys.exit(run())", *map(str, given)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd)


def test_the_command_shows_of_a_cluster_what_it_shows_of_the_ledgers(farms: Path, together: Path, master: str) -> None:
    on_cluster = asked(master, Path(together.name), *ASKED, "--json", cwd=together.parent)
    assert on_cluster.returncode == 0, on_cluster.stderr
    found, expected = json.loads(on_cluster.stdout), json.loads(here("many", farms, *ASKED, "--json").out)
    assert {row["site"] for row in found} == {"007", "demo", "hill"}
    assert list(unlike(found, expected)) == []


def test_every_measure_of_a_cluster_is_the_ledgers(farms: Path, together: Path, master: str) -> None:
    with spark_session(master) as session:
        sites = Sites(session, str(together / "decided"))
        for each in sorted(farms.iterdir()):
            farm = open_farm(each)
            with opened(farm.ledger, farm.settings) as ledger:
                view, mine = ledger.view(QUERY), SiteView(sites, each.name, QUERY)
                for one in (view, mine):
                    one.set_variables(**question(date(2026, 8, 1)))
                for name in MEASURES:
                    assert list(unlike(mine.records(name), of_ledger(view, name)))[:3] == [], (each.name, name)


def test_tables_that_went_with_a_worker_are_made_anew(farms: Path, together: Path, tmp_path: Path) -> None:
    farm = open_farm(farms / "demo")
    with cluster(tmp_path, workers=0) as master, ExitStack() as first:
        first.enter_context(worker(tmp_path, "first", master))
        with spark_session(master) as session, opened(farm.ledger, farm.settings) as ledger:
            view = ledger.view(QUERY)
            mine = SiteView(Sites(session, str(together / "decided")), "demo", QUERY)
            assert list(unlike(mine.records("yields"), of_ledger(view, "yields"))) == []
            first.close()
            with worker(tmp_path, "second", master):
                assert list(unlike(mine.records("losses"), of_ledger(view, "losses"))) == []


def test_a_master_without_workers_is_not_waited_for(
    together: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sessions, "PATIENCE_S", 3)
    with cluster(tmp_path, workers=0) as lonely:
        said = here("many", "--engine", "spark", "--master", lonely, together, *ASKED)
    assert said.code == 3
    text = " ".join(said.err.split())
    assert f"{lonely}: it answers, but none of its workers began within 3 s. Look there whether one is free" in text
    assert "Traceback" not in said.err


def test_what_is_no_master_of_spark_is_told_and_not_waited_for(together: Path) -> None:
    with closing(socket.create_server(("127.0.0.1", 0))) as other:
        place = f"spark://127.0.0.1:{other.getsockname()[1]}"
        said = asked(place, together, *ASKED)
    assert said.returncode == 3
    assert f"--master {place}: Spark does not begin there" in " ".join(said.stderr.split())
    assert "Traceback" not in said.stderr


def test_files_that_workers_do_not_find_are_told_with_the_place() -> None:
    py4j = pytest.importorskip("py4j.protocol")
    with pytest.raises(OutOfReach) as said, spark_problem("/mnt/network"):
        raise py4j.Py4JError(
            "Job aborted: java.io.FileNotFoundException: File file:/mnt/network/decided does not exist"
        )
    assert str(said.value).startswith("/mnt/network: Spark, or one of its workers, does not find all files there.")
    with pytest.raises(OutOfReach, match="Spark could not work it out: out of memory"), spark_problem("/mnt/network"):
        raise py4j.Py4JError("out of memory\n  at a place in Java")


def test_what_is_lost_is_begun_anew_and_not_for_ever() -> None:
    py4j = pytest.importorskip("py4j.protocol")
    lost, begun = py4j.Py4JError("Checkpoint block rdd_29_0 not found!"), []

    def work() -> int:
        if len(begun) < 2:
            raise lost
        return len(begun)

    def never() -> int:
        raise lost

    assert again_when_lost(work, lambda: begun.append(1)) == 2
    with pytest.raises(py4j.Py4JError):
        again_when_lost(never, lambda: begun.append(1))
    assert len(begun) == 4
