"""On Spark, over the files that export writes of many farms, every measure is what each farm's own ledger gives."""

from __future__ import annotations

import gc
import os
import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from datetime import date
from pathlib import Path

import pytest
from ledgers import here, refreshed
from spark_farms import hand_on, of_ledger, question, unlike, write_farms

from pipeline.demo import LAST_DAY, write_bench
from pipeline.farm.folder import open_farm
from pipeline.growth import flushes, pins
from pipeline.models import measures, money
from pipeline.models.decided import MEASURES
from pipeline.models.view import LedgerView, Query, opened
from pipeline.spark.engine import Sites
from pipeline.spark.session import Session, spark_session, why_not
from pipeline.spark.site_view import SiteView
from schemas.result_rows import ResultRows

pytestmark = [
    pytest.mark.skipif(bool(why_not()), reason=why_not() or "Spark is here"),
    # Spark's connections to its Java process are closed when they are collected, not before.
    pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning"),
    pytest.mark.filterwarnings("ignore:Exception ignored in. <socket"),
]
# How many pickings the large farm has (`make spark-large`: a million); 0: there is none.
PICKINGS = int(os.environ.get("GILLBOOK_SPARK_PICKINGS", "0"))
MONTH = date(2026, 8, 1)
QUERY = Query(LAST_DAY, ("batch", "kind", "substrate"), through_flush=2)
Measure = Callable[[LedgerView], ResultRows]
Views = Mapping[str, LedgerView]


@pytest.fixture(scope="module")
def session() -> Iterator[Session]:
    with spark_session("local[2]") as found:
        yield found
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()


@pytest.fixture(scope="module")
def farms(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("farms")
    write_farms(folder)
    return folder


@pytest.fixture(scope="module")
def sites(session: Session, farms: Path, tmp_path_factory: pytest.TempPathFactory) -> Sites:
    together = tmp_path_factory.mktemp("together")
    hand_on(farms, together)
    return Sites(session, str(together / "decided"))


@pytest.fixture(scope="module")
def views(farms: Path) -> Iterator[Views]:
    """The views of the farms' own ledgers."""
    with ExitStack() as stack:
        made = {each.name: open_farm(each) for each in sorted(farms.iterdir())}
        ledgers = {site: stack.enter_context(opened(farm.ledger, farm.settings)) for site, farm in made.items()}
        yield {site: ledger.view(QUERY) for site, ledger in ledgers.items()}


def test_sites_are_the_farms_by_their_names(sites: Sites) -> None:
    assert list(sites.farms) == ["007", "demo", "hill"]
    assert [farm["late_rank"] for farm in sites.farms.values()] == [4, 4, 3]


@pytest.mark.parametrize("name", MEASURES)
def test_a_measure_is_the_ledgers(name: str, sites: Sites, views: Views) -> None:
    some = False
    for site, view in views.items():
        mine = SiteView(sites, site, QUERY)
        for each in (view, mine):
            each.set_variables(**question(MONTH))
        expected = of_ledger(view, name)
        some = some or bool(expected)
        assert list(unlike(mine.records(name), expected)) == [], site
    assert some


MEASURED: Mapping[str, tuple[Measure, tuple[str, ...]]] = {
    "yields": (measures.yields, ("substrate",)),
    "days": (measures.days, ("substrate",)),
    "losses": (measures.losses, ("container",)),
    "months": (measures.months, ()),
    "money": (money.money, ("strain", "substrate")),
    "money_months": (money.money_months, ()),
    "flushes": (flushes.flushes, ("substrate",)),
    "pins": (pins.pins, ("substrate",)),
}


@pytest.mark.parametrize("name", MEASURED)
def test_what_is_estimated_from_it_is_the_same(name: str, sites: Sites, views: Views) -> None:
    measure, by = MEASURED[name]
    for site, view in views.items():
        found = measure(SiteView(sites, site, QUERY).by(*by))
        assert list(unlike(found, measure(view.by(*by)))) == [], site


def test_the_command_shows_what_it_shows_of_the_ledgers(
    sites: Sites, session: Session, farms: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    @contextmanager
    def session_of_tests(master: str) -> Iterator[Session]:
        assert master == "local[2]"
        yield session

    monkeypatch.setattr("pipeline.spark.session.spark_session", session_of_tests)
    words = ("yields", "--by", "site,substrate", "--as-of", LAST_DAY)
    on_spark = here("many", "--engine", "spark", "--master", "local[2]", Path(sites.folder).parent, *words)
    of_ledgers = here("many", farms, *words)
    assert on_spark.out == of_ledgers.out
    assert "hill" in on_spark.out


@pytest.mark.skipif(not PICKINGS, reason="GILLBOOK_SPARK_PICKINGS tells how many: make spark-large")
def test_every_measure_of_a_large_farm_is_the_ledgers(session: Session, tmp_path: Path) -> None:
    folder, together = tmp_path / "farms" / "large", tmp_path / "together"
    write_bench(folder, PICKINGS, seed=1)
    refreshed(folder)
    together.mkdir()
    hand_on(folder.parent, together)
    sites = Sites(session, str(together / "decided"))
    farm = open_farm(folder)
    query = Query(date(2026, 1, 1), ("substrate", "kind"), through_flush=2)
    with opened(farm.ledger, farm.settings) as ledger:
        view, mine = ledger.view(query), SiteView(sites, "large", query)
        for each in (view, mine):
            each.set_variables(**question(date(2025, 10, 1)))
        for name in MEASURES:
            assert list(unlike(mine.records(name), of_ledger(view, name)))[:3] == [], name
