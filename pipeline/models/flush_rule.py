"""By which rule blank flush cells were numbered, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.models import measures
from pipeline.models.view import LedgerView, Models
from schemas.answers import FlushSource
from schemas.phrases import counted
from schemas.pickings import MOST_WRONG
from schemas.result_rows import ResultRows, labels_of, whole_of


@dataclass(frozen=True)
class FlushRule:
    """A picking of new_flush_after_days or more after the one before begins a new flush; source: set, fitted or usual.
    gaps_unsure: how many of the gaps may be either; wrong: how many are expected on the wrong side, over those between
    flushes. pickings, pickings_derived: of the farm, and those with a blank flush; file, row: the first of these.
    """

    new_flush_after_days: int
    source: FlushSource
    gaps: int
    gaps_unsure: int
    wrong: float
    pickings: int
    pickings_derived: int
    file: str | None
    row: int | None

    @property
    def unsure(self) -> bool:
        """Whether too many gaps are expected on the wrong side."""
        return self.wrong > MOST_WRONG

    def doubt(self, derived: float) -> str | None:
        """Return why flush numbers are too unsure to tell a decline, where so many of them (a share) are derived; None
        where they are sure enough.
        """
        if self.wrong * derived <= MOST_WRONG:
            return None
        return (
            f"{self.gaps_unsure} of {counted(self.gaps, 'gap')} between pickings may begin a new flush or not, and the "
            "flush is blank: write it into the pickings"
        )

    def counted_blank(self) -> str:
        """Return how many pickings have a blank flush, like "12 of 30 pickings (40 %)"."""
        share = 100 * self.pickings_derived / self.pickings
        return f"{self.pickings_derived} of {counted(self.pickings, 'picking')} ({share:.0f} %)"

    def in_words(self) -> str:
        """Return the rule as a sentence says it."""
        how = {
            FlushSource.SET: "as farm.toml tells",
            FlushSource.FITTED: f"where the {counted(self.gaps, 'gap')} of this farm part",
            FlushSource.USUAL: "as is usual",
        }[self.source]
        return f"a new flush begins {self.new_flush_after_days} days or more after the picking before, {how}"

    def note(self) -> str | None:
        """Return how many flush numbers are derived, and how; None where none is."""
        if not self.pickings_derived:
            return None
        unsure = " That is unsure here: gillbook check." if self.unsure else ""
        return f"{self.counted_blank()} have no flush in their row: {self.in_words()}.{unsure}"


@dataclass(frozen=True)
class DerivedShare:
    """Which share of a group's pickings has a derived flush (None: nothing picked), and why that is too unsure to tell
    a decline (None: it is not).
    """

    share: float | None
    why: str | None


def unsure_groups(view: LedgerView, flushes: ResultRows | None = None) -> dict[tuple[str, ...], DerivedShare]:
    """Return how much of each group's flushes is derived, by the labels of the group. flushes: the view's flushes, as
    measures.flushes gives them, where they are read already.
    """
    rule = flush_rule(view)
    pickings: dict[tuple[str, ...], int] = {}
    derived: dict[tuple[str, ...], int] = {}
    rows = measures.flushes(view) if flushes is None else flushes
    for called, row in zip(labels_of(rows, view.query.by), rows, strict=True):
        pickings[called] = pickings.get(called, 0) + whole_of(row, "pickings")
        derived[called] = derived.get(called, 0) + whole_of(row, "pickings_derived")
    shares = {called: derived[called] / count if count else None for called, count in pickings.items()}
    return {called: DerivedShare(share, rule.doubt(share or 0.0)) for called, share in shares.items()}


def flush_rule(ledger: Models) -> FlushRule:
    """Return the rule of this ledger."""
    ((days, source, *rest),) = ledger.tuples("derived_flush_rule")
    return FlushRule(days, FlushSource(source), *rest)
