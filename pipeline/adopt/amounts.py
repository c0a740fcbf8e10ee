"""Amounts as people write them in a cell: with their unit, pounds and ounces together, about, and as a sum."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from pipeline.adopt.block import WEIGHT, Block, BlockRow
from pipeline.adopt.cells import NEUTRAL, looks_number
from pipeline.adopt.dialogue import Dialogue
from pipeline.adopt.headings import candidates, parse_heading
from pipeline.adopt.unit_words import UNITS
from pipeline.farm.units import conversion, units_of
from schemas.trade_words import trade_words

TERM = re.compile(rf"\s*([\d.,{NEUTRAL}]+)\s*([^\W\d_]*)\.?\s*")
# Decimals of a weight that was turned into another unit: as many as a weight in g is kept with.
FINE = Decimal("0.001")


@dataclass(frozen=True)
class WrittenAmount:
    """A cell's amount: its parts, each with its unit (None: none stands there) in the order of the cell; several where
    it is a sum; `about`: it says that it is not exact.
    """

    sums: tuple[tuple[tuple[str, str | None], ...], ...]
    about: bool = False

    @property
    def units(self) -> set[str | None]:
        """The units that stand in it."""
        return {unit for parts in self.sums for _, unit in parts}


def parse_amount(cell: str) -> WrittenAmount | None:
    """Return the amount in a cell. None for a cell that is none."""
    text, about = cell.strip(), False
    for word in sorted(trade_words("about"), key=len, reverse=True):
        mark = re.match(rf"{re.escape(word)}(?![^\W\d_])\.?\s*", text, re.IGNORECASE)
        if mark:
            text, about = text[mark.end() :], True
            break
    sums = []
    for part in text.split("+"):
        terms = _terms(part)
        if not terms:
            return None
        sums.append(tuple(terms))
    return WrittenAmount(tuple(sums), about)


def _terms(text: str) -> list[tuple[str, str | None]]:
    found: list[tuple[str, str | None]] = []
    at = 0
    while at < len(text):
        term = TERM.match(text, at)
        if not term or not any(letter.isdigit() for letter in term[1]):
            return []
        unit = UNITS.get(term[2].casefold()) if term[2] else None
        if term[2] and unit is None:
            return []
        found.append((term[1], unit))
        at = term.end()
    # Two numbers beside each other are one only as pounds and ounces are.
    return found if len(found) == 1 or all(unit for _, unit in found) else []


def number_of(text: str) -> Fraction | None:
    """Return the number that this text writes, whatever its decimal mark: the last mark of it."""
    plain = text.replace(NEUTRAL, ".").replace(",", ".")
    whole, mark, rest = plain.rpartition(".")
    try:
        return Fraction(f"{whole.replace('.', '')}.{rest}" if mark else plain)
    except ValueError:
        return None


def in_one_unit(text: str, unit: str, target: str) -> str | None:
    """Return this number of `unit` in `target`. None where that cannot be."""
    value = number_of(text)
    if value is None:
        return None
    return written_number(value * conversion(unit, target).factor)


def written_number(value: Fraction) -> str:
    """Return this number with a neutral decimal mark, for the farm's own to be put in."""
    decimal = (Decimal(value.numerator) / Decimal(value.denominator)).quantize(FINE).normalize()
    return f"{decimal:f}".replace(".", NEUTRAL)


def with_plain_amounts(block: Block, where: str, talk: Dialogue) -> Block:
    """Return the block with nothing but numbers in its columns of masses, in one unit each, which the heading names."""
    block = _with_unit_column(block, talk, where)
    for at in range(len(block.header)):
        cells = block.column(at)
        if all(looks_number(cell) for cell in cells) or not _of_mass(block.header[at]):
            continue
        amounts = [parse_amount(cell) for cell in cells]
        if 2 * sum(each is not None for each in amounts) > len(cells):
            block = _plain(block, at, where, talk)
    return block


