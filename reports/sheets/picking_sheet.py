"""The picking sheet: what can be picked, on paper, with empty boxes for what the scale says."""

from __future__ import annotations

from markupsafe import Markup

from reports.cautions import ALL
from reports.document import environment, part, policy
from reports.sheets.shelves import Shelves, by_room, called, last_weights
from reports.words import day_name, short_day
from schemas.contract import HARVESTS, contract

# Those of the cautions (reports/cautions.py) that belong to picking and to what becomes of the mushrooms.
AT_PICKING = ("Spores", "Mould", "Carbon dioxide", "Food")
# Room for what is not on the list. Our choice, no source.
BLANK_ROWS = 4


def render_picking_sheet(shelves: Shelves) -> str:
    """Return the picking sheet of these shelves: one HTML file as text, to be printed on A4 or Letter, in the order of
    the shelves, as the weigh page.
    """
    style = part("sheets/styles/picking_sheet.css")
    return (
        environment("sheets/templates")
        .get_template("picking_sheet.html.j2")
        .render(
            name=shelves.name,
            as_of=day_name(shelves.as_of),
            rooms=by_room(shelves),
            rows=len(shelves.rows),
            blank_rows=BLANK_ROWS,
            called=called,
            last_weights=lambda row: last_weights(shelves, row),
            short_day=short_day,
            stages=contract(HARVESTS).field("cap_stage").words,
            cautions=[each for about in AT_PICKING for each in ALL if each.about == about],
            style=Markup(style),
            policy=policy([style]),
        )
    )
