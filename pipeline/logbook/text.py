"""What is told of an entry, in the grower's words."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from pipeline.farm.folder import Farm
from pipeline.files.write_csv import unguarded
from pipeline.logbook.amounts import in_unit, written
from pipeline.logbook.weigh import Plan


def told_weight(farm: Farm, plan: Plan) -> str:
    """How much is it, in the unit of the file it goes into; and in g, where that is another?"""
    unit = plan.target.shape["units"].get("fresh_weight_g", "g")
    weight = plan.asked.weight
    cell_format = farm.conventions.cell_format
    shown = f"{written(in_unit(weight.exact, unit, 'g'), cell_format)} {unit}"
    grams = f"{written(weight.value, cell_format)} g"
    told = shown if unit == "g" else f"{shown} ({grams})"
    return told if weight.typed in (shown, grams) else f"{told}, from {weight.typed}"


def told_entry(farm: Farm, plan: Plan) -> str:
    """What is logged, in one line?"""
    asked = plan.asked
    parts = [f"{plan.place}, {asked.day}: {told_weight(farm, plan)}", f"flush {plan.flush}{_why(plan)}"]
    parts += [asked.stage] if asked.stage else []
    parts += [f"culled {written(asked.culled.value, farm.conventions.cell_format)} g"] if asked.culled else []
    return ", ".join([*parts, *(each for each in (asked.picker, asked.note) if each)])


def told_short(farm: Farm, plan: Plan) -> str:
    """What is logged, in a few words? Why a flush is proposed only where a new one begins."""
    new = plan.proposed and plan.before and plan.before[-1].flush not in (0, plan.flush)
    parts = [f"{plan.place}: {told_weight(farm, plan)}", f"flush {plan.flush}{_why(plan) if new else ''}"]
    return ", ".join([*parts, *([plan.asked.stage] if plan.asked.stage else [])])


def _why(plan: Plan) -> str:
    """Why was this flush proposed?"""
    if not plan.proposed:
        return ""
    if not plan.before:
        return " (proposed: its first picking)"
    days = (plan.asked.day - plan.before[-1].day).days
    ago = {0: "the same day", 1: "the day before"}.get(days, f"{days} days before")
    return f" (proposed: picked {ago})"


def so_far(farm: Farm, plan: Plan) -> str:
    """What did the filling, or the batch weighed together, give up to now?"""
    grams = sum((each.weight_g for each in plan.before), plan.asked.weight.value)
    pickings = len(plan.before) + 1
    counted = "1 picking" if pickings == 1 else f"{pickings} pickings"
    return f"{plan.place} so far: {written(Decimal(grams), farm.conventions.cell_format)} g in {counted}."


def told_cells(cells: Mapping[str, str], units: Mapping[str, str]) -> str:
    """What did an entry say, by its cells as written? `units`: of its columns, where they are not the contract's."""
    bare = {name: unguarded(text) for name, text in cells.items()}
    container, batch = bare.get("container"), bare.get("batch", "")
    place = f"batch {batch}" if not container else f"{container} (batch {batch})" if batch else container
    day = bare.get("picked_on") or bare.get("seen_on", "")
    shown = {
        "fresh_weight_g": f"{{}} {units.get('fresh_weight_g', 'g')}",
        "event": "{}",
        "flush": "flush {}",
        "cap_stage": "{}",
        "culled_g": f"culled {{}} {units.get('culled_g', 'g')}",
        "cause": "{}",
        "count": "{} of its containers",
        "picker": "{}",
        "note": "{}",
    }
    return f"{place}, {day}: " + ", ".join(form.format(bare[name]) for name, form in shown.items() if name in bare)
