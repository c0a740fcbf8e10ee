"""From what is typed at the scale to what is to be logged."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from pipeline.farm.conventions import folded_word
from pipeline.logbook.amounts import Amount, amount, written
from pipeline.logbook.book import Book
from pipeline.logbook.places import Places
from pipeline.logbook.targets import target_for
from pipeline.logbook.weigh import Asked
from schemas.cell_format import CellFormat
from schemas.contract import contract
from schemas.finding import WrongRequest, nearest

# The words of the cap stages by their letters; turned_up by its u, since t is taken.
STAGE_LETTERS = {"c": "curled", "t": "turned_down", "f": "flat", "u": "turned_up"}


def asked_for(book: Book, words: Sequence[str], day: date, tare: str | None, given: Mapping[str, Any]) -> Asked:
    """What is to be logged? `words`: container and weight, or the weight alone where a batch is given. `given`: batch,
    flush, stage, culled, picker, note, each None where not given. Raises WrongRequest for what cannot be meant.
    """
    places = book.look()
    units = bare_units(book, day)
    cell_format = book.farm.conventions.cell_format
    container, weight = _parted(places, words, given["batch"], units["fresh_weight_g"], cell_format)
    gross = amount("weight", weight, "g", units["fresh_weight_g"], cell_format)
    culled = amount_or_none("--culled", given["culled"], units["culled_g"], cell_format)
    return checked(
        cell_format,
        Asked(
            net(gross, tare, units["fresh_weight_g"], cell_format),
            day,
            container,
            named("--batch", given["batch"]),
            flush_of_text("--flush", given["flush"]),
            stage_of(book, "--stage", given["stage"]),
            culled,
            named("--picker", given["picker"]),
            (given["note"] or "").strip(),
        ),
    )


def checked(cell_format: CellFormat, asked: Asked) -> Asked:
    """Is that possible? Raises WrongRequest where it is not."""
    if asked.culled is not None and asked.culled.value > asked.weight.value:
        raise WrongRequest(
            f"culled {asked.culled.typed} is more than the {written(asked.weight.value, cell_format)} g it is part of. "
            "The weight is that of all that was cut, culls included."
        )
    return asked


def bare_units(book: Book, day: date) -> dict[str, str]:
    """In which unit is a weight meant that has none? In that of the column it goes into."""
    target, _ = target_for(book.farm, book.summaries, "harvests", day, ())
    return {name: target.shape["units"].get(name, "g") for name in ("fresh_weight_g", "culled_g")}


def _parted(
    places: Places, words: Sequence[str], batch: str | None, bare: str, cell_format: CellFormat
) -> tuple[str, str]:
    """Which of the words name the container, and which the weight? The container may be of several words."""
    if batch and (len(words) == 1 or not _weight_after(places, words, bare, cell_format)):
        return "", " ".join(words)
    if len(words) < 2:
        shown = words[0] if words else "CONTAINER"
        raise WrongRequest(f"weigh {shown}: the weight is missing. Write gillbook weigh {shown} 412; or --batch B 412.")
    known = _weight_after(places, words, bare, cell_format)
    return (" ".join(words[:known]), " ".join(words[known:])) if known else (words[0], " ".join(words[1:]))


def _weight_after(places: Places, words: Sequence[str], bare: str, cell_format: CellFormat) -> int | None:
    """How many of the words name a known container, with a weight behind them? None where none do."""
    folded = {name.casefold() for name in places.containers}
    for count in range(len(words) - 1, 0, -1):
        if " ".join(words[:count]).casefold() in folded and is_amount(" ".join(words[count:]), bare, cell_format):
            return count
    return None


def is_amount(text: str, bare: str, cell_format: CellFormat) -> bool:
    """Is this a weight?"""
    try:
        amount("", text, "g", bare, cell_format)
    except WrongRequest:
        return False
    return True


def net(gross: Amount, tare: str | None, bare: str, cell_format: CellFormat) -> Amount:
    """What remains without the tub? Raises WrongRequest where that is nothing."""
    tub = amount_or_none("--tare", tare, bare, cell_format)
    if tub is None:
        return gross
    if tub.value >= gross.value:
        raise WrongRequest(
            f"--tare {tub.typed}: the tub is not lighter than the {gross.typed} on the scale. Weigh again."
        )
    return gross.less(tub)


def amount_or_none(option: str, text: str | None, bare: str, cell_format: CellFormat) -> Amount | None:
    """Which weight has this option? None where it is not given. Raises WrongRequest for what is no weight."""
    return None if text is None else amount(option, text, "g", bare, cell_format)


def named(option: str, text: str | None) -> str:
    """Which name has this option? "" where it is not given. Raises WrongRequest for a blank one."""
    if text is not None and not text.strip():
        raise WrongRequest(f"{option}: the name is missing.")
    return " ".join((text or "").split())


def flush_of_text(option: str, text: str | None) -> int | None:
    """Which flush has this option? None where it is not given. Raises WrongRequest for what is none."""
    if text is None:
        return None
    if not re.match(r"0*[1-9]\d?\Z", text, re.ASCII):
        raise WrongRequest(f"{option} {text}: flushes are counted from 1 to 99. Write a whole number.")
    return int(text)


def stage_of(book: Book, option: str, text: str | None) -> str:
    """Which cap stage is meant: by its letter, a word of the contract's or of the farm's? "" where none is given.

    Raises WrongRequest for a word that is none.
    """
    if text is None:
        return ""
    each = contract("harvests").field("cap_stage")
    own = book.farm.conventions.cell_format.words.get("cap_stage", {})
    known = {**{word: word for word in each.words}, **each.synonyms, **STAGE_LETTERS, **own}
    meant = known.get(folded_word(text))
    if meant is None:
        near = nearest(text, (*each.words, *each.synonyms, *own))
        hint = f" Did you mean {near}?" if near else ""
        letters = ", ".join(f"{letter} {word}" for letter, word in STAGE_LETTERS.items())
        raise WrongRequest(f"{option} {text}: there is no such stage.{hint} Stages: {letters}.")
    return meant