def _of_mass(heading: str) -> bool:
    known = candidates(heading)
    return any(units_of(each.field.unit)[:1] == ("g",) for each in known) or (
        not known and parse_heading(heading).unit in (None, "g", "kg", "oz", "lb")
    )


def _with_unit_column(block: Block, talk: Dialogue, where: str) -> Block:
    """The block with the unit of a column of units written behind the weights."""
    weight = block.find(WEIGHT)
    for at, heading in enumerate(block.header):
        cells = [cell.strip().casefold() for cell in block.column(at)]
        if weight is None or at == weight or not cells or not all(cell in UNITS for cell in cells):
            continue
        talk.say(f'"{heading}" in {where} is the unit of "{block.header[weight]}".')
        joined = [
            f"{row.cells[weight]} {row.cells[at] or ''}".strip() if row.cells[weight] else None for row in block.rows
        ]
        return block.with_cells(weight, joined).without([at])
    return block


def _plain(block: Block, at: int, where: str, talk: Dialogue) -> Block:
    heading = block.header[at]
    own = parse_heading(heading).unit
    amounts = {row: parse_amount(row.cells[at] or "") for row in block.rows}
    units: Counter[str] = Counter(unit for each in amounts.values() if each for unit in each.units if unit)
    compound = any(len(parts) > 1 for each in amounts.values() if each for parts in each.sums)
    unit = own or (next(iter(units)) if len(units) == 1 and not compound else "g" if units else None)
    if units and not own:
        plain = any(None in each.units for each in amounts.values() if each)
        text = f'Are plain numbers in "{heading}" of {where} in {units.most_common(1)[0][0]}?'
        usual = units.most_common(1)[0][0] if not plain or talk.agrees(f"numbers of {heading}", text) else None
        talk.say(f'"{heading}" of {where} has its unit in the cells; it is read in {unit}.')
    else:
        usual = own
    apart = _sums_apart(block, at, amounts, talk)
    rows: list[BlockRow] = []
    notes: list[str | None] = []
    for row in block.rows:
        amount = amounts[row]
        cell = row.cells[at]
        made = _values(amount, usual, unit, apart) if amount else None
        values: list[str | None] = [*made] if made else [cell]
        for number, value in enumerate(values, 1):
            rows.append(replace(row, cells=(*row.cells[:at], value, *row.cells[at + 1 :])))
            changed = cell and value and amount and (amount.about or value not in cell)
            part = f", {number} of {len(values)}" if len(values) > 1 else ""
            notes.append(f"written {cell}{part}" if changed or part else None)
    done = replace(block, rows=tuple(rows))
    if unit and not own:
        done = done.with_heading(at, f"{heading} ({unit})")
    return done.with_note("Note of reading", notes) if any(notes) else done


def _sums_apart(block: Block, at: int, amounts: dict[BlockRow, WrittenAmount | None], talk: Dialogue) -> bool:
    """Whether each part of a sum is a picking of its own."""
    sums = next((row.cells[at] for row, each in amounts.items() if each and len(each.sums) > 1), None)
    if sums is None or not any(each.column == WEIGHT for each in candidates(block.header[at])):
        return False
    return talk.agrees("sums", f'Does "{sums}" mean a picking for each number (n: one picking, the sum)?')


def _values(amount: WrittenAmount, usual: str | None, unit: str | None, apart: bool) -> list[str] | None:
    """The numbers of a cell in one unit: several where its parts are pickings of their own."""
    single = [parts[0][0] for parts in amount.sums if len(parts) == 1 and (parts[0][1] or usual) == unit]
    if len(single) == len(amount.sums) and (apart or len(single) == 1):
        return single
    values = []
    for parts in amount.sums:
        total = Fraction(0)
        for number, own in parts:
            value = number_of(number)
            if value is None:
                return None
            source = own or usual
            total += value * conversion(source, unit).factor if source and unit else value
        values.append(total)
    return [written_number(each) for each in values] if apart else [written_number(sum(values, Fraction(0)))]
