"""Entries in the grower's words."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from pipeline.farm.folder import Farm
from pipeline.files.write_csv import unguarded
from pipeline.logbook.amounts import in_unit, written
from pipeline.logbook.row_words import row_words
from pipeline.logbook.weigh import PickingPlan
from schemas.phrases import counted


def weight_text(farm: Farm, plan: PickingPlan) -> str:
    """Return the weight in the unit of the file it goes into; and in g, where that is another."""
    unit = plan.destination.shape.units.get("fresh_weight_g", "g")
    weight = plan.picking.weight
    cell_format = farm.conventions.cell_format
    shown = f"{written(in_unit(weight.exact, unit, 'g'), cell_format)} {unit}"
    grams = f"{written(weight.value, cell_format)} g"
    text = shown if unit == "g" else f"{shown} ({grams})"
    return text if weight.typed in (shown, grams) else f"{text}, from {weight.typed}"


def entry_text(farm: Farm, plan: PickingPlan) -> str:
    """Return what is logged, in one line."""
    picking = plan.picking
    parts = [
        f"{plan.assignment}, {picking.day}: {weight_text(farm, plan)}",
        f"flush {plan.flush}{_why_this_flush(plan)}",
    ]
    parts += [picking.stage] if picking.stage else []
    parts += [f"culled {written(picking.culled.value, farm.conventions.cell_format)} g"] if picking.culled else []
    return ", ".join([*parts, *(each for each in (picking.picker, picking.note) if each)])


def short_entry_text(farm: Farm, plan: PickingPlan) -> str:
    """Return what is logged, in a few words. Why a flush is proposed stands there only where a new one begins."""
    new = plan.proposed and plan.before and plan.before[-1].flush not in (0, plan.flush)
    parts = [
        f"{plan.assignment}: {weight_text(farm, plan)}",
        f"flush {plan.flush}{_why_this_flush(plan) if new else ''}",
    ]
    return ", ".join([*parts, *([plan.picking.stage] if plan.picking.stage else [])])


def _why_this_flush(plan: PickingPlan) -> str:
    if not plan.proposed:
        return ""
    if not plan.before:
        return " (proposed: its first picking)"
    days = (plan.picking.day - plan.before[-1].day).days
    ago = {0: "the same day", 1: "the day before"}.get(days, f"{days} days before")
    return f" (proposed: picked {ago})"


def so_far(farm: Farm, plan: PickingPlan) -> str:
    """Return what the filling, or the batch weighed together, gave up to now."""
    grams = sum((each.weight_g for each in plan.before), plan.picking.weight.value)
    pickings = counted(len(plan.before) + 1, "picking")
    return f"{plan.assignment} so far: {written(Decimal(grams), farm.conventions.cell_format)} g in {pickings}."


def cells_text(cells: Mapping[str, str], units: Mapping[str, str]) -> str:
    """Return what an entry says, by its cells as written. `units`: of its columns, where not the contract's."""
    texts = {name: unguarded(text) for name, text in cells.items()}
    if "weight_g" in texts:
        return row_words(texts, units.get("weight_g", "g"))
    container, batch = texts.get("container"), texts.get("batch", "")
    place = f"batch {batch}" if not container else f"{container} (batch {batch})" if batch else container
    day = texts.get("picked_on") or texts.get("seen_on", "")
    forms = {
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
    return f"{place}, {day}: " + ", ".join(form.format(texts[name]) for name, form in forms.items() if name in texts)
