"""What can be compared: each measure, its words, and from when on a difference counts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Measure:
    """A measure: NAME_over and NAME_under are its columns in compared_units.sql.

    scale: by what their ratio is multiplied. smallest_effect: the key of farm.toml that says from when a difference
    counts. more, less: what one says of a level with the larger and the smaller value. not_yet: what is said of a unit
    that is not far enough. without: why a unit that is far enough may add nothing. share: a share of units, where no
    spread at all is no evidence. by_flush: taken through a flush. by_day: the share by a day asked for
    (pins_by_day.with_pins_by).
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


def measure_of(name: str, to_day: int | None = None) -> Measure:
    """Return the measure of this name. Days to pins with a day are the share with pins by that day, of all that were
    started.
    """
    if name != "days" or to_day is None:
        return MEASURES[name]
    return Measure(
        "days", f"with pins by day {to_day}", "points", 100, "worthwhile_pins_points",
        f"had more with pins by day {to_day} than", f"had fewer with pins by day {to_day} than",
        f"not followed to day {to_day} yet", "no pins noted in their batch, or no day of inoculation",
        share=True, by_day=True,
    )  # fmt: skip
