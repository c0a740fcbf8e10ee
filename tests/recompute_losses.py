"""What should `losses` and `causes` say? What was lost, in how many soaks and why, in plain Python."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from fractions import Fraction
from math import cos, floor, pi, sin, sqrt, tan

from recompute_farm import Farm, Picking, Place, Seen
from recompute_groups import Cell, Group, grouped, ratio
from recompute_rows import Row, columns_of
from recompute_units import Unit, closing_of_filling, closings_of_all, tells_of, units

RECIPE = [column["name"] for column in columns_of("batches") if column.get("recipe")]


def losses(farm: Farm, as_of: date, by: list[str]) -> list[dict[str, Cell]]:
    """What did each group of units lose? One dict per group, keys as in `losses`."""
    rows = []
    for cells, members in fates_grouped(farm, as_of, by):
        told = [unit for unit in members if unit.finished or unit.pickings]
        spoiled = [unit for unit in members if unit.closing is not None and unit.closing.by == "contaminated"]
        before = sum(unit.contaminated_before_pick for unit in spoiled)
        shares = shares_by_soak(farm, told)
        figures: dict[str, Cell] = {
            "units": len(members),
            "units_not_yet": len(members) - len(told),
            "lost": sum(map(is_lost, told)),
            "lost_pct": ratio(Fraction(sum(map(is_lost, told))), Fraction(len(told))),
            "soaks": len(shares),
            "soaks_with_loss": sum(share > 0 for share in shares),
            "contaminated_before_pick": before,
            "contaminated_after_pick": len(spoiled) - before,
        }
        rows.append({**cells, **figures, **interval_of(shares, "container" in by)})
    return rows


def causes(farm: Farm, as_of: date, by: list[str]) -> list[dict[str, Cell]]:
    """Why was it lost? One dict per group and cause that cost it a unit, the costliest first, as in `causes`."""
    rows: list[dict[str, Cell]] = []
    for cells, members in fates_grouped(farm, as_of, by):
        lost = Counter(cause_of(farm, unit) for unit in members if is_lost(unit))
        for cause, number in sorted(lost.items(), key=lambda told: (-told[1], told[0])):
            rows.append({**cells, "cause": cause, "lost": number})
    return rows


def is_lost(unit: Unit) -> bool:
    """Is it over, with nothing ever picked?"""
    return unit.finished and not unit.pickings


def fates_grouped(farm: Farm, as_of: date, by: list[str]) -> list[Group]:
    """Whose fate is told in which group? Of all fillings, under a container's name alone, where that is asked."""
    members = units(farm, as_of)
    if "container" in by:
        members = [filling for unit in members for filling in fillings_of(farm, unit)]
    return grouped(members, list(dict.fromkeys(by)))


def fillings_of(farm: Farm, unit: Unit) -> list[Unit]:
    """What became of each filling, each seen as a unit of its own?"""
    if unit.container is not None:
        return [unit]
    return [filling_of(farm, unit, Place(unit.batch, name)) for name in farm.containers(unit.batch)]


def filling_of(farm: Farm, batch: Unit, place: Place) -> Unit:
    """What became of one filling of a batch that was picked as a whole? It lapses with the batch only."""
    closing = closing_of_filling(farm, batch.as_of, place, list(batch.seen))

    def is_of(picking: Picking) -> bool:
        # What was weighed for the whole batch came from all that still stood that day.
        pooled = picking.place.container is None and (closing is None or picking.day <= closing.day)
        return pooled or picking.place == place

    return replace(
        batch,
        container=place.container,
        filling_rows=(farm.fillings[place.batch, place.container or ""],),
        pickings=tuple(picking for picking in batch.pickings if is_of(picking)),
        seen=tuple(seen for seen in batch.seen if tells_of(farm, seen, place)),
        closing=closing,
        lapse_day=None if closing else batch.lapse_day,
    )


def cause_of(farm: Farm, unit: Unit) -> str:
    """Why was a lost unit lost: which cause of contamination was noted ("" for none), or how else did it end?"""
    if unit.closing is None:
        return "lapsed"
    if unit.closing.by != "contaminated":
        return unit.closing.by
    noted = {seen.row.words.get("cause", "") for seen in endings_of(farm, unit, unit.closing.day)}
    return min(noted - {""}, default="")


