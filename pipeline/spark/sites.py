"""Site in every key: a query about one farm becomes one about many, and each of its rows says of which farm it is.

Of the tables that it reads, only rows of one site meet; what is summed, numbered or told apart is so within a site.
What differs from farm to farm as a variable does stands in the table `farms`, one row a site.
"""

from __future__ import annotations

from collections.abc import Collection

from sqlglot import exp

SITE = "site"
# The variables of the farms' ledgers, one row a site; and what it is called where it is joined.
FARMS, OF_FARM = "farms", "of_farm"
# What a subquery gives, once it is joined.
FOUND = "found"
VARIABLE = "GETVARIABLE"


class NotPortable(Exception):
    """What a model holds that cannot be asked of many farms, or of another engine: a mistake of ours."""


def for_sites(query: exp.Query) -> exp.Query:
    """Return the query for many farms, with the site as its first column. Its columns must be qualified.

    Raises NotPortable for what is not provided for.
    """
    found = query.copy()
    selects = list(found.find_all(exp.Select))
    # What sums up a whole table has a row where that has none.
    summing = {id(each) for each in selects if not each.args.get("group") and _aggregates(each)}
    parts = {cte.alias: cte.this for cte in found.find_all(exp.CTE) if id(cte.this) in summing}
    if any(_counts(each) for each in parts.values()):
        raise NotPortable("a part that counts a whole table: where that has no row of a site, it is 0 and not blank")
    always = frozenset(parts)
    # From within: what stands in a subquery is for many farms before it is joined.
    for select in reversed(selects):
        _rewrite(select, summing, always)
    for union in found.find_all(exp.SetOperation):
        _order_by_site(union, exp.column(SITE))
    return found


def _own(select: exp.Select, *kinds: type[exp.Expr]) -> list[exp.Expr]:
    """Return the nodes of these kinds that are the query's own, not those of queries within it."""
    within = select.walk(prune=lambda node: isinstance(node, exp.Query) and node is not select)
    return [node for node in within if isinstance(node, kinds) and node is not select]


def _aggregates(select: exp.Select) -> bool:
    """Whether it sums up rows by itself, and not only in windows of them."""
    over = [each.this.this if isinstance(each.this, exp.Filter) else each.this for each in _own(select, exp.Window)]
    return any(all(each is not window for window in over) for each in _own(select, exp.AggFunc))


def _counts(select: exp.Select) -> bool:
    return any(isinstance(each, exp.Count) for each in _own(select, exp.AggFunc))


def _rewrite(select: exp.Select, summing: Collection[int], always: Collection[str]) -> None:
    distinct = select.args.get("distinct")
    if select.args.get("limit") or (distinct and distinct.args.get("on")):
        raise NotPortable("a part of the rows only: of each site another part is meant")
    grouped = bool(select.args.get("group")) or id(select) in summing
    if select.args.get("from_") is None:
        select.from_(_farms(), copy=False)
    site = _join_sites(select, always)
    _take_variables(select, grouped)
    _join_subqueries(select, site, summing)
    for window in [*_own(select, exp.Window), *(select.args.get("windows") or [])]:
        # One that only names another has that one's rows.
        if not (window.args.get("alias") and window.args.get("over")) and not _parted(window):
            window.set("partition_by", [site.copy(), *(window.args.get("partition_by") or [])])
    if grouped:
        group = select.args.get("group") or exp.Group()
        group.set("expressions", [site.copy(), *group.expressions])
        select.set("group", group)
    select.set("expressions", [exp.alias_(site.copy(), SITE), *select.expressions])
    _order_by_site(select, site)


def _farms() -> exp.Expr:
    return exp.alias_(exp.to_table(FARMS), OF_FARM, table=True)


def _parted(window: exp.Expr) -> bool:
    """Whether it is parted by site: a named window is found twice."""
    first = next(iter(window.args.get("partition_by") or []), None)
    return isinstance(first, exp.Column) and first.name == SITE


