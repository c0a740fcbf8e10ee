"""Columns that note an event of each row ("Contam?", "Thrown out"): a row of its own for each, with its day."""

from __future__ import annotations

from dataclasses import replace

from pipeline.adopt.block import Block, BlockRow, event_of
from pipeline.adopt.cells import looks_date
from pipeline.adopt.dialogue import Dialogue
from pipeline.adopt.unpivot import EVENT_NOTE, MADE_EVENT, MADE_SEEN
from schemas.trade_words import plain_word, trade_words


def with_event_rows(block: Block, where: str, talk: Dialogue) -> Block:
    """Return the block with a row for each event that a column of it notes, by its day or by yes."""
    for at in reversed(range(len(block.header))):
        event = event_of(block.header[at])
        cells = block.column(at)
        if not event or not cells:
            continue
        dated = [looks_date(cell) for cell in cells]
        if all(dated):
            block = _parted(block, at, event, None)
        elif all(plain_word(cell) in {*trade_words("yes"), "no", "n", "nein", "non", "nao"} for cell in cells):
            block = _by_yes(block, at, event, where, talk)
    return block


def _by_yes(block: Block, at: int, event: str, where: str, talk: Dialogue) -> Block:
    day = block.find("picked_on")
    start = block.find("inoculated_on")
    heading = block.header[at]
    text = (
        f'"{heading}" in {where} says yes without a day. Count it as {event} on the day of that row (of its picking, '
        "else of inoculation; a guess, noted)?"
    )
    if (day is None and start is None) or not talk.agrees(f"days of {heading}", text):
        return block
    places = [place for place in (day, start) if place is not None]
    return _parted(block, at, event, places)


def _parted(block: Block, at: int, event: str, days: list[int] | None) -> Block:
    """The block without this column, and with a row for each of its cells that says the event. `days`: where its day
    stands, likeliest first (None: in the cell itself).
    """
    of_batch = [place for name in ("batch", "container") if (place := block.find(name)) is not None]
    cause = block.find("cause")
    rows: list[BlockRow] = []
    made: list[tuple[str | None, str | None, str | None]] = []
    for row in block.rows:
        cell = row.cells[at]
        says = cell and (days is None or plain_word(cell) in trade_words("yes"))
        rows.append(row if not says or cause is None else _without(row, cause))
        made.append((None, None, None))
        if says:
            day = cell if days is None else next((row.cells[place] for place in days if row.cells[place]), None)
            keys = tuple(cell if place in (*of_batch, cause) else None for place, cell in enumerate(row.cells))
            rows.append(BlockRow(row.at, keys, block.header[at]))
            made.append((day, event, None if days is None else "day guessed"))
    done = replace(block, rows=tuple(rows))
    for number, heading in enumerate((MADE_SEEN, MADE_EVENT, EVENT_NOTE)):
        cells = [each[number] for each in made]
        if heading in done.header:
            place = done.header.index(heading)
            before = [row.cells[place] for row in done.rows]
            done = done.with_cells(place, [new or old for new, old in zip(cells, before, strict=True)])
        elif any(cells):
            done = done.with_column(heading, cells)
    return done.without([at])


def _without(row: BlockRow, at: int) -> BlockRow:
    """The row without the cell that goes with its event: why it ended."""
    return replace(row, cells=(*row.cells[:at], None, *row.cells[at + 1 :]))
