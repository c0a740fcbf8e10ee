"""Tables with several columns of weights become one row per picking: flushes, days or containers across."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from pipeline.adopt.amounts import in_one_unit, parse_amount
from pipeline.adopt.block import Block, BlockRow, LeftOut, event_of, float_or_none, sums_others
from pipeline.adopt.cells import filled, looks_date, looks_number
from pipeline.adopt.container_facts import container_name, facts_of_containers, with_container_facts
from pipeline.adopt.days import PartialDay, iso, months_first, partial_day, whole_day, year_for
from pipeline.adopt.dialogue import Dialogue
from pipeline.adopt.flush_heading import flush_heading
from pipeline.adopt.guessed_days import days_later, order_of_days
from pipeline.adopt.headings import parse_heading

# Days that are taken where a sheet has none: from inoculation to the first flush, and from flush to flush. Our choice,
# no source; asked, and noted in each row.
TO_FIRST, TO_NEXT = 28, 14
CONTAINER_NOTE = "container note"
NONE = ("n/a", "na", "x", "none")
NAME = re.compile(r"[^\W\d_]{0,10}[ .#-]?\d{1,4}[^\W\d_]?|[^\W\d_]")
MADE_FLUSH, MADE_DAY, MADE_EVENT, MADE_SEEN = "Flush", "Picked on", "Event", "Seen on"
# Notes of how a picking, and an event, were read.
MADE_NOTE, EVENT_NOTE = "Note of reading", "Note of event"


@dataclass(frozen=True)
class About:
    """What is known about a table: `where`, what it is called; `texts`, the names and titles about it, which may hold a
    year; `imperial`: it has units of pounds and ounces.
    """

    where: str
    texts: Sequence[str]
    imperial: bool


@dataclass(frozen=True)
class CellPicking:
    """What one cell of weights becomes: None for what it does not say."""

    weight: str | None
    unit: str | None
    day: str | None = None
    flush: str | None = None
    container: str | None = None
    event: str | None = None
    note: str | None = None
    heading: str = ""


def unpivoted(block: Block, about: About, talk: Dialogue) -> Block:
    """Return the block with one row for each picking."""
    for shape in (_of_groups, _of_flushes, _of_days, _of_containers):
        done = shape(block, about, talk)
        if done is not None:
            return done
    return block


def _made(block: Block, drop: Sequence[int], pickings_of: Callable[[BlockRow], list[CellPicking]], once: bool) -> Block:
    """The block without the columns `drop`, with a row for each picking of a row; where there is none, the row alone
    (`once`), for it may say that a container was filled.
    """
    found = [(row, each) for row in block.rows for each in pickings_of(row)]
    units = {each.unit for _, each in found if each.weight}
    unit = next(iter(units)) if len(units) == 1 else "g" if units else None
    rows, made = [], []
    for row in block.rows:
        own = [each for other, each in found if other is row]
        for each in own or ([CellPicking(None, None)] if once else []):
            rows.append(replace(row, heading=each.heading))
            weight = each.weight
            if weight and len(units) > 1 and each.unit:
                weight = in_one_unit(weight, each.unit, "g") or weight
            made.append(replace(each, weight=weight))
    base = replace(block, rows=tuple(rows)).without(drop)
    base = _with_notes_of_containers(base, made)
    columns = (
        ("Container", [each.container for each in made]),
        (MADE_DAY, [None if each.event else each.day for each in made]),
        (MADE_FLUSH, [each.flush for each in made]),
        (f"Weight ({unit})" if unit else "Weight", [each.weight for each in made]),
        (MADE_SEEN, [each.day if each.event else None for each in made]),
        (MADE_EVENT, [each.event for each in made]),
    )
    for heading, cells in columns:
        if any(cells) or heading.startswith("Weight"):
            base = base.with_column(heading, cells)
    notes = [each.note for each in made]
    base = base.with_note(MADE_NOTE, notes) if any(notes) else base
    return replace(base, groups=())


def _with_notes_of_containers(block: Block, made: Sequence[CellPicking]) -> Block:
    """The block with its notes as those of containers, where one stands beside no picking."""
    note = block.find("note")
    if note is None or block.find("container") is None:
        return block
    alone = [row for row, each in zip(block.rows, made, strict=True) if row.cells[note] and not each.weight]
    return replace(block, meant={**block.meant, block.header[note]: CONTAINER_NOTE}) if alone else block


def _of_groups(block: Block, about: About, talk: Dialogue) -> Block | None:
    """Columns that repeat below labels, each of which names a container."""
    labels = [label for label in dict.fromkeys(block.groups) if label]
    subs = {label: [at for at, one in enumerate(block.groups) if one == label] for label in labels}
    uneven = len({len(each) for each in subs.values()}) > 1
    if len(labels) < 2 or uneven or any(flush_heading(label) for label in labels):
        return None
    names = [block.header[at].removeprefix(label).strip() for label in labels for at in subs[label]]
    size = len(subs[labels[0]])
    if size < 2 or names != names[:size] * len(labels):
        return None
    if not talk.agrees(f"labels of {about.where}", f"Are {labels[0]}, {labels[-1]} in {about.where} the containers?"):
        return None
    own = [at for at in range(len(block.header)) if not block.groups[at]]
    rows, containers = [], []
    for label in labels:
        for row in block.rows:
            cells = [row.cells[at] for at in subs[label]]
            if any(cells):
                rows.append(BlockRow(row.at, tuple([row.cells[at] for at in own] + cells), label))
                containers.append(container_name(label))
    header = tuple([block.header[at] for at in own] + names[:size])
    done = replace(block, header=header, rows=tuple(rows), groups=())
    return done.with_column("Container", containers)


def _of_flushes(block: Block, about: About, talk: Dialogue) -> Block | None:
    """A column for each flush, with or without its day beside it."""
    days: dict[int, int] = {}
    weights: dict[int, int] = {}
    for at, heading in enumerate(block.header):
        named = flush_heading(heading)
        if named:
            cells = block.column(at)
            day = sum(looks_date(cell) for cell in cells) * 2 > len(cells) if cells else named.day
            (days if day else weights).setdefault(named.flush, at)
    if not weights or (len(weights) == 1 and not days):
        return None
    inoculated, picked = block.find("inoculated_on"), block.find("picked_on")
    days.setdefault(1, picked) if picked is not None and picked not in weights.values() else None
    guess = set(weights) - set(days)
    if guess:
        since = "the flush before" if 1 in days else "inoculation"
        text = (
            f"{about.where} has no day for flush {min(guess)}. Take {TO_NEXT if 1 in days else TO_FIRST} days after "
            f"{since}, and {TO_NEXT} from flush to flush (a guess, noted in each row)?"
        )
        guess = guess if talk.agrees(f"days of flushes in {about.where}", text) else set()
    known = [at for at in (*days.values(), inoculated) if at is not None]
    order = order_of_days(block, known, about.where, about.imperial, talk) if guess else None

    def pickings_of(row: BlockRow) -> list[CellPicking]:
        found, before = [], row.cells[inoculated] if inoculated is not None else None
        for flush in sorted(weights):
            cell = row.cells[weights[flush]]
            day = row.cells[days[flush]] if flush in days else None
            noted = None
            if day is None and flush in guess and before and cell:
                day = days_later(before, TO_FIRST if flush == 1 else TO_NEXT, order)
                noted = "day guessed" if day else None
            before = day or before
            if cell and float_or_none(cell) != 0 and filled([cell]):
                heading = block.header[weights[flush]]
                unit = parse_heading(heading).unit
                found.append(CellPicking(cell, unit, day, str(flush), note=noted, heading=heading))
        return found

    return _made(block, sorted({*days.values(), *weights.values()}), pickings_of, once=True)


def _of_days(block: Block, about: About, talk: Dialogue) -> Block | None:
    """A column for each day."""
    at_days = [at for at, heading in enumerate(block.header) if whole_day(heading) or partial_day(heading)]
    if len(at_days) < 2:
        return None
    partial = {at: day for at in at_days if (day := partial_day(block.header[at])) and not whole_day(block.header[at])}
    days = {at: block.header[at] for at in at_days if at not in partial}
    days |= _with_year(partial, about, talk)
    unit = next((unit for text in about.texts if (unit := _unit_said(text))), None)
    totals = [at for at, heading in enumerate(block.header) if sums_others(heading)]

    def pickings_of(row: BlockRow) -> list[CellPicking]:
        found = [_of_cell(row.cells[at], unit, block.header[at], day=days[at]) for at in at_days if at in days]
        return [each for each in found if each]

    return _made(block, [*at_days, *totals], pickings_of, once=True)


def _with_year(partial: dict[int, PartialDay], about: About, talk: Dialogue) -> dict[int, str]:
    if not partial:
        return {}
    if any(each.open for each in partial.values()) and not months_first(
        partial.values(), about.imperial, about.where, talk
    ):
        partial = {
            at: PartialDay(each.year, each.day, each.month or 1) if each.open else each for at, each in partial.items()
        }
    year = 0
    if any(each.year is None for each in partial.values()):
        year = year_for(partial.values(), about.texts, about.where, talk)
    found, before = {}, 0
    for at, each in partial.items():
        # A winter's sheet goes on into the next year.
        year += before - (each.month or 0) > 6
        before = each.month or 0
        day = iso(each.year or year, each.month or 1, each.day)
        if day:
            found[at] = day
    return found


def _unit_said(text: str) -> str | None:
    """The unit that a title says: "Grams per bucket"."""
    units = {unit for word in text.split() if (unit := parse_heading(f"x ({word.strip('(),.')})").unit) in MASSES}
    return units.pop() if len(units) == 1 else None


MASSES = ("g", "kg", "oz", "lb")


def _of_cell(
    cell: str | None, unit: str | None, heading: str, day: str | None = None, container: str | None = None
) -> CellPicking | None:
    """What a cell among weights says. None for nothing and for zero."""
    if cell is None or not filled([cell]) or float_or_none(cell) == 0 or cell.casefold() in NONE:
        return None
    event = event_of(cell) if not any(letter.isdigit() for letter in cell) else None
    return CellPicking(None if event else cell, None if event else unit, day, None, container, event, None, heading)


def _of_containers(block: Block, about: About, talk: Dialogue) -> Block | None:
    """Days down, a column for each container."""
    dated = [at for at in range(len(block.header)) if 2 * sum(map(looks_date, block.column(at))) > len(block.rows)]
    day = dated[0] if dated else None
    if day is None or block.find("container") is not None or block.find("fresh_weight_g") is not None:
        return None
    block, facts = facts_of_containers(block, day)
    across = [
        at
        for at, heading in enumerate(block.header)
        if at != day and NAME.fullmatch(heading) and _weights(block.column(at))
    ]
    if len(across) < 2:
        return None
    first, last = block.header[across[0]], block.header[across[-1]]
    text = f"Are {first} ... {last} in {about.where} the containers, with their weights below?"
    if not talk.agrees(f"columns of {about.where}", text):
        return None
    totals = [at for at, heading in enumerate(block.header) if sums_others(heading)]
    unit = next((unit for text in about.texts if (unit := _unit_said(text))), None)

    def pickings_of(row: BlockRow) -> list[CellPicking]:
        found = [
            _of_cell(row.cells[at], unit, block.header[at], row.cells[day], container_name(block.header[at]))
            for at in across
        ]
        return [each for each in found if each]

    done = with_container_facts(_made(block, [day, *across, *totals], pickings_of, once=False), block, across, facts)
    empty = [row.at for row in block.rows if not pickings_of(row)]
    out = tuple(LeftOut(at, "", "has no weight") for at in empty)
    return replace(done, left_out=(*done.left_out, *out))


def _weights(cells: Sequence[str]) -> bool:
    """Whether these cells are weights, or say why there is none."""
    said = filled(cells)
    return all(looks_number(cell) or parse_amount(cell) or event_of(cell) or cell.lower() in NONE for cell in said)
