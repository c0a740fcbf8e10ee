"""The check of a frame of texts against a contract: typed columns come back, and a finding for each faulty cell.

Vectorised: each distinct text of a column is judged once; only faulty cells are looked at one by one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import cast

import polars as pl

from schemas.cell_format import PLAIN, CellFormat
from schemas.contract import Contract, Field
from schemas.currency import amount_with, known_marks
from schemas.finding import Finding, nearest
from schemas.finding import finding as make_finding
from schemas.values import BOTH_MIGHT_BE_MONTHS, DATE, LARGE_INTEGER, YEAR_FIRST, YEAR_LAST, valued, year_first_day

# A number written the shortest way: its text need not be kept beside its value.
PLAIN_NUMBER = r"^(0|[1-9]\d{0,14})(\.\d{0,8}[1-9])?$"
OTHER_CURRENCY = amount_with(known_marks(), a_kg=True)
# Where a row stands: its number, and its file and what it is called where several are checked together.
PLACE = ("line", "file", "row")
# Unknown headings named where a column is missing. Our choice, no source.
HEADINGS_NAMED = 8
FINDING_COLUMNS = {
    "column_name": pl.String,
    "rule": pl.String,
    "value": pl.String,
    "level": pl.String,
}


@dataclass(frozen=True)
class Checked:
    """A checked table: `frame` has one row per row given (row, the contract's typed columns, texts of numbers
    as NAME_text where they are not written the shortest way, other_cells, faulty); `findings` has one row per faulty
    cell (row, column_name, rule, value, level).
    """

    frame: pl.DataFrame
    findings: pl.DataFrame


@dataclass(frozen=True)
class _Mask:
    column: str
    rule: str
    level: str
    hit: pl.Expr
    drops: bool

    @property
    def name(self) -> str:
        return f"{self.column}:{self.rule}:{self.level}"


def _limit(value: object, each: Field) -> pl.Expr:
    if each.type == "date":
        return pl.lit(str(value)).str.to_date("%Y-%m-%d")
    literal = pl.lit(value)
    return literal.cast(pl.Decimal(18, each.decimals)) if each.decimals is not None else literal


def _bounds(value: pl.Expr, each: Field, rules: object) -> list[tuple[str, pl.Expr]]:
    """One (rule, mask) per bound that is set: where a value breaks it."""
    bounds = dict(rules) if isinstance(rules, dict) else {}
    compare = {
        "minimum": lambda limit: value < limit,
        "exclusiveMinimum": lambda limit: value == limit if "minimum" in bounds else value <= limit,
        "maximum": lambda limit: value > limit,
        "exclusiveMaximum": lambda limit: value >= limit,
    }
    return [(rule, compare[rule](_limit(bounds[rule], each))) for rule in compare if rule in bounds]


def _masks(each: Field, cell_format: CellFormat) -> list[_Mask]:
    """The tests that the contract puts to this column, of a frame with `raw` (as written), `plain` (null for blank),
    `bare` (without the sign of the farm's currency), `text` (see _translated) and `value`.
    """
    raw, plain, value = pl.col("raw"), pl.col("plain"), pl.col("value")
    fault = "set_aside" if each.on_fault == "set_aside" else "dropped"
    masks: list[_Mask] = []

    def add(rule: str, level: str, hit: pl.Expr, drops: bool = False) -> None:
        masks.append(_Mask(each.name, rule, level, hit.fill_null(False), drops))

    add("blank_word", "notice", raw.is_not_null() & plain.is_null())
    if each.required:
        add("required", fault if fault == "set_aside" else "warning", plain.is_null())
    if each.type != "string":
        _add_type_masks(add, fault, each, cell_format)
    elif "enum" in each.constraints:
        add("enum", fault, plain.is_not_null() & value.is_null())
    outside = _bounds(value, each, each.constraints)
    for rule, hit in outside:
        add(rule, fault, hit, drops=True)
    for rule, hit in _bounds(value, each, each.expect):
        # A cell that is not used is reported once, for that.
        add(rule, "warning", hit & ~pl.any_horizontal(hit for _, hit in outside) if outside else hit)
    if "enum" in each.expect:
        add("enum", "warning", plain.is_not_null() & ~value.is_in(list(each.words)))
    return masks


def _add_type_masks(add: Callable[..., None], fault: str, each: Field, cell_format: CellFormat) -> None:
    """Add the masks of cells that are not of their column's type, by the probable reason."""
    plain, text, value = pl.col("plain"), pl.col("text"), pl.col("value")
    wrong = plain.is_not_null() & value.is_null()
    if each.type == "date":
        # In the farm's order, 31/2 is no day; 2/31 has another order.
        read = text.is_not_null() & (text.str.slice(5, 2) <= "12")
        ordered = wrong & ~read & plain.str.contains(f"{YEAR_LAST}|{YEAR_FIRST}") & ~plain.str.contains(DATE)
        two_ways = ordered & plain.str.contains(BOTH_MIGHT_BE_MONTHS) & pl.lit(not cell_format.date_order)
        spelt = ordered & year_first_day(plain).is_not_null()
        timed = spelt & plain.str.contains(f"{DATE.removesuffix('$')} ")
        add("date_two_ways", fault, two_ways)
        add("time_spelling", fault, timed)
        add("date_spelling", fault, spelt & ~timed)
        add("date_order", fault, ordered & ~two_ways & ~spelt)
        add("date", fault, wrong & ~ordered)
        add("time_dropped", "notice", text.str.contains(":") & value.is_not_null())
    elif each.type == "number":
        bare = pl.col("bare")
        marked = wrong & text.is_null() & bare.str.contains(cell_format.foreign_number_pattern)
        priced = wrong & text.is_null() & pl.lit(bool(each.money)) & bare.str.contains(OTHER_CURRENCY)
        add("decimal_mark", fault, marked)
        add("currency", fault, priced)
        add("too_large", fault, wrong & text.is_not_null())
        add("number", fault, wrong & text.is_null() & ~marked & ~priced)
        if each.decimals is not None and each.name not in cell_format.conversions:
            add("too_fine", "warning", value.is_not_null() & text.str.contains(rf"\.\d{{{each.decimals}}}\d*[1-9]"))
    else:
        large = wrong & text.str.contains(LARGE_INTEGER)
        add("too_large", fault, large)
        add(each.type, fault, wrong & ~large.fill_null(False))


def check(frame: pl.DataFrame, contract: Contract, cell_format: CellFormat = PLAIN) -> Checked:
    """Return the cells that can be used, typed, and what is wrong with the others. `cell_format`: how the farm writes
    them.

    `frame`: one row per row of the files; `row` (Int32) and maybe `line` and `file`, the contract's columns as trimmed
    text with null for blank (missing ones count as blank), and any further columns, which are kept in `other_cells`. A
    cell that is not of its type or breaks a constraint becomes null; `faulty` tells rows with such a cell in a column
    whose fault sets the row aside.
    """
    absent = [each.name for each in contract.fields if each.name not in frame.columns]
    others = [name for name in frame.columns if name not in contract.names and name not in PLACE]
    frame = frame.with_columns(pl.lit(None, dtype=pl.String).alias(name) for name in absent)
    judged: list[pl.Series] = []
    fired: list[_Mask] = []
    for each in contract.fields:
        columns, masks = _judge(frame.get_column(each.name), each, cell_format, each.name in contract.columns_with_text)
        judged += columns
        fired += masks
    frame = frame.with_columns(judged)
    # Faulty rows are few: findings are made of them alone.
    hit = (
        frame.select(pl.any_horizontal([pl.col(mask.name) for mask in fired]).alias("hit")).to_series()
        if fired
        else None
    )
    odd = frame.filter(hit) if hit is not None else frame.clear()
    result = _result(frame, contract, fired).with_columns(_other_cells(frame, odd, hit, fired, others))
    return Checked(result, _findings(odd, fired))


def _judge(
    texts: pl.Series, each: Field, cell_format: CellFormat, keep_text: bool
) -> tuple[list[pl.Series], list[_Mask]]:
    """The values of one column (NAME:value), the texts that stay beside them (NAME:text), and the masks that hit any of
    them (a column each).

    Columns repeat themselves, so each distinct text is judged once and the verdicts are dealt back.
    """
    name = each.name
    own = each.name in cell_format.words or each.name in cell_format.blanks
    free = each.type == "string" and not each.words and not own
    if free and not (each.required and texts.null_count()) and not _any_blank_word(texts, cell_format):
        return [texts.alias(f"{name}:value")], []
    codes, raw = _distinct(texts)
    distinct = valued(raw, each, cell_format)
    fired = _fired(distinct, _masks(each, cell_format))
    verdicts = [pl.col("value").alias(f"{name}:value"), *(mask.hit.alias(mask.name) for mask in fired)]
    if keep_text:
        verdicts.append(_text_beside(each, cell_format).alias(f"{name}:text"))
    return [column.gather(codes) for column in distinct.select(verdicts).get_columns()], fired


def _any_blank_word(texts: pl.Series, cell_format: CellFormat) -> bool:
    """Whether any cell is a word for blank. Mostly the lengths of the cells show that none is."""
    if not cell_format.blank_words:
        return False
    longest = max(len(word.encode()) for word in cell_format.blank_words)
    shortest = texts.str.len_bytes().min()
    if shortest is None or cast(int, shortest) > longest:
        return False
    return bool(texts.is_in(list(cell_format.blank_words)).any())


def _text_beside(each: Field, cell_format: CellFormat) -> pl.Expr:
    """The text of a number that stays beside its value: one that is not written the shortest way, or is none."""
    text = pl.coalesce("text", "plain")
    if each.name in cell_format.conversions:
        return pl.when(pl.col("value").is_null()).then(text)
    return pl.when(~text.str.contains(PLAIN_NUMBER)).then(text)


def _distinct(texts: pl.Series) -> tuple[pl.Series, pl.Series]:
    """The number, for each row, of its text among the distinct ones of a column, and these. Quicker than a join."""
    kind = pl.Categorical(pl.Categories.random())
    coded = texts.cast(kind)
    codes = coded.to_physical()
    count = 0 if codes.null_count() == codes.len() else cast(int, codes.max()) + 1
    words = pl.int_range(count, dtype=pl.UInt32, eager=True).cat.to(kind).cast(pl.String)
    if codes.null_count():
        words, codes = words.append(pl.Series([None], dtype=pl.String)), codes.fill_null(count)
    return codes, words


def _fired(distinct: pl.DataFrame, masks: list[_Mask]) -> list[_Mask]:
    if not masks or distinct.is_empty():
        return []
    hits = distinct.select(mask.hit.any().alias(mask.name) for mask in masks).row(0, named=True)
    return [mask for mask in masks if hits[mask.name]]


def _result(frame: pl.DataFrame, contract: Contract, fired: list[_Mask]) -> pl.DataFrame:
    columns: list[pl.Expr] = [pl.col(name) for name in _place(frame)]
    for each in contract.fields:
        value = pl.col(f"{each.name}:value")
        drops = [pl.col(mask.name) for mask in fired if mask.drops and mask.column == each.name]
        columns.append((pl.when(~pl.any_horizontal(drops)).then(value) if drops else value).alias(each.name))
    columns += [pl.col(f"{name}:text").alias(f"{name}_text") for name in contract.columns_with_text]
    grave = [pl.col(mask.name) for mask in fired if mask.level == "set_aside"]
    columns.append((pl.any_horizontal(grave) if grave else pl.lit(False)).alias("faulty"))
    return frame.select(columns)


def _other_cells(
    frame: pl.DataFrame, odd: pl.DataFrame, hit: pl.Series | None, fired: list[_Mask], others: list[str]
) -> pl.Series:
    """What each row says beside its values: cells that are not used, and those of unknown columns, as written."""
    cells: list[pl.Expr] = [
        pl.when(mask.name).then(pl.lit(f"{mask.column}=") + pl.col(mask.column).fill_null("")) for mask in fired
    ]
    cells += [pl.lit(f"{name}=") + pl.col(name) for name in sorted(others)]
    if not cells:
        return pl.Series("other_cells", [None], dtype=pl.String).new_from_index(0, frame.height)
    joined = pl.concat_str(cells, separator="\n", ignore_nulls=True).replace("", None).alias("other_cells")
    if others or hit is None:
        return frame.select(joined).to_series()
    few = odd.select(joined).with_columns(hit.arg_true().alias("at"))
    all_rows = pl.select(pl.int_range(frame.height, dtype=pl.UInt32).alias("at"))
    return all_rows.join(few, on="at", how="left", maintain_order="left").get_column("other_cells")


def _place(frame: pl.DataFrame) -> list[str]:
    return [name for name in PLACE if name in frame.columns]


def _findings(frame: pl.DataFrame, fired: list[_Mask]) -> pl.DataFrame:
    parts = [
        frame.filter(pl.col(mask.name)).select(
            *_place(frame),
            pl.lit(mask.column).alias("column_name"),
            pl.lit(mask.rule).alias("rule"),
            pl.col(mask.column).alias("value"),
            pl.lit(mask.level).alias("level"),
        )
        for mask in fired
    ]
    nothing = pl.DataFrame(schema={**{name: frame.schema[name] for name in _place(frame)}, **FINDING_COLUMNS})
    return pl.concat([nothing, *parts])


def check_header(columns: list[str], contract: Contract, file: str, row: int = 1) -> list[Finding]:
    """Return the findings on a file's header. One of level set_aside means that it cannot be read as this table."""
    found = []
    for name in (name for name, times in Counter(columns).items() if name and times > 1):
        found.append(make_finding(contract, file, row, name, "duplicate_column", "set_aside"))
    unknown = [name for name in columns if name and name not in contract.names]
    for each in contract.fields:
        if each.must_be_there and each.name not in columns:
            found.append(_missing_column(contract, file, row, each.name, unknown))
    for group in contract.needs_one_of:
        if not set(group) & set(columns):
            found.append(_missing_column(contract, file, row, " or ".join(group), unknown))
    if not found:
        found = [make_finding(contract, file, row, name, "unknown_column", "notice", name) for name in unknown]
    return found


def _missing_column(contract: Contract, file: str, row: int, name: str, unknown: list[str]) -> Finding:
    base = make_finding(contract, file, row, name, "missing_column", "set_aside")
    own = f"[headings.{contract.name}]"
    meant = nearest(name, tuple(unknown))
    fix = f"Add a column {name} to the header."
    if meant:
        fix = f'If it is the one called "{meant}", rename that, or tell it in farm.toml under {own}; if not, add it.'
    elif unknown:
        fix = f"Add a column {name} to the header, or tell in farm.toml under {own} which it is: {_listed(unknown)}."
    return replace(base, fix=fix)


def _listed(names: list[str]) -> str:
    """The first few of many headings."""
    more = f" and {len(names) - HEADINGS_NAMED} more" if len(names) > HEADINGS_NAMED else ""
    return f"{', '.join(names[:HEADINGS_NAMED])}{more}"
