"""What sheets of sales and of prices leave unsaid: it is put into columns of their own, where the grower agrees."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from decimal import Decimal

from pipeline.adopt.amounts import number_of
from pipeline.adopt.block import Block
from pipeline.adopt.books import (
    Books,
    Found,
    books_of,
    clear_days,
    is_sales,
    of_pickings,
    places,
    sold_beside,
    sold_weights,
)
from pipeline.adopt.cells import NEUTRAL
from pipeline.adopt.dialogue import Dialogue
from pipeline.adopt.fitting import fitting, is_word_of
from pipeline.adopt.headings import parse_heading
from pipeline.adopt.money_headings import parse_money_heading
from pipeline.farm.units import conversion
from schemas.contract import BATCHES, GROWING, HARVESTS, PRICES, PROMISES, SALES, contract
from schemas.currency import without_mark
from schemas.trade_words import plain_word, trade_words

SOLD_ON, ITEM, PER, FROM = "Sold on", "Item", "Per", "From"
# The item of mushrooms themselves, among those of prices.
FRESH = "fresh"
YEAR = re.compile(r"(?<!\d)(20\d\d)(?!\d)")
# Decimals with which an amount of money is kept.
FINE = Decimal("0.000001")


def found_in(block: Block) -> Found:
    """Return of each heading of the block the columns that it may stand for, by its cells as well."""
    return [fitting(block.meant.get(name, name), block.column(at)) for at, name in enumerate(block.header)]


def books_in(block: Block) -> Books:
    """Return what the block holds of the books."""
    return books_of(found_in(block))


def with_book_columns(block: Block, where: str, texts: tuple[str, ...], talk: Dialogue) -> Block:
    """Return the block with what its rows leave unsaid of sales, or of prices. `texts`: the names and titles about
    it, which may hold a year.
    """
    block = _with_prices_a_kg(block, where, talk)
    called = any(word in trade_words("sales") for text in texts for word in plain_word(text).split(" "))
    if called and not is_sales(found_in(block)):
        block = _with_clear_day(block, where, talk)
    block = _with_deliveries(block, where, talk)
    found = found_in(block)
    if is_sales(found):
        return _with_sales(block, found, where, talk, called)
    return _with_prices(block, found, where, texts, talk)


def _with_clear_day(block: Block, where: str, talk: Dialogue) -> Block:
    """The block with days that are those of sales, where it is called so, and that makes it a table of sales."""
    found = found_in(block)
    days = sorted(places(found, "sold_on", SALES))
    if not days or places(found, "container", *GROWING) or places(found, "batch", *GROWING):
        return block
    clear = replace(block, meant={**block.meant, block.header[days[0]]: "sold on"})
    question = f'{where} is called so: is "{block.header[days[0]]}" the day of a sale?'
    return clear if is_sales(found_in(clear)) and talk.agrees(f"sales of {where}", question) else block


def _with_deliveries(block: Block, where: str, talk: Dialogue) -> Block:
    """The block with days of sales, where days of delivery stand beside money and the grower says they are over."""
    found = found_in(block)
    money = places(found, "price_per_kg", SALES) | places(found, "amount", SALES)
    if PROMISES not in books_of(found).tables or not money:
        return block
    (due,) = sorted(places(found, "due_on", PROMISES))[:1]
    made = replace(block, meant={**block.meant, block.header[due]: "sold on"})
    text = f'"{block.header[due]}" in {where} stands beside money. Are these sales (n: promises, still to be kept)?'
    return made if is_sales(found_in(made)) and talk.agrees(f"deliveries of {where}", text) else block


def _with_sales(block: Block, found: Found, where: str, talk: Dialogue, called: bool) -> Block:
    if not of_pickings(found):
        return block
    days = sorted(places(found, "picked_on", HARVESTS))
    if sold_beside(found):
        if clear_days(found) or not days:
            return block
        weight = min(sold_weights(found))
        talk.say(f'"{block.header[weight]}" in {where} left on the day of its row: it is a sale of that day.')
        return block.with_column(SOLD_ON, [row.cells[days[0]] if row.cells[weight] else None for row in block.rows])
    if places(found, "container", *GROWING) or not days:
        return block
    text = f"Rows of {where} name a buyer or a price, and a batch. Is each of them a sale (n: a picking)?"
    if not talk.agrees(f"sales of {where}", text, default=called):
        return block
    weight = min(places(found, "weight_g", SALES))
    unit = parse_heading(block.header[weight]).unit
    sold = {block.header[days[0]]: "sold on", block.header[weight]: f"weight sold ({unit})" if unit else "weight sold"}
    return replace(block, meant={**block.meant, **sold})


def _with_prices_a_kg(block: Block, where: str, talk: Dialogue) -> Block:
    """The block with prices of a kilogram, where those of what was sold are of another unit of mass."""
    if places(found_in(block), "price_per_kg", SALES) or not places(found_in(block), "sold_on", SALES):
        return block
    for at, heading in enumerate(block.header):
        said = parse_money_heading(heading)
        if said.words != "price" or said.per in (None, "kg"):
            continue
        kilogram = replace(block, header=tuple(f"{each} (a kg)" if each == heading else each for each in block.header))
        meant = {**block.meant, kilogram.header[at]: f"price per kg ({said.mark})" if said.mark else "price per kg"}
        made = replace(kilogram, meant=meant).with_cells(at, [_a_kg(row.cells[at], said.per) for row in block.rows])
        if is_sales(found_in(made)):
            talk.say(f'"{heading}" in {where} is of a {said.per}: it is turned into a price of a kg.')
            return made
    return block


def _a_kg(cell: str | None, per: str | None) -> str | None:
    value = None if cell is None or per is None else number_of(without_mark(cell))
    if cell is None or value is None or per is None:
        return cell
    exact = value / conversion(per, "kg").factor
    price = (Decimal(exact.numerator) / Decimal(exact.denominator)).quantize(FINE).normalize()
    return cell.replace(without_mark(cell), f"{price:f}".replace(".", NEUTRAL))


def _with_prices(block: Block, found: Found, where: str, texts: tuple[str, ...], talk: Dialogue) -> Block:
    """The block with what each price is of, what it is for, and from when it holds."""
    prices = sorted(places(found, "price", PRICES))
    # "Unit" may be a container, or what a price is of.
    containers = places(found, "container", *GROWING) - places(found, "per", PRICES)
    grown = places(found, "batch", *GROWING) | containers
    if not prices or grown or places(found, "weight_g", SALES):
        return block
    block = _with_items(block, found, prices[0], where, talk)
    found = found_in(block)
    if not books_of(found).alone:
        return block
    per = parse_money_heading(block.header[prices[0]]).per
    if per and not places(found, "per", PRICES):
        block = block.with_column(PER, [per] * len(block.rows))
    if not places(found, "from_on", PRICES):
        year = next((said[1] for text in texts if (said := YEAR.search(text))), str(talk.today.year))
        begins = date(int(year), 1, 1).isoformat()
        text = f"From which day do the prices of {where} hold (2026-05-14)?"
        day = talk.choose(f"prices of {where}", text, tuple(dict.fromkeys((begins, talk.today.isoformat()))))
        block = block.with_column(FROM, [day] * len(block.rows))
    return block


def _with_items(block: Block, found: Found, price: int, where: str, talk: Dialogue) -> Block:
    """The block with the item of each price: a list of strains alone tells what mushrooms bring."""
    if places(found, "item", PRICES) - {price}:
        return block
    named = places(found, "strain", BATCHES, SALES) | places(found, "name", PRICES)
    named |= {at for at, heading in enumerate(block.header) if _called_item(heading)}
    if len(named - {price}) != 1:
        return block
    (at,) = named - {price}
    cells = list(dict.fromkeys(block.column(at)))
    odd = next((cell for cell in cells if not is_word_of(contract(PRICES).field("item"), cell)), None)
    if odd is None or not talk.agrees(
        f"items of {where}", f'Are "{odd}" and the like in {where} kinds of fresh mushrooms, at what they bring?'
    ):
        return block
    named_so = replace(block, meant={**block.meant, block.header[at]: "name"})
    return named_so.with_column(ITEM, [FRESH if row.cells[price] else None for row in block.rows])


def _called_item(heading: str) -> bool:
    words = parse_heading(heading).words
    return words in ("item", *contract(PRICES).field("item").headings)
