"""Batches that nobody named: all containers are one, or those that were begun on one day."""

from __future__ import annotations

from fractions import Fraction

from pipeline.adopt.amounts import number_of, written_number
from pipeline.adopt.block import PICKED, Block
from pipeline.adopt.dialogue import Dialogue

# The batch of all containers where none is named.
ONE = "all"
# What is of a whole batch, and may stand beside each of its containers as of that one.
MASSES = ("substrate_wet_kg", "substrate_dry_kg", "supplement_dry_kg", "spawn_kg")


def with_one_batch(block: Block, talk: Dialogue) -> Block | None:
    """Return the table with a batch for each of its rows, where its containers are of none that anybody named. None
    where it has no containers, or the grower does not agree.
    """
    container, started = block.find("container"), block.find("inoculated_on")
    if container is None or block.find(PICKED, "seen_on") is None:
        return None
    if started is None or started == block.find(PICKED):
        if not talk.agrees("one batch", f'No batch is named anywhere. Count all as one batch, called "{ONE}"?'):
            return None
        names: list[str | None] = [ONE] * len(block.rows)
        return block.with_column("Batch", names)
    text = f'No batch is named anywhere. Are containers with one day of "{block.header[started]}" one batch?'
    if not talk.agrees("batch by day", text):
        return None
    days = {row.cells[container]: row.cells[started] for row in block.rows if row.cells[started]}
    names = [row.cells[started] or days.get(row.cells[container]) or ONE for row in block.rows]
    return _with_sums(block, names, container, talk).with_column("Batch", names)


def _with_sums(block: Block, names: list[str | None], container: int, talk: Dialogue) -> Block:
    """The block with the mass of the whole batch where that of each container stands beside it."""
    for at in filter(None, (block.find(column) for column in MASSES)):
        of_container: dict[tuple[str | None, str | None], Fraction] = {}
        for name, row in zip(names, block.rows, strict=True):
            value = number_of(row.cells[at] or "")
            if value is not None:
                of_container.setdefault((name, row.cells[container]), value)
        batches = {name for name, _ in of_container}
        text = f'"{block.header[at]}" stands beside each container. Is it of that one (n: of its whole batch)?'
        if len(of_container) == len(batches) or not talk.agrees("masses of containers", text):
            continue
        sums = {
            name: written_number(sum((mass for (of, _), mass in of_container.items() if of == name), Fraction(0)))
            for name in batches
        }
        block = block.with_cells(at, [sums.get(name) for name in names])
    return block