def endings_of(farm: Farm, unit: Unit, day: date) -> list[Seen]:
    """Which contaminations of its closing day ended the unit?"""
    place = Place(unit.batch, unit.container)
    of_batch = [seen for seen in farm.seen if seen.place.batch == unit.batch and seen.day <= day]
    # Counts that add up to all of the batch's containers on this day tell of each of them together.
    counted = closings_of_all(farm, unit.batch, [seen for seen in of_batch if seen.count])
    summed_up = any(closing.day == day for closing in counted)

    def ends_it(seen: Seen) -> bool:
        return tells_of(farm, seen, place) or (summed_up and seen.place.container is None)

    # And what was noted after a container was filled anew on this day.
    late = [s for s in farm.seen if s.place.batch == unit.batch and s.day > day and farm.refills.get(s.place) == day]
    on_it = [s for s in of_batch if s.day == day]
    return [s for s in (*on_it, *late) if s.event == "contaminated" and ends_it(s)]


def shares_by_soak(farm: Farm, told: Iterable[Unit]) -> list[Fraction]:
    """Which share of its units did each soak lose?"""
    fates: dict[tuple[str, bool], list[bool]] = {}
    for unit in told:
        fates.setdefault(soak_of(farm, unit.batch_row), []).append(is_lost(unit))
    return [Fraction(sum(lost), len(lost)) for lost in fates.values()]


def soak_of(farm: Farm, row: Row) -> tuple[str, bool]:
    """Out of which soak did a batch come, and has it a name? Nameless ones of one day and recipe share the first's."""
    if "soak" in row.words:
        return row.words["soak"], True
    twins = [each for each in farm.batches.values() if "soak" not in each.words and made_alike(each, row)]
    return min(each.words["batch"] for each in [row, *twins]), False


def made_alike(one: Row, other: Row) -> bool:
    """Were two batches made on one known day from one recipe, spawn told in whole % of the wet substrate?"""
    same_day = one.dates.get("inoculated_on") == other.dates.get("inoculated_on") is not None
    return (
        same_day
        and all(cells(one).get(column) == cells(other).get(column) for column in RECIPE)
        and spawn_pct(one) == spawn_pct(other)
    )


def cells(row: Row) -> dict[str, str | Fraction]:
    """What do its cells say in words and numbers?"""
    return {**row.words, **row.numbers}


def spawn_pct(row: Row) -> int | None:
    """What is its spawn in whole % of the wet substrate?"""
    spawn, wet = row.numbers.get("spawn_kg"), row.numbers.get("substrate_wet_kg")
    return floor(100 * spawn / wet + Fraction(1, 2)) if spawn is not None and wet else None


def interval_of(shares: list[Fraction], of_containers: bool) -> dict[str, Cell]:
    """Between which limits, in %, does the mean share lost of soaks lie, at 95 %? Or why can that not be told?

    Mean -+ t(.975, b - 1) sd / sqrt(b). Where none of b soaks lost any (or all lost all) the spread is 0 and says
    nothing; then the exact binomial limit of b out of b, 1 - .05^(1/b) (b = 3: 63 %, 6: 39 %).
    """
    number = len(shares)
    low = high = why = None
    if of_containers:
        why = "containers of one soak are not independent"
    elif number < 3:
        why = "fewer than three soaks"
    elif set(shares) == {0}:
        low, high = 0.0, 100 * (1 - 0.05 ** (1 / number))
    elif set(shares) == {1}:
        low, high = 100 * 0.05 ** (1 / number), 100.0
    elif len(set(shares)) == 1:
        why = "every soak lost the same share"
    else:
        mean = sum(shares, Fraction(0)) / number
        variance = sum(((share - mean) ** 2 for share in shares), Fraction(0)) / (number - 1)
        half = t_quantile(number - 1) * sqrt(variance / number)
        low, high = 100 * max(0.0, float(mean) - half), 100 * min(1.0, float(mean) + half)
    return {"low_pct": low, "high_pct": high, "why_no_interval": why}


def t_quantile(df: int, two_sided: float = 0.95) -> float:
    """Beyond which t, on either side, lies the rest of Student's distribution? By bisection, to about 1e-12."""
    low, high = 0.0, pi / 2
    for _ in range(100):
        middle = (low + high) / 2
        low, high = (middle, high) if within(middle, df) < two_sided else (low, middle)
    return sqrt(df) * tan((low + high) / 2)


def within(angle: float, df: int) -> float:
    """How likely is |t| below sqrt(df) tan(angle)?

    The finite series for whole df: Abramowitz & Stegun 1964, Handbook of Mathematical Functions, 26.7.3 (odd df)
    and 26.7.4 (even df).
    """
    odd = df % 2
    term = cos(angle) if odd else 1.0
    series = term if df > 1 else 0.0
    for at in range(2 + odd, df - 1, 2):
        term *= cos(angle) ** 2 * (at - 1) / at
        series += term
    return 2 / pi * (angle + sin(angle) * series) if odd else sin(angle) * series
