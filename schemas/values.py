"""Values: what a cell's text says, written in the farm's manner. A text that is not of its type has no value."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import polars as pl

from schemas.cell_format import APOSTROPHE, NO_BREAK, CellFormat, Conversion
from schemas.contract import Field
from schemas.currency import amount_with, written_so

DATE = r"^\d{4}-\d{2}-\d{2}$"
DATE_TIME = r"^\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?(Z|[+-]\d{2}:\d{2})?$"
# Dates in an order that farm.toml must tell, maybe with a time of day; which of the three parts is the year? One of two
# digits is of this century: our choice, no source.
YEAR_LAST = r"^(\d{1,2})[./-](\d{1,2})[./-](\d{4}|\d{2})( +\d{1,2}:\d{2}(:\d{2})?( ?[AaPp][Mm])?)?$"
YEAR_FIRST = r"^(\d{4})[./-](\d{1,2})[./-](\d{1,2})( +\d{1,2}:\d{2}(:\d{2})?( ?[AaPp][Mm])?)?$"
# How each order is put as year-month-day, with a 0 more than needed; the next step takes two digits of each.
ISO_PARTS = {
    "day_month_year": (YEAR_LAST, "${3}-0${2}-0${1}${4}"),
    "month_day_year": (YEAR_LAST, "${3}-0${1}-0${2}${4}"),
    "year_month_day": (YEAR_FIRST, "${1}-0${2}-0${3}${4}"),
}
BOTH_MIGHT_BE_MONTHS = r"^(0?[1-9]|1[0-2])[./-](0?[1-9]|1[0-2])[./-]\d{2}"
INTEGER, LARGE_INTEGER = r"^[+-]?\d{1,9}$", r"^[+]?\d{10,}$"
# So many digits the ledger keeps of a mass or a volume, those after the point among them.
DIGITS = 18


def valued(raw: pl.Series, each: Field, cell_format: CellFormat) -> pl.DataFrame:
    """Return the values of these texts. One row per text: raw, plain, bare, text, value (see _masks)."""
    plain = pl.when(~pl.col("raw").is_in(list(cell_format.blank_words))).then(pl.col("raw"))
    frame = raw.alias("raw").to_frame().with_columns(plain.alias("plain"))
    if each.type != "string":
        frame = frame.with_columns(_bare(pl.col("plain"), each, cell_format).alias("bare"))
        frame = frame.with_columns(_translated(pl.col("bare"), each, cell_format).alias("text"))
        conversion = cell_format.conversions.get(each.name)
        if conversion:
            frame = frame.with_columns(_converted(frame["text"], each, conversion).alias("text"))
        return frame.with_columns(_typed(pl.col("text"), each).alias("value"))
    if each.name in cell_format.blanks:
        frame = frame.with_columns(pl.col("plain").fill_null(cell_format.blanks[each.name]))
    if each.words:
        coded = _coded(pl.col("plain"), each, cell_format.words.get(each.name, {}))
        value = pl.coalesce(coded, pl.col("plain")) if "enum" in each.expect else coded
        return frame.with_columns(value.alias("value"))
    own = cell_format.words.get(each.name, {})
    value = pl.coalesce(_coded(pl.col("plain"), each, own), pl.col("plain")) if own else pl.col("plain")
    return frame.with_columns(value.alias("value"))


def _coded(plain: pl.Expr, each: Field, own: Mapping[str, str]) -> pl.Expr:
    """The contract's word that is meant, whatever its case, spaces or hyphens. `own`: the farm's words for them."""
    known = {**{word: word for word in each.words}, **each.synonyms, **own}
    lower = plain.str.to_lowercase().str.replace_all(r"[\s\-]+", "_")
    return lower.replace_strict(list(known), list(known.values()), default=None, return_dtype=pl.String)


def _bare(plain: pl.Expr, each: Field, cell_format: CellFormat) -> pl.Expr:
    """The amount without the sign of the farm's currency; any other cell as it is."""
    marks = written_so(cell_format.currency) if each.money else ()
    return plain.str.replace(amount_with(marks, each.money == "kg"), "${1}${2}${3}") if marks else plain


def _translated(plain: pl.Expr, each: Field, cell_format: CellFormat) -> pl.Expr:
    """The cell as the program writes it. Null where it is not written as the farm writes."""
    if each.type == "date":
        return _iso(plain, cell_format)
    if cell_format.plain_numbers:
        return pl.when(plain.str.contains(cell_format.number_pattern)).then(plain)
    spaced = plain.str.replace_all(f"[{NO_BREAK}]", " ").str.replace_all(APOSTROPHE, "'", literal=True)
    bare = (
        spaced.str.replace_all(cell_format.thousands_mark, "", literal=True) if cell_format.thousands_mark else spaced
    )
    return pl.when(spaced.str.contains(cell_format.number_pattern)).then(
        bare.str.replace(cell_format.decimal_mark, ".", literal=True)
    )


def _iso(plain: pl.Expr, cell_format: CellFormat) -> pl.Expr:
    iso = pl.when(plain.str.contains(DATE) | plain.str.contains(DATE_TIME)).then(plain)
    if not cell_format.date_order:
        return iso
    pattern, parts = ISO_PARTS[cell_format.date_order]
    put = plain.str.replace(pattern, parts).str.replace(r"^(\d\d)-", "20${1}-")
    put = put.str.replace(r"^(\d{4})-0?(\d\d)-0?(\d\d)", "${1}-${2}-${3}")
    return pl.coalesce(iso, pl.when(plain.str.contains(pattern)).then(put))


def year_first_day(plain: pl.Expr) -> pl.Expr:
    """The day that stands here as year, month and day, whatever its marks and zeros. Null where none does."""
    pattern, parts = ISO_PARTS["year_month_day"]
    put = plain.str.replace(pattern, parts).str.replace(r"^(\d{4})-0?(\d\d)-0?(\d\d).*$", "${1}-${2}-${3}")
    return pl.when(plain.str.contains(pattern)).then(put).str.to_date("%Y-%m-%d", strict=False)


def _typed(text: pl.Expr, each: Field) -> pl.Expr:
    """The value of this text (see _translated). Null where it is none."""
    if each.type == "date":
        return text.str.slice(0, 10).str.to_date("%Y-%m-%d", strict=False)
    plain = text.str.strip_chars_start("+")
    if each.type == "integer":
        return pl.when(text.str.contains(INTEGER)).then(plain.cast(pl.Int32, strict=False))
    if each.decimals is not None:
        return plain.cast(pl.Decimal(DIGITS, each.decimals), strict=False)
    value = plain.cast(pl.Float64, strict=False)
    return pl.when(value.is_finite()).then(value)  # 400 digits are no number that a ledger can hold


def _converted(text: pl.Series, each: Field, conversion: Conversion) -> pl.Series:
    """These numbers in the contract's unit: exact, then rounded to the decimals that the ledger keeps."""
    values = [None if cell is None else conversion.convert(Decimal(cell.strip("+"))) for cell in text]
    # A number of more digits before the point is none that a ledger can hold, however it is rounded.
    fine = [value if value is None or value.adjusted() >= DIGITS else _rounded(value, each) for value in values]
    return pl.Series([None if value is None else f"{value:f}" for value in fine], dtype=pl.String)


def _rounded(value: Decimal, each: Field) -> Decimal:
    return value if each.decimals is None else value.quantize(Decimal(1).scaleb(-each.decimals))
