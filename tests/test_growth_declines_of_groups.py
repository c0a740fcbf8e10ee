"""The declines of all groups at once are those of each group alone, to the last bit."""

import numpy as np
import pytest

from pipeline.growth.decline import Resolved, decline_gave, decline_started, too_early
from pipeline.growth.declines_of_groups import FlushOfGroup, declines_of_groups
from pipeline.models.known_flushes import FlushOfUnits
from pipeline.models.unit_arrays import Numbers, numbered

FLUSHES = 3


def invented(seed: int, units: int = 240, groups: int = 12) -> list[FlushOfUnits]:
    """Units of invented groups, soaks and ages; the last group has one soak, and another gave nothing at all."""
    dice = np.random.default_rng(seed)
    group = np.sort(dice.integers(1, groups + 1, units))
    soak = np.where(group == groups, 7, dice.integers(0, 9, units))
    age = 20.0 + 15 * (soak % 4)
    fresh = dice.integers(0, 900, (FLUSHES, units)) * (dice.random((FLUSHES, units)) < 0.8) * (group != 2)
    told = np.sort(dice.integers(10, 60, (FLUSHES, units)), axis=0).astype(float)
    told[told > age] = np.nan
    tells = ((fresh > 0) | (fresh[0] > 0)) & ~np.isnan(told)
    found = []
    for at in range(FLUSHES):
        # Groups 3 and 4 came to flush 1 and 2 alone; their units still tell how late flush 3 was told on the farm.
        came = at + 1 <= np.where(group == 3, 1, np.where(group == 4, 2, FLUSHES))
        each = (group, soak, age, told[at], fresh[at].astype(float), fresh[0].astype(float))
        oldest = float(np.max(told[at][tells[at]], initial=0.0))
        found.append(FlushOfUnits(*(column[came] for column in each), oldest))
    return found


def alone(of: FlushOfUnits, group: int, flush: int) -> FlushOfGroup:
    """The same by the rules for one group."""
    own = of.group_id == group
    first = of.fresh_g_first[own]
    resolved = Resolved(numbered(of.soak_no[own]), of.age[own], of.resolved_age[own], of.fresh_g[own], first)
    why = too_early(resolved, of.oldest_resolved)
    gave = bool(resolved.first.any())
    if why or flush == 1:
        return FlushOfGroup(gave, why)
    return FlushOfGroup(gave, why, decline_started(resolved), decline_gave(resolved))


def exact(found: FlushOfGroup) -> list[object]:
    """What it says, number by number, the pull of each soak included."""
    numbers: list[object] = [found.first_gave, found.why]
    for ratio in (found.started, found.gave):
        pull: Numbers = np.zeros(0) if ratio is None else ratio.pull
        known = ratio and (ratio.value, ratio.low, ratio.high, ratio.error, ratio.soaks, ratio.degrees)
        numbers += [known, pull.tolist()]
    return numbers


@pytest.mark.parametrize("seed", range(5))
def test_every_flush_of_every_group_is_as_the_group_alone_says(seed: int) -> None:
    table = invented(seed)
    together = declines_of_groups(table)
    known = [each for of_group in together.values() for each in of_group.values() if each.started and each.started.low]
    assert set(together) == set(table[0].group_id.tolist())
    assert known
    for group, of_group in together.items():
        assert list(of_group) == {3: [1], 4: [1, 2]}.get(group, [1, 2, 3])
        for flush, found in of_group.items():
            assert exact(found) == exact(alone(table[flush - 1], group, flush))


def test_no_units_have_no_declines() -> None:
    nothing = np.zeros(0)
    of_none = FlushOfUnits(nothing.astype(np.int64), nothing.astype(np.int64), nothing, nothing, nothing, nothing, 0.0)
    assert declines_of_groups([of_none]) == {}
