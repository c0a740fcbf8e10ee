"""Strategies for files: tables of fuzzed cells written in every way, and bytes that were well once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import cycle

from fuzzed_cells import ANY_TEXT, a_cell
from fuzzed_reading import Own, Plain
from hypothesis import strategies as st

from schemas.contract import Contract, contract


@dataclass(frozen=True)
class Written:
    """A file: its bytes, what a spreadsheet shows of them, and the mark between its columns."""

    data: bytes
    plain: Plain
    separator: str


@st.composite
def headers(draw: st.DrawFn, table: Contract, own: Own) -> list[tuple[str, str]]:
    """The headings of a file that can be read, each with the column of ours that it stands for ("": none)."""
    needed = {each.name for each in table.fields if each.required} | {group[0] for group in table.needs_one_of}
    mapped = {column for column, _ in own.headings.get(table.name, {}).values()}
    wanted = draw(st.sets(st.sampled_from(table.names), max_size=6)) | mapped
    columns = draw(st.permutations([name for name in table.names if name in needed | wanted]))
    called = {column: heading for heading, (column, _) in own.headings.get(table.name, {}).items()}
    found = [(called.get(column, column), column) for column in columns]
    for heading in draw(
        st.lists(st.sampled_from(["", "", "Was", "my, own", 'the "x"', "x;y", "note 2", "Total"]), max_size=2)
    ):
        if not heading or heading not in {name for name, _ in found}:
            found.insert(draw(st.integers(0, len(found))), (heading, ""))
    return found


@st.composite
def grids(draw: st.DrawFn, table: Contract, own: Own, tame: int, most: int) -> tuple[list[str], list[list[str]]]:
    """A header and rows of cells; some rows are blank, shorter or longer than the header, and one may stand twice."""
    header = draw(headers(table, own))
    cells = [a_cell(table.name, table.field(column), own, tame) if column else ANY_TEXT for _, column in header]
    whole: st.SearchStrategy[list[str]] = st.tuples(*cells).map(list)
    ragged = st.tuples(whole, st.sampled_from([[], ["", ""], ["x"], ["", " ", "5"]])).map(lambda two: two[0] + two[1])
    short = st.tuples(whole, st.integers(0, len(header))).map(lambda two: two[0][: two[1]])
    blank = st.sampled_from([[], [""] * len(header), [" ", "\t"][: len(header)], ["", "\u00a0"], ["\n"]])
    rows = draw(st.lists(st.integers(0, 11), min_size=most // 2, max_size=most))
    kinds = {0: ragged, 1: short, 2: blank}
    found = [draw(kinds.get(kind, whole)) for kind in rows]
    found += draw(st.lists(st.sampled_from(found), max_size=1)) if found else []
    return [heading for heading, _ in header], found


def _cell(text: str, separator: str, quoted: bool, loose: bool) -> str:
    needs = separator in text or "\r" in text or "\n" in text or text[:1] == '"' or ('"' in text and not loose)
    return '"' + text.replace('"', '""') + '"' if quoted or needs else text


def csv_text(rows: Sequence[Sequence[str]], separator: str, end: str, quotes: Sequence[bool], loose: bool) -> str:
    """Rows as RFC 4180 writes them. `quotes`: which cells, in turn, are quoted though they need not be; `loose`: a
    quotation mark within a cell stands as it is, which RFC 4180 has not but people write.
    """
    turn = cycle(quotes)
    return end.join(separator.join(_cell(text, separator, next(turn), loose) for text in cells) for cells in rows)


@st.composite
def csv_files(draw: st.DrawFn, table: str, own: Own, tame: int, most: int = 6) -> Written:
    """A CSV file of fuzzed cells as RFC 4180 has it, but for its separator and line ends."""
    header, rows = draw(grids(contract(table), own, tame, most))
    separator, end = draw(st.sampled_from(",;\t,")), draw(st.sampled_from(["\n", "\r\n", "\r"]))
    aboves: list[list[list[str]]] = [[], [], [], [[]], [["", ""], []]]
    above = draw(st.sampled_from(aboves))
    quotes = draw(st.sampled_from([[False], [True], [False, True, False]]))
    loose = draw(st.sampled_from([False, False, True]))
    tail = draw(st.sampled_from([end, end, "", end * 2]))
    hint = draw(st.sampled_from(["", "", "", f"sep={separator}{end}"]))
    text = hint + csv_text([*above, header, *rows], separator, end, quotes, loose) + tail
    if not tail and rows and len(rows[-1]) < 2 and text.endswith(end):
        rows = rows[:-1]  # nothing stands below the last line end
    elif tail == end * 2:
        rows = [*rows, []]
    if "\n" not in text:
        rows = [[cell.replace("\r", "\n") for cell in cells] for cells in rows]
    data = (draw(st.sampled_from(["", "\ufeff"])) + text).encode()
    return Written(data, Plain(tuple(header), dict(enumerate(rows, start=len(above) + 2))), separator)


@st.composite
def mutated(draw: st.DrawFn, data: bytes, most: int = 4) -> bytes:
    """These bytes after a few accidents: flipped, cut, put in, doubled, or moved."""
    odd = [
        b"\0",
        b"\xff",
        b"\xc3",
        b"\xed\xa0\x80",
        b"\r",
        b"\n",
        b'"',
        b'""',
        b'"\n',
        b",",
        b";",
        b"\t",
        b"\xef\xbb\xbf",
    ]
    for _ in range(draw(st.integers(1, most))):
        at = draw(st.integers(0, len(data)))
        upto = min(len(data), at + draw(st.sampled_from([1, 1, 2, 7, 60])))
        accident = draw(st.integers(0, 6))
        if accident == 0 and at < len(data):
            data = data[:at] + bytes([data[at] ^ draw(st.integers(1, 255))]) + data[at + 1 :]
        elif accident == 1:
            data = data[:at] + data[upto:]
        elif accident == 2:
            data = data[:at]
        elif accident == 3:
            data = data[:at] + data[at:upto] * draw(st.integers(2, 4)) + data[upto:]
        elif accident == 4:
            data = data[:at] + draw(st.binary(min_size=1, max_size=6)) + data[at:]
        else:
            data = data[:at] + draw(st.sampled_from(odd)) + data[at:]
    return data