def _join_sites(select: exp.Select, always: Collection[str]) -> exp.Expr:
    """Let only rows of one site meet; return by which column that site is known."""
    site: exp.Expr = exp.column(SITE, table=select.args["from_"].this.alias_or_name)
    for join in select.args.get("joins") or []:
        if isinstance(join.this, exp.Values):
            continue
        own = exp.column(SITE, table=join.this.alias_or_name)
        met = exp.EQ(this=own, expression=site.copy())
        if join.args.get("on"):
            join.set("on", exp.and_(join.args["on"], met, copy=False))
        else:
            join.set("kind", None)
            join.set("side", "LEFT" if join.this.name in always else None)
            join.set("on", met)
        if join.args.get("side") == "FULL":
            site = exp.Coalesce(this=site, expressions=[own.copy()])
    return site


def _take_variables(select: exp.Select, grouped: bool) -> None:
    """Take what differs from farm to farm from their table, which is joined before all others."""
    found = [each for each in _own(select, exp.Anonymous) if each.name.upper() == VARIABLE]
    for each in found:
        value: exp.Expr = exp.column(each.expressions[0].name, table=OF_FARM)
        within = each.find_ancestor(exp.AggFunc, exp.Join, exp.Where, exp.Group, exp.Select)
        each.replace(exp.AnyValue(this=value) if grouped and isinstance(within, exp.Select) else value)
    first = select.args["from_"].this.alias_or_name
    if not found or first == OF_FARM:
        return
    joins = select.args.get("joins") or []
    if any(join.args.get("side") == "FULL" for join in joins):
        raise NotPortable("a variable beside a full join")
    met = exp.EQ(this=exp.column(SITE, table=OF_FARM), expression=exp.column(SITE, table=first))
    select.set("joins", [exp.Join(this=_farms(), on=met), *joins])


def _join_subqueries(select: exp.Select, site: exp.Expr, summing: Collection[int]) -> None:
    """Join what stands in a subquery: engines allow those in few places, and a join says of which site it is."""
    names: dict[str, str] = {}
    for each in _own(select, exp.In, exp.Exists, exp.Subquery):
        inner = each.args["query"].unnest() if each.args.get("query") else each.this.unnest()
        if isinstance(each.parent, exp.From | exp.Join | exp.In) or not isinstance(inner, exp.Select):
            continue
        if isinstance(each, exp.Subquery) and id(inner) not in summing:
            raise NotPortable("a subquery of more than one row")
        if each.find_ancestor(exp.Join, exp.Select).__class__ is exp.Join:
            raise NotPortable("a subquery in the condition of a join")
        # The same one is joined once, so that what is grouped by it is what is shown of it.
        text = each.sql()
        new = text not in names
        name = names.setdefault(text, f"{FOUND}_{len(names)}")
        value: exp.Expr = exp.column(FOUND, table=name)
        key = exp.EQ(this=value.copy(), expression=each.this.copy()) if isinstance(each, exp.In) else None
        if not isinstance(each, exp.Subquery):
            value = exp.paren(exp.Not(this=exp.Is(this=value, expression=exp.null())))
        elif _counts(inner):
            value = exp.Coalesce(this=value, expressions=[exp.Literal.number(0)])
        each.replace(value)
        if new:
            _join(select, name, inner, site, key)


def _join(select: exp.Select, name: str, inner: exp.Select, site: exp.Expr, key: exp.Expr | None) -> None:
    """Join the rows of a subquery, which is for many farms already, each once a site."""
    of_site, given = inner.expressions
    inner.set("expressions", [of_site, exp.alias_(given.unalias(), FOUND)])
    if not inner.args.get("group"):
        inner.set("distinct", exp.Distinct())
    met = exp.EQ(this=exp.column(SITE, table=name), expression=site.copy())
    joined = exp.alias_(exp.Subquery(this=inner), name, table=True, copy=False)
    on = met if key is None else exp.and_(key, met, copy=False)
    select.append("joins", exp.Join(this=joined, side="LEFT", on=on))


def _order_by_site(query: exp.Query, site: exp.Expr) -> None:
    order = query.args.get("order")
    if order:
        order.set("expressions", [exp.Ordered(this=site.copy(), nulls_first=True), *order.expressions])
