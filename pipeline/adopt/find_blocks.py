"""Finding the tables in a sheet: below titles and notes, beside each other, below each other, lying on their side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.adopt.block import Block, BlockRow, LeftOut, event_of, is_unit, meanings, sums_others
from pipeline.adopt.cells import looks_date, looks_number
from pipeline.adopt.days import partial_day, whole_day
from pipeline.adopt.flush_heading import flush_heading
from schemas.trade_words import plain_word, trade_words

Line = Sequence[str | None]
# A table that lies on its side has no more rows than this, for they are its headings: our choice, no source.
FIELDS = 60
# What may stand beside a unit below a heading.
BESIDE_UNITS = ("wet", "dry", "fresh", "each", "nass", "trocken", "humide", "sec", "humedo", "seco", "umido")


def filled(line: Line) -> list[str]:
    """The cells of a row that say anything."""
    return [cell for cell in line if cell]


def known(cell: str) -> bool:
    """Whether this cell may be a heading."""
    return bool(
        meanings(cell) or event_of(cell) or flush_heading(cell) or plain_word(cell) in trade_words("day")
    ) and not cell.rstrip().endswith(":")


def day_heading(cell: str) -> bool:
    """Whether this cell is a day that may stand above a column."""
    return whole_day(cell) or partial_day(cell) is not None


def find_blocks(rows: Sequence[Line]) -> list[Block]:
    """Return the tables of a sheet, from above to below and left to right. Every row stands in one of them, in its
    titles, or in its list of rows left out.
    """
    if _on_its_side(rows):
        rows = [[line[at] if at < len(line) else None for line in rows] for at in range(max(map(len, rows)))]
    heads = _heads(rows)
    found: list[Block] = []
    for number, head in enumerate(heads):
        end = heads[number + 1].first if number + 1 < len(heads) else len(rows)
        above = rows[heads[number - 1].end if number else 0 : head.first]
        found += _beside_each_other(_block(rows, head, _end(rows, head.end, end), above if not number else ()))
    joined = _joined(_with_titles_between(found, rows, heads))
    if not joined:
        return []
    first, *others = joined
    return [replace(first, left_out=(*first.left_out, *_outside(rows, heads, joined))), *others]


def _outside(rows: Sequence[Line], heads: Sequence[_Head], found: Sequence[Block]) -> list[LeftOut]:
    """The rows that stand in no table, and say nothing of one."""
    inside = {row.at for block in found for row in block.rows} | {
        at + 1 for head in heads for at in range(head.first, head.end)
    }
    lines = [(at, line) for at, line in enumerate(rows, 1) if filled(line) and at not in inside]
    return [LeftOut(at, filled(line)[0], "stands outside of the tables") for at, line in lines if not _facts([line])]


@dataclass(frozen=True)
class _Head:
    """Heading rows: the first, the row behind the last, the headings, and the labels above them."""

    first: int
    end: int
    header: tuple[str, ...]
    groups: tuple[str, ...] = ()


def _on_its_side(rows: Sequence[Line]) -> bool:
    if len(rows) > FIELDS:
        return False
    down = [line[0] for line in rows if line and line[0]]
    names = sum(known(cell) for cell in down)
    across = max((sum(map(known, filled(line))) for line in rows), default=0)
    return names >= 3 and names > across and 2 * names > len(down)


def _heads(rows: Sequence[Line]) -> list[_Head]:
    found: list[_Head] = []
    at = 0
    while at < len(rows):
        fresh = not found or at == 0 or not filled(rows[at - 1]) or len(filled(rows[at - 1])) == 1
        if _is_head(rows, at, fresh, bool(found)):
            found.append(_head(rows, at, found[-1].end if found else 0))
            at = found[-1].end
        else:
            at += 1
    return found


def _is_head(rows: Sequence[Line], at: int, fresh: bool, later: bool) -> bool:
    """Whether headings stand in this row. `fresh`: nothing, or a title, stands above it; `later`: it is not the first
    such row, and must look the more like one.
    """
    cells = filled(rows[at])
    if len(cells) < 2 or any(cell.rstrip().endswith(":") for cell in cells):
        return False
    values = [cell for cell in cells if looks_number(cell) or day_heading(cell)]
    if values and later and not fresh:
        return False
    texts = [cell for cell in cells if cell not in values]
    names = [cell for cell in texts if known(cell) or sums_others(cell)]
    if not values and len(names) >= 2 and 2 * len(names) >= len(cells):
        return fresh or len(names) == len(cells)
    if later and not fresh:
        return False
    if len(values) >= 2 and names and len(names) == len(texts):
        return not later or len(names) >= 2
    below = next((line for line in rows[at + 1 :] if filled(line)), ())
    differs = [
        above and under and not _value(above) and _value(under) for above, under in zip(rows[at], below, strict=False)
    ]
    return not values and any(differs) and bool(names) and (len(cells) >= 3 or not later)


def _value(cell: str) -> bool:
    return looks_number(cell) or looks_date(cell) or cell[:1].isdigit() or partial_day(cell) is not None


def _head(rows: Sequence[Line], at: int, above_from: int) -> _Head:
    """The headings of this row, with the labels above them or the units and headings below them."""
    width = max(len(line) for line in rows)
    upper = _padded(rows[at], width)
    below = filled(rows[at + 1]) if at + 1 < len(rows) else []
    if below and all(_unit_below(cell) for cell in below):
        units = _padded(rows[at + 1], width)
        return _Head(at, at + 2, tuple(map(_with_unit, upper, units)))
    if below and all(known(cell) or is_unit(cell) for cell in below) and not all(_padded(rows[at + 1], width)):
        return _two_rows(upper, _padded(rows[at + 1], width), at, at + 2)
    over = filled(rows[at - 1]) if at > above_from else []
    if 1 < len(over) < len(filled(rows[at])) and not any(cell.endswith(":") for cell in over):
        return _two_rows(_padded(rows[at - 1], width), upper, at - 1, at + 1)
    return _Head(at, at + 1, tuple(upper))


def _unit_below(cell: str) -> tuple[str, str] | None:
    """The unit in a cell below a heading, and the words beside it: "kg", "kg wet". None for a cell that is none."""
    words = cell.strip("()[] ").split()
    units = [word for word in words if is_unit(word)]
    beside = [word for word in words if not is_unit(word)]
    if len(units) != 1 or not all(plain_word(word) in BESIDE_UNITS for word in beside):
        return (cell.strip("()[] "), "") if is_unit(cell) else None
    return units[0], " ".join(beside)


def _with_unit(heading: str, below: str) -> str:
    unit = _unit_below(below)
    return heading if unit is None else " ".join(filter(None, (heading, unit[1], f"({unit[0]})")))


def _two_rows(upper: Sequence[str], lower: Sequence[str], first: int, end: int) -> _Head:
    groups, label = [], ""
    for above, below in zip(upper, lower, strict=True):
        label = above or (label if below else "")
        groups.append(label if below else "")
    header = tuple(
        " ".join(filter(None, (label, f"({below.strip('()[] ')})" if label and is_unit(below) else below))) or above
        for above, below, label in zip(upper, lower, groups, strict=True)
    )
    return _Head(first, end, header, tuple(groups))


def _padded(line: Line, width: int) -> list[str]:
    return [" ".join((cell or "").split()) for cell in line] + [""] * (width - len(line))


def _end(rows: Sequence[Line], start: int, end: int) -> int:
    """Where the rows end that belong to the headings before `start`: titles right above the next headings do not."""
    at = end
    while at > start and end < len(rows) and len(filled(rows[at - 1])) <= 1:
        at -= 1
    return at


def _block(rows: Sequence[Line], head: _Head, end: int, above: Sequence[Line]) -> Block:
    width = len(head.header)
    texts = tuple(cell for line in above if len(filled(line)) == 1 for cell in filled(line))
    body = tuple(
        BlockRow(at + 1, tuple(_cell(rows[at], column) for column in range(width)))
        for at in range(head.end, end)
        if filled(rows[at])
    )
    return Block(head.header, body, head.end, head.groups, texts, tuple(_facts(above)))


def _cell(line: Line, column: int) -> str | None:
    return line[column] or None if column < len(line) else None


def _facts(above: Sequence[Line]) -> list[tuple[str, str]]:
    """What lines above the headings say of the whole table: "Strain: grey", in one cell or in two."""
    found = []
    for line in above:
        cells = filled(line)
        pairs = [*zip(cells[::2], cells[1::2], strict=False)] if len(cells) > 1 else [*map(_parted, cells)]
        for name, value in pairs:
            if value and meanings(name.rstrip(" :")):
                found.append((name.rstrip(" :"), value))
    return found


def _parted(cell: str) -> tuple[str, str]:
    name, _, value = cell.partition(":")
    return name.strip(), value.strip()


def _with_titles_between(found: list[Block], rows: Sequence[Line], heads: Sequence[_Head]) -> list[Block]:
    """Blocks with the titles right above them, which the table above does not have."""
    result = []
    for block in found:
        number = next((at for at, head in enumerate(heads) if head.end == block.head_row), 0)
        if number:
            start = _end(rows, heads[number - 1].end, heads[number].first)
            between = rows[start : heads[number].first]
            texts = tuple(cell for line in between if len(filled(line)) == 1 for cell in filled(line))
            result.append(replace(block, titles=texts, facts=tuple(_facts(between))))
        else:
            result.append(block)
    return result


def _joined(found: list[Block]) -> list[Block]:
    """Blocks of the same headings as one: the headings stand anew on each page."""
    result: list[Block] = []
    for block in found:
        same = [at for at, other in enumerate(result) if other.header == block.header and not block.facts]
        sections = [text for text in block.titles if not sums_others(text)]
        if same and not sections:
            before = result[same[0]]
            result[same[0]] = replace(before, rows=(*before.rows, *block.rows))
        else:
            result.append(block)
    return result


def _beside_each_other(block: Block) -> list[Block]:
    """The tables that stand beside each other: parted by a blank column, with headings of one meaning in each."""
    width = len(block.header)
    blank = [at for at in range(width) if not block.header[at] and not block.column(at)]
    parts = _parts(width, blank)
    if any(block.groups) and _one_shape([block.groups[at] for at in range(width)]):
        return [block.without(blank)]
    if len(parts) > 1 and not _repeats(block, parts):
        parts = [[at for at in range(width) if at not in blank]]
    if len(parts) == 1:
        headings = [block.header[at] for at in parts[0]]
        for size in range(2, len(headings) // 2 + 1):
            if len(headings) % size == 0 and headings == headings[:size] * (len(headings) // size):
                parts = [parts[0][at : at + size] for at in range(0, len(headings), size)]
                break
    found = []
    for part in parts:
        one = block.without([at for at in range(width) if at not in part])
        found.append(replace(one, rows=tuple(row for row in one.rows if any(row.cells))))
    return found


def _one_shape(groups: Sequence[str]) -> bool:
    return len(set(filter(None, groups))) > 1


def _parts(width: int, blank: Sequence[int]) -> list[list[int]]:
    parts: list[list[int]] = [[]]
    for at in range(width):
        if at in blank:
            parts.append([])
        else:
            parts[-1].append(at)
    return [part for part in parts if part]


def _repeats(block: Block, parts: Sequence[Sequence[int]]) -> bool:
    """Whether every part names batch, container or day anew, or is a table by itself."""
    shared = [set().union(*(meanings(block.header[at]) for at in part)) for part in parts]
    keys = {"batch", "container"}
    first = shared[0]
    return all(len(part) > 1 for part in parts) and all(each & first & keys for each in shared[1:])
