"""What should `months` say? What was picked, finished and inoculated in each month, in plain Python."""

from datetime import date

from recompute_farm import Farm
from recompute_groups import Cell, culled_pct, efficiency, late_pct, total
from recompute_units import Unit, units

Month = tuple[int, int]


def months(farm: Farm, as_of: date) -> list[dict[str, Cell]]:
    """What did each month give, up to the date's? One dict per month, none left out, keys as in `months`."""
    members = units(farm, as_of)
    pickings = [picking for unit in members for picking in unit.pickings]
    inoculated = [day for day in (unit.inoculated_on for unit in members) if day is not None]
    finished = [day for day in map(finish_of, members) if day is not None]
    days = [*inoculated, *finished, *(picking.day for picking in pickings)]
    rows = []
    for month in span(month_of(min(days)), month_of(as_of)) if days else []:
        picked = [picking for picking in pickings if month_of(picking.day) == month]
        ended = [unit for unit in members if is_in(finish_of(unit), month)]
        begun = [unit for unit in members if is_in(unit.inoculated_on, month)]
        figures: dict[str, Cell] = {
            "month": f"{month[0]:04}-{month[1]:02}",
            "fresh_g": float(total(picking.grams for picking in picked)),
            "pickings": len(picked),
            "units_finished": len(ended),
            "units_lost": sum(1 for unit in ended if not unit.pickings),
            "be_finished_pct": efficiency(ended) or None,
            "units_inoculated": len(begun),
            "be_inoculated_pct": efficiency([unit for unit in begun if unit.finished]) or None,
            "picked_late_pct": late_pct(picked, farm.late_from),
            "culled_pct": culled_pct(picked),
            # Of farms that keep no books; recompute_money has those that do.
            **dict.fromkeys(("sold_g", "revenue", "cost", "margin", "cost_per_kg", "lacks")),
        }
        rows.append(figures)
    return rows


def finish_of(unit: Unit) -> date | None:
    """On which day did the unit end: that of its closing, or else that on which it lapsed?"""
    return unit.closing.day if unit.closing else unit.lapse_day


def is_in(day: date | None, month: Month) -> bool:
    """Is the day known, and in the month?"""
    return day is not None and month_of(day) == month


def month_of(day: date) -> Month:
    """In which month of which year is the day?"""
    return day.year, day.month


def span(first: Month, last: Month) -> list[Month]:
    """Which months are there from the first to the last, both among them?"""
    found = []
    year, month = first
    while (year, month) <= last:
        found.append((year, month))
        year, month = (year, month + 1) if month < 12 else (year + 1, 1)
    return found
