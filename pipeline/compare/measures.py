"""What can be compared: each measure, its words, and from when on a difference counts."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Measure:
    """A measure: NAME_over and NAME_under are its columns in compared_units.sql.

    scale: by what their ratio is multiplied. smallest_effect: the key of farm.toml that says from when a difference
    counts. more, less: what one says of a level with the larger and the smaller value. not_yet: what is said of a unit
    that is not far enough. without: why a unit that is far enough may add nothing. share: a share of units, where no
    spread at all is no evidence. by_flush: taken through a flush. by_day: the share by a day asked for
    (share_by_day.with_share_by). look: what would tell days better than to the usual gap between two looks. money: in
    the farm's currency, with its prices and sales (models/compared_money), and may lie below 0. most: a soak counts as
    soon as most of its containers are far enough (collapse.MOST). less_is_better: which level to take. decimals: how
    exactly it is said. of_containers: over containers or their litres, so that what counts is a share of what they give
    (per_container.smallest_mass); of_one_size: from containers alike in kind and litres (per_container.of_one_size).
    """

    name: str
    title: str
    unit: str
    scale: float
    smallest_effect: str
    more: str
    less: str
    not_yet: str
    without: str
    share: bool = False
    by_flush: bool = False
    least_flush: int = 1
    by_day: bool = False
    look: str = ""
    money: bool = False
    most: bool = False
    less_is_better: bool = False
    decimals: int = 1
    of_containers: bool = False
    of_one_size: bool = False

    @property
    def between_flushes(self) -> bool:
        """Whether it holds one flush against another, so that it rests on how pickings are numbered."""
        return self.by_flush and self.least_flush > 1


THROUGH = "not yet through flush {flush}"
UNPRICED = (
    "their day of inoculation, number of containers, spawn or dry mass is not written down, or a price of their day, "
    "or what their sales brought"
)
# Through which flush, where none is asked for: most of what a container gives, without waiting for the last of it. Our
# choice, no source.
DEFAULT_FLUSH = 2

MEASURES = {
    each.name: each
    for each in (
        Measure(
            "be", "BE", "points", 100, "worthwhile_be_points", "gave more than", "gave less than", THROUGH,
            "no dry mass", by_flush=True, most=True,
        ),
        Measure(
            "kg", "kg per container", "kg", 1, "worthwhile_kg_pct", "gave more than", "gave less than", THROUGH,
            "of another kind or size, or their number is not written down",
            by_flush=True, most=True, decimals=2, of_containers=True, of_one_size=True,
        ),
        Measure(
            "g-per-litre", "g per litre of container", "g/L", 1, "worthwhile_kg_pct", "gave more than",
            "gave less than", THROUGH, "no litres", by_flush=True, most=True, of_containers=True,
        ),
        Measure(
            "days", "days to pins", "days", 1, "worthwhile_days", "took longer to pins than", "had pins sooner than",
            "still waiting for pins", "lost before pins, or no pins noted", less_is_better=True,
            look="Look every day while pins are due",
        ),
        Measure(
            "colonised", "days to colonised", "days", 1, "worthwhile_days", "took longer to be colonised than",
            "was colonised sooner than", "not colonised yet", "lost before, or not noted as colonised",
            less_is_better=True, look="Look every day while they are to be colonised",
        ),
        Measure(
            "next-flush", "days from the flush before to flush {flush}", "days", 1, "worthwhile_days",
            "took longer to the next flush than", "had the next flush sooner than", "still waiting for flush {flush}",
            "gave no such flush, or none before it", by_flush=True, least_flush=2,
            less_is_better=True, look="Look and pick every day while the next flush is due",
        ),
        Measure(
            "decline", "flush {flush} over flush 1", "points", 100, "worthwhile_decline_points",
            "kept more of its first flush than", "kept less of its first flush than", THROUGH, "nothing in flush 1",
            by_flush=True, least_flush=2,
        ),
        Measure(
            "losses", "lost before a picking", "points", 100, "worthwhile_losses_points", "lost more than",
            "lost less than", "running and never picked", "nothing", less_is_better=True, share=True,
        ),
        Measure(
            "culled", "culled", "points", 100, "worthwhile_culled_points", "had more culled than",
            "had less culled than", THROUGH, "nothing picked", less_is_better=True, share=True, by_flush=True,
        ),
        Measure(
            "late", "picked late", "points", 100, "worthwhile_late_points", "was picked late more than",
            "was picked late less than", THROUGH, "no cap stage noted", less_is_better=True, share=True, by_flush=True,
        ),
        Measure(
            "margin", "margin per container", "money", 1, "worthwhile_be_points", "earned more than",
            "earned less than", THROUGH, UNPRICED, by_flush=True, money=True,
        ),
        Measure(
            "margin-per-day", "margin of 100 container-days", "money", 100, "worthwhile_be_points", "earned more than",
            "earned less than", "still running", UNPRICED, money=True,
        ),
    )
}  # fmt: skip


# The shares by a day: by the measure of the days.
SHARES_BY_DAY = {
    each.name: each
    for each in (
        Measure(
            "days", "with pins by day {day}", "points", 100, "worthwhile_pins_points",
            "had more with pins by day {day} than", "had fewer with pins by day {day} than",
            "not followed to day {day} yet", "no pins noted in their batch, or no day of inoculation",
            share=True, by_day=True,
        ),
        Measure(
            "colonised", "colonised by day {day}", "points", 100, "worthwhile_pins_points",
            "had more colonised by day {day} than", "had fewer colonised by day {day} than",
            "not followed to day {day} yet", "not noted as colonised in their batch, or no day of inoculation",
            share=True, by_day=True,
        ),
    )
}  # fmt: skip


def measure_of(name: str, to_day: int | None = None) -> Measure:
    """Return the measure of this name. Days to something with a day are the share that came so far by that day, of all
    that were started.
    """
    if to_day is None or name not in SHARES_BY_DAY:
        return MEASURES[name]
    share = SHARES_BY_DAY[name]
    said = {text: getattr(share, text).format(day=to_day) for text in ("title", "more", "less", "not_yet")}
    return replace(share, **said)
