"""The models of many farms, made and read on Spark for all sites at once."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.models.columns import GROUP_BY
from pipeline.models.decided import FARMS, decided_names
from pipeline.models.lineage import model, needed, outdated, own_words
from pipeline.spark.portable import Types, column_types, spark_query
from pipeline.spark.session import Frame, Session, SparkRow, again_when_lost
from pipeline.spark.sites import SITE

# In a model whose table is made once, while a view is looked up anew whenever it is read.
MADE_ONCE = re.compile(r"^create or replace temp table", re.MULTILINE)


@dataclass(frozen=True)
class SitesAnswer:
    """What a model gives for all sites: its columns with their types as Spark calls them, and the rows of each site."""

    columns: Mapping[str, str]
    rows: Mapping[str, list[SparkRow]]


class Sites:
    """The ledgers of many farms in the files that `export` wrote: what Models is of one, of all at once."""

    def __init__(self, session: Session, folder: str) -> None:
        self._session, self.folder = session, folder
        self._variables: dict[str, object] = {}
        self._made: list[str] = []
        self._answers: dict[str, SitesAnswer] = {}
        self._types: Types = {}
        self._decided: dict[str, dict[str, str]] = {}
        for name in decided_names():
            frame = self._read(folder, name)
            frame.createOrReplaceTempView(name)
            self._decided[name] = {column: kind for column, kind in frame.dtypes if column != SITE}
        self._read(folder, FARMS).createOrReplaceTempView(f"{FARMS}_read")
        farms = self._make_farms()
        names = [column for column, _ in farms.dtypes]
        rows = [dict(zip(names, row, strict=True)) for row in farms.collect()]
        # What differs from farm to farm, by site.
        self.farms = {str(row[SITE]): row for row in sorted(rows, key=lambda row: str(row[SITE]))}

    def _make_farms(self) -> Frame:
        farms = self._session.sql(own_words(FARMS)).localCheckpoint()
        farms.createOrReplaceTempView(FARMS)
        return farms

    def _read(self, folder: str, name: str) -> Frame:
        return self._session.read.parquet(f"{folder.rstrip('/')}/{name}")

    def set_variables(self, **values: object) -> None:
        """Set the variables of the question; group_by: the columns by which units are grouped. What rests on one that
        changes is made anew.
        """
        changed = {name for name, value in values.items() if self._variables.get(name, ...) != value}
        if not changed:
            return
        self._variables.update(values)
        self._types = {}
        gone = outdated(self._made, changed)
        self._made = [name for name in self._made if name not in gone]
        old = gone | changed
        self._answers = {
            name: answer
            for name, answer in self._answers.items()
            if not old & (model(name).reads | model(name).variables)
        }

    def answer(self, name: str) -> SitesAnswer:
        """Return the rows of a model for every site, each in the model's order."""
        if name not in self._answers:
            self._answers[name] = again_when_lost(lambda: self._worked_out(name), self._begin_anew)
        return self._answers[name]

    def _worked_out(self, name: str) -> SitesAnswer:
        for each in needed(name):
            if each not in self._made:
                self._make(each)
        frame = self._query(name)
        found: dict[str, list[SparkRow]] = {site: [] for site in self.farms}
        for site, *cells in frame.collect():
            found[str(site)].append(tuple(cells))
        return SitesAnswer(dict(frame.dtypes[1:]), found)

    def _begin_anew(self) -> None:
        """Make all tables anew: some are lost."""
        self._made = []
        self._make_farms()

    def _make(self, name: str) -> None:
        frame = self._query(name)
        if MADE_ONCE.search(model(name).text):
            # Worked out now: a plan that held all plans before it would never end.
            frame = frame.localCheckpoint()
        frame.createOrReplaceTempView(name)
        self._made.append(name)

    def _query(self, name: str) -> Frame:
        variables = {key: value for key, value in self._variables.items() if key != GROUP_BY}
        return self._session.sql(spark_query(name, self._by(), variables, self._known_types()))

    def _by(self) -> tuple[str, ...]:
        by = self._variables.get(GROUP_BY)
        return tuple(map(str, by)) if isinstance(by, list) else ()

    def _known_types(self) -> Types:
        """The types of all columns: the farms' own variables are of one type wherever, so the first farm's do."""
        if not self._types:
            first = next(iter(self.farms.values()))
            prices = {"key": first["price_items"], "value": first["price_texts"]}
            values = {**first, "farm_prices": prices, **self._variables}
            self._types = column_types(self._decided, values, self._by())
        return self._types
