"""What each row of the page is of: the recipes, strains and kinds of containers, by which a reader filters the page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from reports.columns import RECIPE
from reports.month import Month
from reports.tables import merged
from reports.words import spoken
from schemas.result_rows import Row, text_of, texts_of

# A combination: the values by which it is matched, of these columns in this order.
MATCHED = ("substrate", "treatment", "spawn_form", "strain")
WRITTEN = (*MATCHED, "kind")
Some = frozenset[int]  # combinations, by their numbers
End = tuple[str, ...]  # what a container is of: the values of a row of batch_kinds in the columns WRITTEN


@dataclass(frozen=True)
class FilterField:
    """One thing to filter by: what it is called, and what there is to choose from."""

    name: str
    label: str
    options: tuple[str, ...]


@dataclass(frozen=True)
class Filters:
    """The combinations of recipe, strain and kind of container that the farm has, and which of them a row is of.

    A row that says nothing of them is of all.
    """

    month: Month

    @cached_property
    def _kinds(self) -> Sequence[Row]:
        return self.month.rows("batch_kinds")

    @cached_property
    def _ends(self) -> Sequence[End]:
        """The values of each row of batch_kinds, as they are written: those matched, and its kind of container."""
        return [*zip(*texts_of(self._kinds, *WRITTEN), strict=True)]

    @cached_property
    def _keys(self) -> dict[End, End]:
        """How each end that the rows have is matched, in the order of the rows."""
        return {end: (*map(_same, end[:-1]), end[-1]) for end in dict.fromkeys(self._ends)}

    @cached_property
    def _numbers(self) -> dict[End, int]:
        """The number of each combination, by its matched values and its kind of container."""
        return {key: at for at, key in enumerate(sorted({*self._keys.values()}))}

    @cached_property
    def all(self) -> Some:
        """Every combination."""
        return frozenset(self._numbers.values())

    @cached_property
    def _named(self) -> list[tuple[str, str, str]]:
        """What each combination is called: its recipe, strain and kind of container, as first written."""
        found: dict[int, tuple[str, str, str]] = {}
        for end, key in self._keys.items():
            row = dict(zip(WRITTEN, end, strict=True))
            name = (merged(RECIPE, row).text, spoken("strain", row["strain"]), spoken("kind", row["kind"]))
            found.setdefault(self._numbers[key], name)
        return [found[at] for at in sorted(found)]

    @cached_property
    def choices(self) -> tuple[FilterField, ...]:
        """What the page can be filtered by; only where there is more than one to choose from."""
        labels = (("recipe", "Recipe"), ("strain", "Strain"), ("kind", "Container"))
        return tuple(
            FilterField(name, label, tuple(sorted({each[at] for each in self._named})))
            for at, (name, label) in enumerate(labels)
        )

    @property
    def any(self) -> bool:
        """Whether there is anything to choose between."""
        return any(len(each.options) > 1 for each in self.choices)

    @property
    def combinations(self) -> list[list[int]]:
        """The options of each combination, by their places among the choices."""
        return [[each.options.index(name) for each, name in zip(self.choices, of, strict=True)] for of in self._named]

    @cached_property
    def _by_name(self) -> dict[str, dict[str, Some]]:
        """The combinations of each batch and of each soak, by its name."""
        own = {end: frozenset((self._numbers[key],)) for end, key in self._keys.items()}
        of_rows = [own[end] for end in self._ends]
        found: dict[str, dict[str, Some]] = {"batch": {}, "soak": {}}
        for named, names in zip(found.values(), texts_of(self._kinds, *found), strict=True):
            for name, some in zip(names, of_rows, strict=True):
                known = named.setdefault(name, some)
                if known is not some and not some <= known:
                    named[name] = known | some
        return found

    def of_row(self, table: str, at: int) -> Some:
        """Return the combinations that this row of a result table is of."""
        row = self.month.rows(table)[at]
        return (self._of_name(row) or self._of_values(row) or self.all) if self.all else self.all

    def of_part(self, row: Row) -> Some:
        """Return the combinations that a part of a figure is of: by its batch, or else by its recipe, strain and kind
        of container (None: of several kinds).
        """
        if "batch" in row:
            return self._by_name["batch"].get(text_of(row, "batch"), self.all)
        kind = row["kind"]
        of = (*map(row.get, MATCHED), kind)
        if of not in self._parts:
            ends = {at for key, at in self._numbers.items() if kind is None or key[-1] == kind}
            self._parts[of] = self._of_values(row) & ends or self.all
        return self._parts[of]

    @cached_property
    def _parts(self) -> dict[tuple[object, ...], Some]:
        """What parts of these values were found to be of: there are few different ones, and many parts."""
        return {}

    def _of_name(self, row: Row) -> Some | None:
        for column in ("batch", "soak"):
            if row.get(column):
                found = self._by_name[column].get(text_of(row, column))
                return self._of_container(row, found) if found else None
        return None

    def _of_container(self, row: Row, batch: Some) -> Some:
        """Return those of the batch that are of the container's kind; all where the row is of a batch as a whole."""
        if "kind" not in row or not row.get("container"):
            return batch
        ends = {at for key, at in self._numbers.items() if key[-1] == text_of(row, "kind")}
        return batch & ends or batch

    def _of_values(self, row: Row) -> Some:
        given = {at: _same(text_of(row, name)) for at, name in enumerate(MATCHED) if row.get(name) is not None}
        fit = (at for key, at in self._numbers.items() if all(key[place] == value for place, value in given.items()))
        return frozenset(fit) if given else self.all


def _same(text: str) -> str:
    """Return a text as it is compared: growers write one name in large and small letters."""
    return " ".join(text.split()).casefold()


class Marks:
    """The marks that rows on the page carry: the number of what a row is of, 0 for all, and at last each such set."""

    def __init__(self, filters: Filters) -> None:
        self._filters = filters
        self._sets: dict[Some, int] = {filters.all: 0}

    def of_row(self, table: str, at: int) -> int:
        """Return the mark of a row of a result table."""
        return self.of(self._filters.of_row(table, at))

    def of(self, some: Some) -> int:
        """Return the mark of these combinations."""
        return self._sets.setdefault(some, len(self._sets))

    def of_rows(self, table: str, numbers: Iterable[int]) -> list[int]:
        """Return the marks of these rows of a result table."""
        return [self.of_row(table, at) for at in numbers]

    @property
    def sets(self) -> list[list[int]]:
        """The combinations behind each mark, in the order of the marks."""
        return [sorted(each) for each in self._sets]
