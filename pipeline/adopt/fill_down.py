"""What is named once and left blank below: filled down, where the grower agrees."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.adopt.block import WEIGHT, Block
from pipeline.adopt.dialogue import Dialogue
from schemas.phrases import counted

# In the order in which they hang on each other: a new batch ends what stood for the one before.
FILLED = ("batch", "inoculated_on", "strain", "substrate", "treatment", "picked_on", "container")
OF_BATCH = ("inoculated_on", "strain", "substrate", "treatment")


def filled_down(block: Block, where: str, talk: Dialogue, columns: Sequence[str] = FILLED) -> Block:
    """Return the block with blank cells below a filled one filled, in the columns that name batch, day and so on."""
    batch = block.find("batch")
    for column in columns:
        at = block.find(column)
        if at is None or at == block.find(WEIGHT) or not _begun(block, at) or _batch_says(block, column, batch):
            continue
        cells, count = _filled(block, at, column)
        if not count:
            continue
        heading = block.header[at]
        text = (
            f'{counted(count, "cell")} of "{heading}" in {where} {"is" if count == 1 else "are"} blank below a filled '
            "one. The same as above?"
        )
        if talk.agrees(f"blank {heading}", text):
            block = block.with_cells(at, cells)
    return block


def _begun(block: Block, at: int) -> bool:
    """Whether the first row has a cell here: what is blank from the start is not named once per block."""
    return bool(block.rows) and block.rows[0].cells[at] is not None


def _batch_says(block: Block, column: str, batch: int | None) -> bool:
    """Whether the column is of the batch, whose name stands beside each blank cell that another row of it fills."""
    if column not in OF_BATCH or batch is None:
        return False
    at = block.find(column)
    said = {row.cells[batch] for row in block.rows if at is not None and row.cells[at]}
    return all(row.cells[batch] in said for row in block.rows)


def _filled(block: Block, at: int, column: str) -> tuple[list[str | None], int]:
    weight = block.find(WEIGHT)
    cells: list[str | None] = []
    count, last, last_at = 0, None, 0
    for row in block.rows:
        cell = row.cells[at]
        needed = column in ("batch", *OF_BATCH) or weight is None or row.cells[weight] is not None
        # A row of the same row of the sheet does not stand below it: what it lacks is not what that has.
        if cell is None and last is not None and needed and row.at != last_at:
            cells.append(last)
            count += 1
        else:
            cells.append(cell)
        if cell:
            last, last_at = cell, row.at
    return cells, count
