"""What a table with a column for each container says of them above their weights: when they were made, of what."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from pipeline.adopt.block import Block, BlockRow, meanings
from pipeline.adopt.cells import looks_date


def container_name(label: str) -> str:
    """Return the name without the word for the kind of container, where a number follows it."""
    found = re.fullmatch(r"[^\W\d_]{3,}[ .#-]*(\d+\w*)", label.strip())
    return found[1] if found else label.strip()


def facts_of_containers(block: Block, day: int) -> tuple[Block, tuple[BlockRow, ...]]:
    """Return the block without its rows that say something of each container ("made on"), and these rows."""
    facts = tuple(
        row for row in block.rows if (name := row.cells[day]) and not looks_date(name) and meanings(name) - {"note"}
    )
    return replace(block, rows=tuple(row for row in block.rows if row not in facts)), facts


def with_container_facts(done: Block, block: Block, across: Sequence[int], facts: Sequence[BlockRow]) -> Block:
    """Return the pickings with what is said of their containers, and a row for each container that gave none."""
    if not facts:
        return done
    picked = {row.heading for row in done.rows}
    bare = [at for at in across if block.header[at] not in picked and any(row.cells[at] for row in facts)]
    container = done.header.index("Container")
    rows = list(done.rows)
    for at in bare:
        cells = [container_name(block.header[at]) if one == container else None for one in range(len(done.header))]
        rows.append(BlockRow(facts[0].at, tuple(cells), block.header[at]))
    done = replace(done, rows=tuple(rows))
    place = {block.header[at]: at for at in across}
    for fact in facts:
        heading = next((cell for cell in fact.cells if cell), "")
        done = done.with_column(heading, [fact.cells[place[row.heading]] for row in done.rows])
    return done
