"""From what is typed at the scale to what is to be logged."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.farm.conventions import folded_word
from pipeline.logbook.amounts import Amount, amount, written
from pipeline.logbook.book import Book
from pipeline.logbook.container_names import words_of_name
from pipeline.logbook.containers import Containers
from pipeline.logbook.destination import destination_for
from pipeline.logbook.weigh import NewPicking
from schemas.cell_format import CellFormat
from schemas.contract import HARVESTS, contract
from schemas.finding import WrongRequest
from schemas.phrases import did_you_mean

# The words of the cap stages by their letters; turned_up by its u, since t is taken.
STAGE_LETTERS = {"c": "curled", "t": "turned_down", "f": "flat", "u": "turned_up"}


@dataclass(frozen=True)
class PickingOptions:
    """What is typed beside container and weight, as texts; None where it is not given."""

    batch: str | None = None
    flush: str | None = None
    stage: str | None = None
    culled: str | None = None
    tare: str | None = None
    picker: str | None = None
    note: str | None = None


def parse_picking(book: Book, words: Sequence[str], day: date, options: PickingOptions) -> NewPicking:
    """Return what is to be logged. `words`: container and weight, or the weight alone where a batch is given.

    Raises WrongRequest for what cannot be meant.
    """
    containers = book.scan()
    unit = default_units(book, day)["fresh_weight_g"]
    container, weight = _split(
        containers, [each.strip() for each in words], options.batch, unit, book.farm.conventions.cell_format
    )
    batch = parse_name("--batch", options.batch)
    return new_picking(book, weight, day, container, batch, options, "--")


def new_picking(
    book: Book, weight: str, day: date, container: str, batch: str, options: PickingOptions, prefix: str = ""
) -> NewPicking:
    """Return what is to be logged of this container or batch. `weight`: as typed; `prefix` of the options' names in
    messages. Raises WrongRequest for what cannot be meant.
    """
    if not container and not batch:
        raise WrongRequest("The container is blank. Write container and weight, like 7 412.")
    units, cell_format = default_units(book, day), book.farm.conventions.cell_format
    gross = amount("weight", weight, "g", units["fresh_weight_g"], cell_format)
    picking = NewPicking(
        net_weight(gross, options.tare, units["fresh_weight_g"], cell_format),
        day,
        container,
        batch,
        parse_flush(f"{prefix}flush", options.flush),
        parse_stage(book, f"{prefix}stage", options.stage),
        amount_or_none(f"{prefix}culled", options.culled, units["culled_g"], cell_format),
        parse_name(f"{prefix}picker", options.picker),
        (options.note or "").strip(),
    )
    if picking.culled is not None and picking.culled.value > picking.weight.value:
        raise WrongRequest(
            f"culled {picking.culled.typed} is more than the {written(picking.weight.value, cell_format)} g it is part "
            "of. The weight is that of all that was cut, culls included."
        )
    return picking


def default_units(book: Book, day: date) -> dict[str, str]:
    """Return the units of weights that are typed without one: those of the columns they go into."""
    destination, _ = destination_for(book.farm, book.summaries, HARVESTS, day, ())
    return {name: destination.shape.units.get(name, "g") for name in ("fresh_weight_g", "culled_g")}


def _split(
    containers: Containers, words: Sequence[str], batch: str | None, unit: str, cell_format: CellFormat
) -> tuple[str, str]:
    """Return the container, which may be of several words, and the weight."""
    if batch and (len(words) == 1 or not _words_of_container(containers, words, unit, cell_format)):
        return "", " ".join(words)
    if len(words) < 2:
        shown = words[0] if words else "CONTAINER"
        raise WrongRequest(f"weigh {shown}: the weight is missing. Write gillbook weigh {shown} 412; or --batch B 412.")
    known = _words_of_container(containers, words, unit, cell_format)
    return (" ".join(words[:known]), " ".join(words[known:])) if known else (words[0], " ".join(words[1:]))


def _words_of_container(containers: Containers, words: Sequence[str], unit: str, cell_format: CellFormat) -> int | None:
    """Return how many of the words name a known container, with a weight behind them; None where none do."""
    counts = words_of_name(words[:-1], containers.names)
    return next((count for count in counts if is_amount(" ".join(words[count:]), unit, cell_format)), None)


def is_amount(text: str, unit: str, cell_format: CellFormat) -> bool:
    """Whether this is a weight. `unit`: of a number without one."""
    try:
        amount("", text, "g", unit, cell_format)
    except WrongRequest:
        return False
    return True


def net_weight(gross: Amount, tare: str | None, unit: str, cell_format: CellFormat) -> Amount:
    """Return what remains without the tub. Raises WrongRequest where that is nothing."""
    tub = amount_or_none("--tare", tare, unit, cell_format)
    if tub is None:
        return gross
    if tub.value >= gross.value:
        raise WrongRequest(
            f"--tare {tub.typed}: the tub is not lighter than the {gross.typed} on the scale. Weigh again."
        )
    return gross.less(tub)


def amount_or_none(option: str, text: str | None, unit: str, cell_format: CellFormat) -> Amount | None:
    """Return the weight of this option; None where it is not given. Raises WrongRequest for what is no weight."""
    return None if text is None else amount(option, text, "g", unit, cell_format)


def parse_name(option: str, text: str | None) -> str:
    """Return the name of this option; "" where it is not given. Raises WrongRequest for a blank one."""
    if text is not None and not text.strip():
        raise WrongRequest(f"{option}: the name is missing.")
    return " ".join((text or "").split())


def parse_flush(option: str, text: str | None) -> int | None:
    """Return the flush of this option; None where it is not given. Raises WrongRequest for what is none."""
    if text is None:
        return None
    if not re.match(r"0*[1-9]\d?\Z", text, re.ASCII):
        raise WrongRequest(f"{option} {text}: flushes are counted from 1 to 99. Write a whole number.")
    return int(text)


def parse_stage(book: Book, option: str, text: str | None) -> str:
    """Return the cap stage that is meant: by its letter, a word of the contract's or of the farm's; "" where none is
    given. Raises WrongRequest for a word that is none.
    """
    if text is None:
        return ""
    each = contract(HARVESTS).field("cap_stage")
    own = book.farm.conventions.cell_format.words.get("cap_stage", {})
    known = {**{word: word for word in each.words}, **each.synonyms, **STAGE_LETTERS, **own}
    stage = known.get(folded_word(text))
    if stage is None:
        hint = did_you_mean(text, (*each.words, *each.synonyms, *own))
        letters = ", ".join(f"{letter} {word}" for letter, word in STAGE_LETTERS.items())
        raise WrongRequest(f"{option} {text}: there is no such stage.{hint} Stages: {letters}.")
    return stage
