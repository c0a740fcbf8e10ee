"""Every model that measures rest on is said in Spark's SQL, with the site in every key. No Java is needed for this."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
import sqlglot
from conftest import write_table
from ledgers import THREE_TABLES, refreshed
from sqlglot import exp

from pipeline.farm.folder import open_farm
from pipeline.models.decided import FARMS, MEASURES, OF_FILES, decided, decided_names, what_they_are
from pipeline.models.lineage import RESULTS, names, needed, own_words
from pipeline.models.measures import OF_MONTH
from pipeline.models.view import Query, cap_stages, opened
from pipeline.spark.dialect import in_spark
from pipeline.spark.portable import OWN_WORDS, Types, column_types, spark_query
from pipeline.spark.sites import SITE, VARIABLE, NotPortable, for_sites

MODELS = (*needed(*MEASURES), *MEASURES)
BY = ("batch", "kind")
ASKED = {
    "as_of": date(2026, 6, 1),
    "through": 1,
    "of_fillings": False,
    "cap_stages": cap_stages(),
    "month_first": date(2026, 5, 1),
    "month_last": date(2026, 5, 31),
    "to_day": None,
}


@pytest.fixture(scope="module")
def types(tmp_path_factory: pytest.TempPathFactory) -> Types:
    folder = tmp_path_factory.mktemp("farm")
    for table, text in THREE_TABLES.items():
        write_table(folder, table, text)
    (folder / "farm.toml").write_text("", encoding="utf-8")
    refreshed(folder)
    farm = open_farm(folder)
    with opened(farm.ledger, farm.settings) as ledger:
        (own,) = decided(ledger)[FARMS].to_dicts()
        columns = {
            name: dict(zip((at := ledger.connection.table(name)).columns, map(str, at.types), strict=True))
            for name in decided_names()
        }
    prices = {"key": own["price_items"], "value": own["price_texts"]}
    return column_types(columns, {**own, "farm_prices": prices, **ASKED, "group_by": [*BY]}, BY)


@pytest.fixture(scope="module", params=MODELS)
def query(request: pytest.FixtureRequest, types: Types) -> exp.Query:
    """A model as Spark is asked for it, read again."""
    parsed = sqlglot.parse_one(spark_query(request.param, BY, ASKED, types), dialect="spark")
    assert isinstance(parsed, exp.Query)
    return parsed


def is_site(node: exp.Expr) -> bool:
    return isinstance(node, exp.Column) and node.name == SITE


def lacking_site(query: exp.Query) -> list[str]:
    """The parts of a query in which sites could meet."""
    found = []
    for select in query.find_all(exp.Select):
        if select.expressions[0].alias_or_name != SITE:
            found.append(select.sql())
        group = select.args.get("group")
        if group and not any(is_site(each) for each in group.find_all(exp.Column)):
            found.append(group.sql())
    for join in query.find_all(exp.Join):
        sites = [each for each in join.args["on"].find_all(exp.Column) if is_site(each)] if join.args.get("on") else []
        if len({each.table for each in sites}) < 2 and not isinstance(join.this, exp.Values):
            found.append(join.sql())
    for window in query.find_all(exp.Window):
        named = window.args.get("alias") and window.args.get("over")
        if not named and not any(map(is_site, window.args.get("partition_by") or [])):
            found.append(window.sql())
    return found


def test_every_key_has_the_site(query: exp.Query) -> None:
    assert lacking_site(query) == []


def test_nothing_is_left_of_variables_and_subqueries(query: exp.Query) -> None:
    assert [each.sql() for each in query.find_all(exp.Anonymous) if each.name.upper() == VARIABLE] == []
    assert [each.sql() for each in query.find_all(exp.Exists)] == []
    assert [each.sql() for each in query.find_all(exp.In) if each.args.get("query")] == []


def test_nothing_is_said_that_spark_does_not_know(query: exp.Query) -> None:
    """sqlglot reads what Spark does not: numbers without a sign, and parts that are to be worked out once."""
    kinds = {each.args["to"].this for each in query.find_all(exp.Cast)}
    assert kinds.isdisjoint(exp.DataType.UNSIGNED_INTEGER_TYPES)
    assert [each.alias for each in query.find_all(exp.CTE) if each.args.get("materialized") is not None] == []


def test_a_model_is_found_again_that_lacks_the_site() -> None:
    whole = "select a.site as site, sum(x) from a join b on b.k = a.k group by a.k"
    assert len(lacking_site(sqlglot.parse_one(whole))) == 2


def test_what_is_written_for_spark_stands_for_models() -> None:
    assert set(MODELS) >= OWN_WORDS
    for name in (*OWN_WORDS, FARMS):
        assert f"-- writes: {name}\n" in own_words(name)


def test_measures_are_results_and_their_tables_are_described() -> None:
    assert set(MEASURES) <= names(RESULTS)
    said = what_they_are()
    assert set(said) == {*decided_names(), FARMS}
    assert all(text.endswith((".", "?")) for text in said.values()), said
    assert set(OF_FILES) <= set(OF_MONTH) - set(MEASURES)


SAID = [
    ("select a / b from t", "SELECT CAST((a) AS DOUBLE) / CAST((b) AS DOUBLE) FROM t"),
    ("select date_trunc('month', d)::date from t", "SELECT CAST(TRUNC(d, 'MONTH') AS DATE) FROM t"),
    ("select unnest(range(1, 3))::integer as n from t", "SELECT EXPLODE(SEQUENCE(1, 2)) AS n FROM t"),
    ("select x::hugeint from t", "SELECT CAST(x AS DECIMAL(38, 0)) FROM t"),
    ("select avg(x order by y) from t", "SELECT AVG(x) FROM t"),
    ("select quantile_cont(x, 0.5) from t", "SELECT PERCENTILE(x, 0.5) FROM t"),
    ("select list_position(['a'], x) from t", "SELECT ARRAY_POSITION(ARRAY('a'), x) FROM t"),
    ("select ['a', 'b'][x] from t", "SELECT ELEMENT_AT(ARRAY('a', 'b'), x) FROM t"),
    ("with a as materialized (select x from t) select x from a", "WITH a AS (SELECT x FROM t) SELECT x FROM a"),
    ("select len(['a', 'b']) from t", "SELECT SIZE(ARRAY('a', 'b')) FROM t"),
    (
        "select sum(x) filter (where y) over () from t",
        "SELECT SUM(CASE WHEN y THEN x END) OVER () FROM t",
    ),
    (
        "select string_agg(distinct x, ', ' order by x) from t",
        "SELECT ARRAY_JOIN(ARRAY_SORT(COLLECT_SET(x)), ', ') FROM t",
    ),
]


@pytest.mark.parametrize(("duckdb", "spark"), SAID)
def test_what_is_said_differently(duckdb: str, spark: str) -> None:
    query = sqlglot.parse_one(duckdb, dialect="duckdb")
    assert isinstance(query, exp.Query)
    assert in_spark(query) == spark


SITES = [
    (
        "select a.x from a where a.k in (select b.k from b)",
        "SELECT a.site AS site, a.x FROM a LEFT JOIN (SELECT DISTINCT b.site AS site, b.k AS found FROM b) AS found_0 "
        "ON found_0.found = a.k AND found_0.site = a.site WHERE (NOT found_0.found IS NULL)",
    ),
    (
        "with s as (select max(b.d) as d from b) select a.x from a cross join s",
        "WITH s AS (SELECT b.site AS site, MAX(b.d) AS d FROM b GROUP BY b.site) "
        "SELECT a.site AS site, a.x FROM a LEFT JOIN s ON s.site = a.site",
    ),
    (
        "select a.x + getvariable('days') as x from a",
        "SELECT a.site AS site, a.x + of_farm.days AS x FROM a JOIN farms AS of_farm ON of_farm.site = a.site",
    ),
    (
        "select coalesce(a.k, b.k) as k from a full join b on b.k = a.k",
        "SELECT COALESCE(a.site, b.site) AS site, COALESCE(a.k, b.k) AS k FROM a FULL JOIN b "
        "ON b.k = a.k AND b.site = a.site",
    ),
    (
        "select count(*) as n, row_number() over (order by a.k) as at from a group by a.k order by a.k",
        "SELECT a.site AS site, COUNT(*) AS n, ROW_NUMBER() OVER (PARTITION BY a.site ORDER BY a.k) AS at FROM a "
        "GROUP BY a.site, a.k ORDER BY a.site, a.k",
    ),
    ("select 1 as one", "SELECT of_farm.site AS site, 1 AS one FROM farms AS of_farm"),
]


@pytest.mark.parametrize(("one", "many"), SITES)
def test_only_rows_of_one_site_meet(one: str, many: str) -> None:
    query = sqlglot.parse_one(one)
    assert isinstance(query, exp.Query)
    assert for_sites(query).sql() == many


@pytest.mark.parametrize(
    ("sql", "why"),
    [
        ("select a.x from a limit 1", "a part of the rows only"),
        ("select (select b.x from b) as x from a", "more than one row"),
        ("with s as (select count(*) as n from b) select s.n from a cross join s", "counts a whole table"),
        ("select getvariable('d') as d from a full join b on a.k = b.k", "a variable beside a full join"),
        ("select a.x from a join b on a.k in (select c.k from c)", "in the condition of a join"),
    ],
)
def test_what_cannot_be_asked_of_many_farms_is_refused(sql: str, why: str) -> None:
    query = sqlglot.parse_one(sql)
    assert isinstance(query, exp.Query)
    with pytest.raises(NotPortable, match=why):
        for_sites(query)


def test_prices_of_a_day_are_not_taken_for_the_farms(farm: Callable[..., Path]) -> None:
    folder = farm("price_per_kg = 9", **THREE_TABLES, prices="from_on,item,price,per\n2026-01-01,fresh,12,kg")
    refreshed(folder)
    made = open_farm(folder)
    with opened(made.ledger, made.settings) as ledger:
        assert ledger.view(Query(date(2026, 6, 1))).settings["price_per_kg"] == 12
        (own,) = decided(ledger)[FARMS].to_dicts()
    assert (own["price_per_kg"], dict(zip(own["price_items"], own["price_texts"], strict=True))["fresh"]) == (9, "9.0")
