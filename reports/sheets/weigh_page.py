"""The weigh page: one self-contained HTML file for a phone beside the scale, from what is running."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict

from markupsafe import Markup

from reports.cautions import ALL
from reports.document import environment, part, policy, script_json
from reports.sheets.shelves import (
    MassUnit,
    Selling,
    Shelves,
    by_room,
    called,
    last_flushes,
    usual_by_flush_g,
)
from reports.words import MONTH_NAMES, day_name, visible
from schemas.contract import HARVESTS, SALES, contract
from schemas.own_weights import LIKE_BEFORE, LIKE_ITS_FILL, TIMES_LESS_OF_REST, TIMES_OFF
from schemas.pickings import FORMULA_MARKS, GUARD, SAME_WITHIN_MS, TIMES_LESS, TIMES_MORE, WITHIN
from schemas.result_rows import Row, day_of, text_of

# In this order: each speaks of those before it.
SCRIPTS = ("words", "record", "shelf", "judge", "feel", "talk", "draft", "list", "hand_over")
# How what became of mushrooms is called where the word alone does not say it.
KINDS_CALLED = {"given": "given away", "own_kitchen": "own kitchen", "returned": "returned by a buyer"}
# What the page knows of each container, beside what it shows: columns of `running_units`.
KNOWN = ("container", "batch", "inoculated_on", "last_picked_on", "last_flush")


def render_weigh_page(shelves: Shelves, sends: bool = False) -> str:
    """Return the page that logs weights from these shelves.

    One HTML file as text that needs no network and no server. It keeps entries in the browser and exports them in the
    columns of `harvests` (schemas/inputs). `sends`: it is served by the local server, and sends them there too.
    """
    style = part("sheets/styles/weigh.css")
    names = (*SCRIPTS, *(["sale"] if shelves.selling else []), "screen", *(["send"] if sends else []))
    scripts = [part(f"sheets/templates/weigh_{name}.js") for name in names]
    spores = next(each for each in ALL if each.about == "Spores")
    return (
        environment("sheets/templates")
        .get_template("weigh.html.j2")
        .render(
            name=shelves.name,
            as_of=day_name(shelves.as_of),
            decimal_mark=shelves.decimal_mark,
            unit=shelves.unit,
            stages=contract(HARVESTS).field("cap_stage").words,
            spores=spores.text,
            sell=shelves.selling,
            kinds=[(word, KINDS_CALLED.get(word, word)) for word in contract(SALES).field("kind").words],
            style=Markup(style),
            policy=policy([style], scripts, sends),
            data=Markup(script_json(_data(shelves))),
            scripts=[Markup(each) for each in scripts],
        )
    )


def _data(shelves: Shelves) -> Row:
    """Return what the scripts need to know. Texts to show are without control characters; ids stay as they are."""
    stages = contract(HARVESTS).field("cap_stage").words
    return {
        "farm": shelves.farm_name or "",
        "as_of": shelves.as_of.isoformat(),
        "columns": contract(HARVESTS).names,
        "sale_columns": contract(SALES).names,
        "numbers": [each.name for table in (HARVESTS, SALES) for each in contract(table).fields if each.decimals],
        "sell": None if shelves.selling is None else _proposed(shelves.selling),
        "unit": _unit_of_mass(shelves.unit),
        "written_in": shelves.written_in,
        "decimal_mark": shelves.decimal_mark,
        # A spreadsheet that writes decimal commas separates columns by semicolons.
        "separator": ";" if shelves.decimal_mark == "," else ",",
        "late": stages[stages.index(shelves.late_from) :],
        "new_flush_after_days": shelves.new_flush_after_days,
        "usual_weight_g": shelves.usual_g,
        "unlike_usual": {"times_more": TIMES_MORE, "times_less": TIMES_LESS},
        "unlike_own": {
            "times_off": TIMES_OFF,
            "times_less_of_rest": TIMES_LESS_OF_REST,
            "like_before": LIKE_BEFORE,
            "like_its_fill": LIKE_ITS_FILL,
        },
        "same_within_ms": SAME_WITHIN_MS,
        "formula": {"marks": FORMULA_MARKS, "guard": GUARD, "within": WITHIN % ("", "")},
        "months": [name[:3] for name in MONTH_NAMES],
        "rooms": [{"room": room, "units": _units(shelves, rows)} for room, rows in by_room(shelves)],
    }


def _proposed(selling: Selling) -> Row:
    """Return what is proposed where a sale is logged."""
    return {
        "currency": visible(selling.currency),
        "buyers": [(visible(name), price) for name, price in selling.buyers],
        "strains": [visible(name) for name in selling.strains],
        "batches": [visible(name) for name in selling.batches],
    }


def _unit_of_mass(unit: MassUnit) -> Row:
    """Return how the page types and shows masses: see weigh_words.js. Sums are in the larger unit of the kind."""
    decimals, example, large, large_grams = {
        "g": (2, ("412", "412.5", "35"), "kg", 1000.0),
        "kg": (3, ("0.41", "0.412", "0.035"), "kg", unit.grams),
        "oz": (2, ("14.5", "14.55", "1.2"), "lb", 16 * unit.grams),
        "lb": (3, ("0.9", "0.905", "0.1"), "lb", unit.grams),
    }[unit.name]
    return {**asdict(unit), "decimals": decimals, "example": example, "large": large, "large_grams": large_grams}


def _units(shelves: Shelves, rows: Sequence[Row]) -> list[Row]:
    """Return the containers of a room. One's shelf is its position where others stand there too."""
    on_shelf = Counter(text_of(row, "position") for row in rows)
    return [_unit(shelves, row, on_shelf[text_of(row, "position")] > 1) for row in rows]


def _unit(shelves: Shelves, row: Row, with_others: bool) -> Row:
    place = ", ".join(visible(text) for text in (text_of(row, "position"), text_of(row, "kind")) if text)
    known = {name: row[name] for name in KNOWN}
    days = {name: row[name] and day_of(row, name).isoformat() for name in ("inoculated_on", "last_picked_on")}
    shown = {
        "called": called(row),
        "batch_called": visible(text_of(row, "batch")),
        "place": place,
        "shelf": visible(text_of(row, "position")) if with_others else "",
        "due": (text_of(row, "batch"), row["container"]) in shelves.due,
        "last_weights": [weight for weight in text_of(row, "last_weights_g").split(", ") if weight],
    }
    judged = {"last_flushes": last_flushes(row), "usual_g": usual_by_flush_g(shelves, row), "most_g": row["most_g"]}
    return {**known, **days, **shown, **judged}
