"""A plain table as lines of text that fit a screen: columns side by side, or each row as a block of lines."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.cli.cut_texts import cut_apart

# No text is cut to fewer letters than this.
SHORTEST = 4
# A text with more letters than this is no longer broken between words: our choice, no source.
ENDLESS = 2000


@dataclass(frozen=True)
class TextColumn:
    """A column as it is shown: the lines of its heading, its cells; whether they are numbers, which stand at the right;
    whether they may be cut.
    """

    heading: Sequence[str]
    cells: Sequence[str]
    right: bool = False
    cut: bool = True

    @property
    def widest(self) -> int:
        """Of how many letters its longest line is."""
        return max([*map(len, self.heading), *map(len, self.cells)])

    def lines(self, size: int, depth: int) -> list[str]:
        """Its heading, in so many lines, a rule and its cells, each of so many letters at most."""
        texts = [*[""] * (depth - len(self.heading)), *self.heading, "-" * size, *self.cells]
        if self.widest > size:
            shown = cut_apart(texts, size)
            texts = [shown[text] for text in texts]
        return texts


def table_lines(columns: Sequence[TextColumn], width: int) -> list[str]:
    """Return the lines of a plain table that is no wider than this. Texts that may be cut are, the longest first;
    numbers never are. What does not fit even so is told row by row, in one line per cell.
    """
    widths = [column.widest for column in columns]
    texts = [at for at, column in enumerate(columns) if column.cut]
    beyond = sum(widths) + 2 * (len(widths) - 1) - width
    while beyond > 0 and any(widths[at] > SHORTEST for at in texts):
        widths[max(texts, key=lambda at: widths[at])] -= 1
        beyond -= 1
    if beyond > 0:
        return _blocks(columns, width)
    depth = max(len(column.heading) for column in columns)
    shown = [column.lines(size, depth) for column, size in zip(columns, widths, strict=True)]
    sides = ["" if column.right else "-" for column in columns]
    side_by_side = "  ".join(f"%{side}{size}s" for side, size in zip(sides, widths, strict=True))
    return [(side_by_side % row).rstrip() for row in zip(*shown, strict=True)]


def _blocks(columns: Sequence[TextColumn], width: int) -> list[str]:
    """Each row as a block of lines: the column's name, then its cell, wrapped."""
    names = [" ".join(column.heading).strip().replace("- ", "") for column in columns]
    size = min(max(map(len, names)), width // 2)
    shown = [name if len(name) <= size else name[: size - 1] + "~" for name in names]
    found = []
    for row in zip(*(column.cells for column in columns), strict=True):
        for name, text in zip(shown, row, strict=True):
            first, *more = wrapped(text, width - size - 2)
            found.append(f"{name:{size}}  {first}".rstrip())
            found += [f"{'':{size}}  {line}".rstrip() for line in more]
        found.append("")
    return found


def wrapped(text: str, width: int) -> list[str]:
    """Return the lines of a cell. One with no end is cut wherever a line is full: looking for spaces takes too long."""
    if len(text) <= width and not text.endswith(" "):
        return [text]
    if len(text) > ENDLESS:
        return [text[at : at + width] for at in range(0, len(text), width)]
    return textwrap.wrap(text, width) or [""]
