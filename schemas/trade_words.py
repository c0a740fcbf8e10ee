"""Words of the trade: what headings, events, months and flushes are called in five languages. Read from
trade_words.csv, where each row names its language and what it rests on; only ever proposed, by init --from.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Mapping
from functools import cache
from importlib.resources import files


def plain_word(text: str) -> str:
    """Return the text in small letters without accents and marks, its words one space apart."""
    decomposed = unicodedata.normalize("NFKD", text.casefold().replace("\u00ba", "o").replace("\u00aa", "a"))
    bare = "".join(letter for letter in decomposed if not unicodedata.combining(letter))
    return " ".join(re.findall(r"\w+|~", bare.replace("_", " ")))


@cache
def trade_words(kind: str) -> Mapping[str, str]:
    """Return what each word of this kind (heading, event, flush, ordinal, day, month, total, yes, about, sales)
    means.
    """
    found: dict[str, str] = {}
    for row in _rows():
        if row["kind"] == kind:
            for word in row["words"].split("|"):
                found.setdefault(plain_word(word), row["means"])
    return found


@cache
def trade_headings(table: str, column: str) -> tuple[str, ...]:
    """Return what this column is called in the trade, English first."""
    means = (column, f"{table}.{column}")
    rows = [row for row in _rows() if row["kind"] == "heading" and row["means"] in means]
    return tuple(dict.fromkeys(word for row in rows for word in row["words"].split("|")))


@cache
def _rows() -> tuple[dict[str, str], ...]:
    text = files("schemas").joinpath("trade_words.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))
