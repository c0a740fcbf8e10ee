"""What can be compared: each measure, how it is told, and from when a difference is worthwhile."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Measure:
    """A measure: NAME_over and NAME_under are its columns in compared_units.sql.

    scale: by what their ratio is multiplied. worthwhile: the key of farm.toml that says from when a difference counts.
    more, less: what one says of a level with the larger and the smaller value. not_yet: what is said of a unit that is
    not far enough. without: why a unit that is far enough may add nothing. share: a share of units, where no spread at
    all is no evidence. by_flush: told through a flush.
    """

    name: str
    title: str
    unit: str
    scale: float
    worthwhile: str
    more: str
    less: str
    not_yet: str
    without: str
    share: bool = False
    by_flush: bool = False
    least_flush: int = 1


THROUGH = "not yet through flush {flush}"
# Through which flush, where none is asked for: most of what a container gives, without waiting for the last of it. Our
# choice, no source.
DEFAULT_FLUSH = 2

MEASURES = {
    each.name: each
    for each in (
        Measure(
            "be", "BE", "points", 100, "worthwhile_be_points", "gave more than", "gave less than", THROUGH,
            "no dry mass", by_flush=True,
        ),
        Measure(
            "days", "days to pins", "days", 1, "worthwhile_days", "took longer to pins than", "had pins sooner than",
            "still waiting for pins", "lost before pins, or no pins noted",
        ),
        Measure(
            "decline", "flush {flush} over flush 1", "points", 100, "worthwhile_decline_points",
            "kept more of its first flush than", "kept less of its first flush than", THROUGH, "nothing in flush 1",
            by_flush=True, least_flush=2,
        ),
        Measure(
            "losses", "lost before a picking", "points", 100, "worthwhile_losses_points", "lost more than",
            "lost less than", "running and never picked", "nothing", share=True,
        ),
        Measure(
            "culled", "culled", "points", 100, "worthwhile_culled_points", "had more culled than",
            "had less culled than", THROUGH, "nothing picked", share=True, by_flush=True,
        ),
        Measure(
            "late", "picked late", "points", 100, "worthwhile_late_points", "was picked late more than",
            "was picked late less than", THROUGH, "no cap stage noted", share=True, by_flush=True,
        ),
    )
}  # fmt: skip
