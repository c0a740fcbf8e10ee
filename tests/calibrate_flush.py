"""How often the decline is true when all flush cells are blank: python -m tests.calibrate_flush.

For each spacing so many farms, through the estimators: gaps, rule, flushes, decline. It prints one row per spacing and
ends with 1 where the truth is missed in more than one farm of ten that is answered.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from flush_farms import SPACINGS, TRUE_DECLINE, TruePicking, grown

from pipeline.growth.decline import Resolved, decline_started
from pipeline.stats.gaps import gap_rule
from pipeline.stats.ratio import Ratio
from schemas.pickings import MOST_WRONG, NEW_FLUSH_AFTER_DAYS

FARMS, MOST_MISSED = 200, 0.10


def picked_days(pickings: list[TruePicking]) -> dict[int, dict[int, float]]:
    """The grams of each day of each container."""
    found: dict[int, dict[int, float]] = {}
    for each in pickings:
        days = found.setdefault(each.container, {})
        days[each.day] = days.get(each.day, 0.0) + each.grams
    return found


def gaps_of(days: dict[int, dict[int, float]]) -> np.ndarray:
    """The days between pickings of one container."""
    return np.array([gap for of in days.values() for gap in np.diff(sorted(of)).tolist()], dtype=np.int64)


def decline(pickings: list[TruePicking], days: dict[int, dict[int, float]], after: int) -> Ratio:
    """What flush 2 gives of flush 1 where a gap of so many days begins a new flush."""
    fresh = np.zeros((2, len(days)))
    soak = np.zeros(len(days), dtype=np.int64)
    of = {each.container: each.soak for each in pickings}
    for at, (container, grams) in enumerate(sorted(days.items())):
        soak[at], flush, before = of[container], 1, None
        for day in sorted(grams):
            flush += int(before is not None and day - before >= after)
            before = day
            if flush <= 2:
                fresh[flush - 1, at] += grams[day]
    age = np.full(len(days), 300.0)
    return decline_started(Resolved(soak, age, age - 50, fresh[1], fresh[0]))


def holds(found: Ratio) -> bool:
    """Whether the truth lies within the limits."""
    return found.low is not None and found.high is not None and found.low <= TRUE_DECLINE <= found.high


def _mean(found: list[Ratio]) -> float:
    return float(np.mean([each.value for each in found if each.value is not None]))


def main(farms: int = FARMS) -> int:
    """Print the table; 1 where the truth is missed too often."""
    print("gap/spread | answered % | holds .60 % | mean | cuts | always 7 days: holds % | mean")
    worst = 0.0
    for number, spacing in enumerate(SPACINGS):
        ours, fixed, cuts = [], [], []
        for seed in range(farms):
            pickings = grown(np.random.default_rng(10_000 * (number + 1) + seed), spacing)
            days = picked_days(pickings)
            lengths, counts = np.unique(gaps_of(days), return_counts=True)
            rule = gap_rule(lengths, counts, NEW_FLUSH_AFTER_DAYS)
            cuts.append(rule.days)
            fixed.append(decline(pickings, days, NEW_FLUSH_AFTER_DAYS))
            if rule.wrong <= MOST_WRONG:
                ours.append(decline(pickings, days, rule.days))
        held = np.mean([holds(each) for each in ours]) if ours else float("nan")
        worst = max(worst, 1 - held) if ours else worst
        told = f"{100 * held:.0f} | {_mean(ours):.3f}" if ours else "- | -"
        seen = ", ".join(f"{cut}: {count}" for cut, count in zip(*np.unique(cuts, return_counts=True), strict=True))
        of_fixed = f"{100 * np.mean([holds(each) for each in fixed]):.0f} | {_mean(fixed):.3f}"
        print(f"{spacing} | {100 * len(ours) / farms:.0f} | {told} | {seen} | {of_fixed}", flush=True)
    return int(worst > MOST_MISSED)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else FARMS))
