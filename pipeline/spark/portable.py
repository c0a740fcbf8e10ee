"""One model of pipeline/models as a query of Spark, for all sites at once."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import closing
from datetime import date

import sqlglot
from sqlglot import exp
from sqlglot.optimizer.annotate_types import annotate_types
from sqlglot.optimizer.qualify import qualify

from pipeline.models.columns import grouped
from pipeline.models.decided import MEASURES
from pipeline.models.lineage import model, needed, own_words
from pipeline.models.statements import connect, set_variable
from pipeline.spark.dialect import in_spark, with_days
from pipeline.spark.sites import VARIABLE, NotPortable, for_sites

DUCKDB = "duckdb"
# The models that are written for Spark anew, in pipeline/models/spark: the head of each says why.
OWN_WORDS = frozenset({"groups"})
# The columns of tables by name, each with its type.
Types = Mapping[str, Mapping[str, str]]


def spark_query(name: str, by: tuple[str, ...], variables: Mapping[str, object], types: Types) -> str:
    """Return the query that gives the rows of a model for all sites, the site first.

    by: the columns by which units are grouped; variables: those of the question, while the farms' own are looked up;
    types: what `column_types` says of the tables that the model reads.

    Raises NotPortable for a model that holds what is not provided for.
    """
    if name in OWN_WORDS:
        return own_words(name)
    try:
        parsed = sqlglot.parse_one(grouped(model(name).text, by), dialect=DUCKDB)
        query = parsed.expression if isinstance(parsed, exp.Create) else parsed
        if not isinstance(query, exp.Query):
            raise NotPortable("no query")
        _put_in(query, variables)
        qualified = qualify(query, schema=dict(types), dialect=DUCKDB, quote_identifiers=False)
        annotated = annotate_types(qualified, schema=dict(types), dialect=DUCKDB)
        with_days(annotated)
        return in_spark(for_sites(annotated))
    except (sqlglot.errors.SqlglotError, NotPortable) as problem:
        raise NotPortable(f"{name}: {problem}") from problem


def _put_in(query: exp.Expr, variables: Mapping[str, object]) -> None:
    """Put the values of the question's variables in their places."""
    for each in list(query.find_all(exp.Anonymous)):
        if each.name.upper() == VARIABLE and each.expressions[0].name in variables:
            each.replace(_literal(variables[each.expressions[0].name]))


def _literal(value: object) -> exp.Expr:
    if isinstance(value, date):
        return exp.cast(exp.Literal.string(value.isoformat()), "date")
    return exp.convert(value)


def column_types(of_decided: Types, variables: Mapping[str, object], by: tuple[str, ...]) -> Types:
    """Return the columns of every table that the measures rest on, each with its type, as DuckDB says: it makes them
    of tables without rows.

    of_decided: the columns of the ledger's own tables, as Parquet files have them; variables: of the question and of a
    farm; by: what units are grouped by.
    """
    found: dict[str, Mapping[str, str]] = {}
    with closing(connect(":memory:")) as con:
        for name, value in variables.items():
            set_variable(con, name, value)
        for name, columns in of_decided.items():
            con.execute(_empty_table(name, columns))
        for name in needed(*MEASURES):
            con.execute(grouped(model(name).text, by))
        for name in (*of_decided, *needed(*MEASURES)):
            relation = con.table(name)
            found[name] = dict(zip(relation.columns, map(str, relation.types), strict=True))
    return found


def _empty_table(name: str, columns: Mapping[str, str]) -> str:
    defined = [
        exp.ColumnDef(this=exp.to_identifier(column, quoted=True), kind=exp.DataType.build(kind, dialect=DUCKDB))
        for column, kind in columns.items()
    ]
    schema = exp.Schema(this=exp.to_table(name), expressions=defined)
    return exp.Create(this=schema, kind="TABLE").sql(dialect=DUCKDB)
