"""Headings that nobody knows: a letter off from one that is known, or told by their cells. Each is asked."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import replace

from pipeline.adopt.block import PICKED, WEIGHT, Block, event_of, is_unit, sums_others
from pipeline.adopt.cells import filled, looks_date
from pipeline.adopt.days import partial_day, whole_day
from pipeline.adopt.dialogue import Dialogue
from pipeline.adopt.flush_heading import flush_heading
from pipeline.adopt.headings import known_wordings, parse_heading
from pipeline.adopt.sections import name_in
from schemas.contract import HARVESTS, INPUTS, contract

# How like a known wording a heading must be, from 0 to 1, and how long, to be asked: our choice, no source.
LIKE, LONG = 0.79, 4


def with_meant_headings(block: Block, where: str, talk: Dialogue, books: bool = False) -> Block:
    """Return the block with the known wording of each heading that the grower agrees on. `books`: what it holds is
    sold, priced or promised.
    """
    for at, heading in _unknown(block):
        words = parse_heading(heading).words
        near = difflib.get_close_matches(words, known_wordings(books), n=1, cutoff=LIKE) if len(words) >= LONG else []
        if near and talk.agrees(f"heading {heading}", f'"{heading}" in {where}: is that "{near[0]}"?'):
            block = _meant(block, at, near[0])
    for column, wording, fits in ((PICKED, "picked on", _days), (WEIGHT, "fresh weight", _amounts)):
        alike = [(at, heading) for at, heading in _unknown(block) if heading and fits(block, at)]
        if block.find(column) is None and len(alike) == 1 and _of_pickings(block, column):
            at, heading = alike[0]
            title = contract(HARVESTS).field(column).title.lower()
            if talk.agrees(f"heading {heading}", f'"{heading}" in {where}: is that "{title}"?'):
                block = _meant(block, at, wording)
    return block


def _meant(block: Block, at: int, wording: str) -> Block:
    unit = parse_heading(block.header[at]).unit
    return replace(block, meant={**block.meant, block.header[at]: f"{wording} ({unit})" if unit else wording})


def _unknown(block: Block) -> Iterator[tuple[int, str]]:
    for at, heading in enumerate(block.header):
        grouped = block.groups and block.groups[at]
        if (
            not heading
            or grouped
            or block.meanings(at)
            or name_in(heading, "container")
            or event_of(heading)
            or flush_heading(heading)
            or sums_others(heading)
        ):
            continue
        if not (whole_day(heading) or partial_day(heading) or is_unit(heading)) and _no_column(heading):
            yield at, heading


def _no_column(heading: str) -> bool:
    return not any(heading == name for table in INPUTS for name in contract(table).names)


def _of_pickings(block: Block, column: str) -> bool:
    """Whether the table has the rest of what pickings have."""
    place = block.find("container", "batch") is not None
    return place and (block.find(PICKED) is not None if column == WEIGHT else block.find(WEIGHT) is not None)


def _days(block: Block, at: int) -> bool:
    cells = filled(block.column(at))
    return bool(cells) and all(looks_date(cell) or partial_day(cell) for cell in cells)


def _amounts(block: Block, at: int) -> bool:
    from pipeline.adopt.amounts import parse_amount

    cells = filled(block.column(at))
    unit = parse_heading(block.header[at]).unit
    return bool(cells) and unit in (None, "g", "kg", "oz", "lb") and all(parse_amount(cell) for cell in cells)
