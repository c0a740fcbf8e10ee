"""The declines of all groups at once are those of each group alone, to the last bit."""

import numpy as np
import pytest

from pipeline.growth.decline import Resolved, decline_gave, decline_started, too_early
from pipeline.growth.declines_of_groups import FlushOfGroup, declines_of_groups
from pipeline.models.resolved_flushes import ResolvedFlushes
from pipeline.models.unit_arrays import Numbers, numbered

FLUSHES = 3


def invented(seed: int, units: int = 240, groups: int = 12) -> ResolvedFlushes:
    """Units of invented groups, soaks and ages; the last group has one soak, and another gave nothing at all."""
    dice = np.random.default_rng(seed)
    group = dice.integers(1, groups + 1, units)
    soak = np.where(group == groups, 7, dice.integers(0, 9, units))
    age = 20.0 + 15 * (soak % 4)
    fresh = dice.integers(0, 900, (units, FLUSHES)) * (dice.random((units, FLUSHES)) < 0.8) * (group != 2)[:, None]
    told = np.sort(dice.integers(10, 60, (units, FLUSHES)), axis=1).astype(float)
    told[told > age[:, None]] = np.nan
    each = np.repeat(np.arange(units), FLUSHES)
    tells = ((fresh > 0) | (fresh[:, :1] > 0)) & ~np.isnan(told)
    oldest = np.max(np.where(tells, told, 0.0), axis=0)
    table = ResolvedFlushes(
        group[each],
        soak[each],
        age[each],
        np.tile(np.arange(1, FLUSHES + 1), units),
        told.reshape(-1),
        fresh.reshape(-1).astype(float),
        fresh[:, 0].astype(float)[each],
        np.tile(oldest, units),
    )
    # Groups 3 and 4 came to flush 1 and 2 alone; their units still tell how late flush 3 was told on the farm.
    table = table.where(table.flush <= np.where(table.group_id == 3, 1, np.where(table.group_id == 4, 2, FLUSHES)))
    return table.where(np.lexsort((table.group_id, table.flush)))


def alone(table: ResolvedFlushes, group: int, flush: int) -> FlushOfGroup:
    """The same by the rules for one group."""
    of = table.where((table.flush == flush) & (table.group_id == group))
    resolved = Resolved(numbered(of.soak_no), of.age, of.resolved_age, of.fresh_g, of.fresh_g_first)
    why = too_early(resolved, float(of.oldest_resolved[0]))
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
    assert set(together) == set(table.group_id.tolist())
    assert known
    for group, of_group in together.items():
        assert list(of_group) == {3: [1], 4: [1, 2]}.get(group, [1, 2, 3])
        for flush, found in of_group.items():
            assert exact(found) == exact(alone(table, group, flush))


def test_no_units_have_no_declines() -> None:
    assert declines_of_groups(invented(1).where(slice(0, 0))) == {}
