"""Charts as plain data, in Vega-Lite: layers of marks, each with its rows and the channels that say where they lie.

A library for it takes longer to import and to copy its objects than all else on the page. What is made here is held
against the schema of Vega-Lite in the tests.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

Spec = dict[str, Any]  # of a chart, or a part of one, in Vega-Lite
Point = dict[str, Any]  # what a chart draws of one row of a result table
Points = Sequence[Point]
TYPES = {"N": "nominal", "O": "ordinal", "Q": "quantitative"}
# A second place on a scale has the type of the first.
SECOND = ("x2", "y2")


@dataclass(frozen=True)
class Layer:
    """Rows, the mark that is drawn for each, and the channels of the mark."""

    rows: Points
    drawn: Spec = field(default_factory=dict)
    channels: Spec = field(default_factory=dict)

    def mark(self, kind: str, **looks: object) -> Layer:
        """Return the layer with this mark (bar, circle, text ...), which looks so."""
        return Layer(self.rows, {"type": kind, **looks}, self.channels)

    def encode(self, **channels: object) -> Layer:
        """Return the layer with these channels beside those it has; a text says the column and its type: "kg:Q"."""
        made = {name: _channel(name, each) if isinstance(each, str) else each for name, each in channels.items()}
        return Layer(self.rows, self.drawn, self.channels | made)


def channel(column: str, **options: object) -> Spec:
    """Return the channel of this column, given with its type: "kg:Q" (N nominal, O ordinal, Q quantitative)."""
    name, _, kind = column.partition(":")
    return {"field": name, "type": TYPES[kind], **options}


def _channel(name: str, column: str) -> Spec:
    return {"field": column.partition(":")[0]} if name in SECOND else channel(column)


def options(**given: object) -> Spec:
    """Return what is said of a scale or an axis."""
    return given


def constant(value: object) -> Spec:
    """Return the channel that is the same for all rows, in px or as "width"."""
    return {"value": value}


def expression(of: str) -> Spec:
    """Return the value of a look that the width of the page decides."""
    return {"expr": of}


def layered(layers: Sequence[Layer], **properties: object) -> Spec:
    """Return the chart of these layers, the first undermost; rows that are alike stand once."""
    found: list[Points] = []
    made = []
    for each in layers:
        if each.rows not in found:
            found.append(each.rows)
        data = {"name": f"rows-{found.index(each.rows)}"}
        made.append({"data": data, "mark": each.drawn, "encoding": each.channels})
    datasets: Mapping[str, object] = {f"rows-{at}": rows for at, rows in enumerate(found)}
    return {"layer": made, **properties, "datasets": datasets}
