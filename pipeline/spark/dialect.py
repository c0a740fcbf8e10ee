"""What DuckDB and Spark say differently and sqlglot does not know of: each difference once, in DIFFERENCES."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from sqlglot import exp

Change = Callable[[exp.Expr], exp.Expr]


def with_days(query: exp.Expr) -> None:
    """Let a day less a day be a number of days, as in DuckDB. The types of the query's parts must be annotated."""
    for node in list(query.find_all(exp.Sub)):
        if node.this.is_type("date") and node.expression.is_type("date"):
            node.replace(exp.Anonymous(this="DATEDIFF", expressions=[node.this, node.expression]))


def in_spark(query: exp.Query) -> str:
    """Return the text of a query of DuckDB as Spark understands it."""
    found = query.copy()
    # From within: what is changed has changed parts.
    for node in reversed(list(found.walk())):
        change = DIFFERENCES.get(type(node))
        changed = change(node) if change else node
        if changed is not node:
            node.replace(changed)
    return found.sql(dialect="spark", comments=False)


def _divided(node: exp.Expr) -> exp.Expr:
    """DuckDB divides decimals as floating numbers, Spark as decimals, which it rounds."""
    parts = (exp.cast(exp.paren(each), "double") for each in (node.this, node.expression))
    return exp.Div(**dict(zip(("this", "expression"), parts, strict=True)), typed=False, safe=True)


def _truncated(node: exp.Expr) -> exp.Expr:
    """Days alone are truncated in the models: the first day of a month or week is a day, and no moment."""
    return exp.Anonymous(this="TRUNC", expressions=[node.this, exp.Literal.string(node.text("unit"))])


def _cast(node: exp.Expr) -> exp.Expr:
    """What makes rows of a list stands alone; the widest whole numbers are decimals."""
    if isinstance(node.this, exp.Explode):
        return node.this
    if node.args["to"].this is exp.DataType.Type.INT128:
        return exp.cast(node.this, "decimal(38, 0)")
    return node


def _unhinted(node: exp.Expr) -> exp.Expr:
    """Whether a part that is read twice is worked out once is the engine's own."""
    node.set("materialized", None)
    return node


def _windowed(node: exp.Expr) -> exp.Expr:
    """A window cannot leave rows out, but sums up nothing of them."""
    if isinstance(node.this, exp.Filter):
        summed, condition = node.this.this, node.this.expression.this
        summed.set("this", exp.Case().when(condition, summed.this, copy=False))
        node.set("this", summed)
    return node


def _unordered(node: exp.Expr) -> exp.Expr:
    """In which order floating numbers are added is the engine's own."""
    if isinstance(node.this, exp.Order):
        node.set("this", node.this.this)
    return node


def _joined_texts(node: exp.Expr) -> exp.Expr:
    """Texts joined in order: those that are told once, in their own; else with the number that they are ordered by."""
    order, separator = node.this, node.args["separator"]
    texts = order.this if isinstance(order, exp.Order) else order
    if not isinstance(texts, exp.Distinct):
        return node
    (text,) = texts.expressions
    listed = exp.func("ARRAY_SORT", exp.Anonymous(this="COLLECT_SET", expressions=[text]))
    return exp.Anonymous(this="ARRAY_JOIN", expressions=[listed, separator])


def _quantile(node: exp.Expr) -> exp.Expr:
    return exp.Anonymous(this="PERCENTILE", expressions=[node.this, node.expression])


def _length(node: exp.Expr) -> exp.Expr:
    return exp.Anonymous(this="SIZE", expressions=[node.this]) if isinstance(node.this, exp.Array) else node


def _place(node: exp.Expr) -> exp.Expr:
    """Places in lists count from 1."""
    if isinstance(node.this, exp.Array):
        return exp.Anonymous(this="ELEMENT_AT", expressions=[node.this, *node.expressions])
    return node


def _function(node: exp.Expr) -> exp.Expr:
    """Functions that have another name."""
    name = FUNCTIONS.get(node.name.upper())
    return exp.Anonymous(this=name, expressions=node.expressions) if name else node


FUNCTIONS = {"LIST_POSITION": "ARRAY_POSITION"}
DIFFERENCES: Mapping[type[exp.Expr], Change] = {
    exp.Anonymous: _function,
    exp.Avg: _unordered,
    exp.Bracket: _place,
    exp.CTE: _unhinted,
    exp.Cast: _cast,
    exp.DateTrunc: _truncated,
    exp.Div: _divided,
    exp.GroupConcat: _joined_texts,
    exp.Length: _length,
    exp.PercentileCont: _quantile,
    exp.Quantile: _quantile,
    exp.StddevSamp: _unordered,
    exp.TimestampTrunc: _truncated,
    exp.Window: _windowed,
}
