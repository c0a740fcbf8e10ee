"""Labels for containers: the name in large letters and a QR code of it, on a plain grid to be cut or stuck."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from reports.document import environment, part, policy
from reports.words import visible

# White around the code, in modules: ISO/IEC 18004 asks for four.
QUIET = 4
# A module of less is hard to read for the camera of a phone. Common practice, no source.
FINEST_MODULE_MM = 0.4
PADDING_MM = 2.0
# Width of a bold capital over the size of the letters; of the wide fonts among those that systems come with. Measured.
LETTER_WIDTH = 0.78
SMALLEST_LETTER_MM = 2.5
# The farm's name on two lines, with the gap above it (styles/labels.css); and what must be left for the container's.
FARM_MM, LEFT_MM = 8.5, 10.0


@dataclass(frozen=True)
class Grid:
    """How the labels lie on the paper, in mm: the size of one, how many side by side, the paper's margin, the gap."""

    width_mm: float
    height_mm: float
    columns: int
    margin_mm: float
    gap_mm: float

    @property
    def paper_mm(self) -> float:
        """How wide the paper must be, in mm."""
        return self.columns * self.width_mm + (self.columns - 1) * self.gap_mm + 2 * self.margin_mm

    @property
    def code_mm(self) -> float:
        """Width and height of the code in mm.

        All of the label's shorter side that leaves room for the name beside it.
        """
        short, long = sorted((self.width_mm, self.height_mm))
        return min(short - 2 * PADDING_MM, 0.6 * (long - 3 * PADDING_MM))

    @property
    def name_mm(self) -> float:
        """Width of the room for the name in mm: beside the code, or below it on a label that stands upright."""
        return self.width_mm - (2 * PADDING_MM if self.upright else self.code_mm + 3 * PADDING_MM)

    @property
    def text_mm(self) -> float:
        """Height of the room for the name and the farm's below it, in mm."""
        return self.height_mm - (self.code_mm + 3 * PADDING_MM if self.upright else 2 * PADDING_MM)

    @property
    def upright(self) -> bool:
        """Whether the label stands upright, with the name below the code."""
        return self.height_mm > self.width_mm

    @property
    def has_farm(self) -> bool:
        """Whether there is room for the farm's name."""
        return self.text_mm >= FARM_MM + LEFT_MM


@dataclass(frozen=True)
class Label:
    """One label: its name as shown, the code's width in modules (white included), its drawing, the letters' size."""

    name: str
    modules: int
    path: str
    letter_mm: float


def render_labels(farm_name: str, containers: Sequence[str], grid: Grid) -> str:
    """Return the page that prints these labels.

    One HTML file as text. Raises ValueError for a name too long for a QR code.
    """
    labels = [label(name, grid) for name in containers]
    style = _sizes(grid, sorted({each.letter_mm for each in labels})) + part("sheets/styles/labels.css")
    return (
        environment("sheets/templates")
        .get_template("labels.html.j2")
        .render(
            farm=visible(farm_name).strip(),
            on_label=grid.has_farm,
            labels=labels,
            grid=grid,
            style=Markup(style),
            policy=policy([style]),
        )
    )


def label(name: str, grid: Grid) -> Label:
    """Return the label of this container. The code holds the name as it is, in UTF-8.

    The name is as large as fits on one line, and broken into lines below SMALLEST_LETTER_MM.
    """
    rows = matrix(name)
    shown = visible(name)
    fits = grid.name_mm / (LETTER_WIDTH * max(len(shown), 1))
    largest = min(0.4 * min(grid.height_mm, grid.width_mm), grid.text_mm - FARM_MM * grid.has_farm)
    letter = max(SMALLEST_LETTER_MM, min(largest, fits))
    return Label(shown, len(rows) + 2 * QUIET, _path(rows), round(letter, 1))


def matrix(text: str) -> list[list[int]]:
    """Return the modules of the QR code, dark ones as 1: rows of 1 and 0, without white around them.

    One kind of content (bytes, UTF-8) and no less than a seventh of damage mended (level M; more where it costs no
    room), because labels get wet and torn. Raises ValueError for more text than a QR code holds.
    """
    import segno

    code = segno.make_qr(text, error="m", mode="byte", encoding="utf-8")
    return [[int(module) for module in row] for row in code.matrix]


def too_fine(containers: Sequence[str], grid: Grid) -> list[str]:
    """Return the containers whose code is too fine to be read, at this size of label."""
    return [name for name in containers if grid.code_mm / (len(matrix(name)) + 2 * QUIET) < FINEST_MODULE_MM]


def _path(rows: Sequence[Sequence[int]]) -> str:
    """The dark modules as one drawing: each run of them in a row is a rectangle."""
    drawn = []
    for y, row in enumerate(rows):
        x = 0
        while x < len(row):
            run = next((at for at in range(x, len(row)) if not row[at]), len(row)) - x
            if run:
                drawn.append(f"M{x + QUIET} {y + QUIET}h{run}v1h-{run}z")
            x += run or 1
    return "".join(drawn)


def _sizes(grid: Grid, letters: Sequence[float]) -> str:
    """The style's numbers: sizes of the grid, and a class for each size of letters."""
    numbers: dict[str, float] = {
        "width": grid.width_mm,
        "height": grid.height_mm,
        "gap": grid.gap_mm,
        "margin": grid.margin_mm,
        "code": grid.code_mm,
        "padding": PADDING_MM,
    }
    variables = "".join(f"--{name}: {value:g}mm; " for name, value in numbers.items())
    classes = "".join(f".letters-{value * 10:.0f} {{ font-size: {value:g}mm; }}\n" for value in letters)
    return f":root {{ {variables}--columns: {grid.columns}; }}\n@page {{ margin: {grid.margin_mm:g}mm; }}\n{classes}"
