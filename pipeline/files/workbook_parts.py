"""The parts that a workbook is packed of, scanned before it is opened: how far its cells reach, and what the reader
does not show of them: errors, and formulas that nobody calculated.
"""

from __future__ import annotations

import io
import posixpath
import re
import zipfile
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from xml.parsers import expat

from pipeline.files.workbook_formats import BUILT_IN, changes_numbers

# What a zip file that is not one, or not whole, makes of itself: errors of the library that reads it.
BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    expat.ExpatError,
    OSError,
    EOFError,
    KeyError,
    RuntimeError,
    ValueError,
    NotImplementedError,
)
NOT_CALCULATED = "= (not calculated)"
# A cell, a column or a row; the last of a sheet are XFD and 1048576 (ECMA-376, part 1, 18.3.1.13 and 18.3.1.73).
REFERENCE = re.compile(r"\$?([A-Z]{1,3})\$?([1-9][0-9]{0,6})", re.IGNORECASE | re.ASCII)
LAST_ROW, LAST_COLUMN = 1_048_576, 16_384
PART_OF_RANGE = re.compile(r"\$?([A-Z]{0,3})\$?([1-9][0-9]{0,6})?", re.IGNORECASE | re.ASCII)
# What is called where an element opens, with its attributes; and where one closes, or with a text.
Opened = Callable[[str, dict[str, str]], None]
OfText = Callable[[str], None]


class BrokenPart(ValueError):
    """A part of a workbook is not what it should be."""


@dataclass(frozen=True)
class SheetPart:
    """What a sheet's own part says. `rows`, `columns`: how far cells with content reach; `odd`: by row and column (from
    0) the text of cells whose content is an error, like #DIV/0!, or a formula without a result; `formats`: the code of
    the format of cells whose format shows another number than theirs, or a unit.
    """

    rows: int = 0
    columns: int = 0
    odd: Mapping[tuple[int, int], str] = field(default_factory=dict)
    formats: Mapping[tuple[int, int], str] = field(default_factory=dict)


def unpacked_size(data: bytes) -> int:
    """Return the number of bytes that the workbook unpacks to. Raises one of BROKEN for what is no sound zip file."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        names = packed.namelist()
        if len(names) != len(set(names)):
            raise BrokenPart("a part stands twice")
        return sum(part.file_size for part in packed.infolist())


def judge_references(data: bytes) -> None:
    """Raises BrokenPart where a cell, row or range of any sheet or table lies beyond what a sheet has, or is written as
    none is: a library may take memory for all that lies before it, or end the process. Raises one of BROKEN for what is
    no sound part.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        sheets = set(_targets(packed).values()) if "xl/workbook.xml" in packed.namelist() else set()
        for name in packed.namelist():
            if name in sheets or "/worksheets/" in name.lower() or "/tables/" in name.lower():
                with packed.open(name) as part:
                    if name.lower().endswith(".xml"):
                        _parser(_judge_element).ParseFile(part)


def _judge_element(tag: str, attributes: dict[str, str]) -> None:
    """Raises BrokenPart for an element of a sheet that stands for what no sheet has."""
    tag = _local(tag)
    own = attributes.get("r")
    if own is not None and ((tag == "c" and not _is_cell(own)) or (tag == "row" and not _is_row(own))):
        raise BrokenPart("a cell beyond the sheet")
    span = attributes.get("ref")
    if span is not None and not all(_is_end(end) for end in span.split(":")):
        raise BrokenPart("a range beyond the sheet")


def _is_row(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 8 and 1 <= int(text) <= LAST_ROW


def _is_cell(text: str) -> bool:
    place = REFERENCE.fullmatch(text)
    return place is not None and _column_number(place[1]) <= LAST_COLUMN and _is_row(place[2])


def _is_end(text: str) -> bool:
    place = PART_OF_RANGE.fullmatch(text)
    if place is None or not (place[1] or place[2]):
        return False
    return _column_number(place[1]) <= LAST_COLUMN and (place[2] is None or _is_row(place[2]))


def sheet_part(data: bytes, sheet: str) -> SheetPart:
    """Return the extent of this sheet and its odd cells. Raises one of BROKEN. Call it only for what unpacks to a
    bearable size.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        # Reads all parts to their ends, so that none unpacks to more than it says.
        if packed.testzip() is not None:
            raise BrokenPart("a part is damaged")
        reader = _CellReader(_formats(packed))
        with packed.open(_part_of(packed, sheet)) as part:
            _parser(reader.opened, reader.closed, reader.text).ParseFile(part)
    return SheetPart(reader.rows, reader.columns, reader.odd, reader.formats)


def _formats(packed: zipfile.ZipFile) -> dict[str, str]:
    """The codes of the formats that change what a number is, by the style under which cells name them."""
    if "xl/styles.xml" not in packed.namelist():
        return {}
    codes: dict[str, str] = {str(number): code for number, code in BUILT_IN.items()}
    styles: list[str] = []
    within = ""

    def opened(tag: str, attributes: dict[str, str]) -> None:
        nonlocal within
        tag = _local(tag)
        if tag == "numFmt" and within != "dxfs":
            codes[attributes.get("numFmtId", "")] = attributes.get("formatCode", "")
        elif tag == "xf" and within == "cellXfs":
            styles.append(attributes.get("numFmtId", "0"))
        elif tag in ("cellXfs", "cellStyleXfs", "dxfs", "cellStyles"):
            within = tag

    with packed.open("xl/styles.xml") as part:
        _parser(opened).ParseFile(part)
    changing = {number: code for number, code in codes.items() if changes_numbers(code)}
    return {str(at): changing[number] for at, number in enumerate(styles) if number in changing}


def _part_of(packed: zipfile.ZipFile, sheet: str) -> str:
    """The part in which this sheet stands."""
    ids: dict[str, str] = {}

    def named(tag: str, attributes: dict[str, str]) -> None:
        if _local(tag) == "sheet":
            own = {_local(name): value for name, value in attributes.items()}
            ids[own["name"]] = own["id"]

    with packed.open("xl/workbook.xml") as part:
        _parser(named).ParseFile(part)
    return _targets(packed)[ids[sheet]]


def _targets(packed: zipfile.ZipFile) -> dict[str, str]:
    """The parts of the workbook by the ids under which it knows them."""
    targets: dict[str, str] = {}

    def related(tag: str, attributes: dict[str, str]) -> None:
        if _local(tag) == "Relationship":
            target = posixpath.join("/xl", attributes["Target"])
            targets[attributes["Id"]] = posixpath.normpath(target).lstrip("/")

    with packed.open("xl/_rels/workbook.xml.rels") as part:
        _parser(related).ParseFile(part)
    return targets


def _local(name: str) -> str:
    return name.rpartition(":")[2]


def _parser(opened: Opened, closed: OfText | None = None, text: OfText | None = None) -> expat.XMLParserType:
    """A parser of XML that knows no entities of its own: they would let a small file unpack to a large one."""
    parser = expat.ParserCreate()
    parser.StartElementHandler = opened
    parser.EndElementHandler = closed
    parser.CharacterDataHandler = text
    parser.StartDoctypeDeclHandler = _refuse_doctype
    return parser


def _refuse_doctype(*_: object) -> None:
    raise BrokenPart("a part declares entities")


class _CellReader:
    """Walks through a sheet's cells as the parser meets them. It keeps state, as a parser of events must."""

    def __init__(self, styles: Mapping[str, str]) -> None:
        self.rows = self.columns = 0
        self.odd: dict[tuple[int, int], str] = {}
        self.formats: dict[tuple[int, int], str] = {}
        self._styles = styles
        self._row = self._column = 0  # counted from 1, of the cell at hand
        self._type = ""
        self._formula = False
        self._value: list[str] | None = None

    def opened(self, tag: str, attributes: dict[str, str]) -> None:
        """Note that an element begins."""
        tag = _local(tag)
        if tag == "row":
            self._row = int(attributes["r"]) if "r" in attributes else self._row + 1
            self._column = 0
        elif tag == "c":
            self._column += 1
            place = REFERENCE.fullmatch(attributes.get("r", ""))
            if place:
                self._row, self._column = int(place[2]), _column_number(place[1])
            self._type, self._formula, self._value = attributes.get("t", ""), False, None
            code = self._styles.get(attributes.get("s", ""))
            if code is not None and self._type in ("", "n"):
                self.formats[self._row - 1, self._column - 1] = code
        elif tag in ("v", "is", "f"):
            self.rows, self.columns = max(self.rows, self._row), max(self.columns, self._column)
            self._formula = self._formula or tag == "f"
            if tag == "v":
                self._value = []

    def text(self, text: str) -> None:
        """Add text that stands within a value."""
        if self._value is not None:
            self._value.append(text)

    def closed(self, tag: str) -> None:
        """Note that an element ends."""
        if _local(tag) != "c":
            return
        value = "".join(self._value or ()).strip()
        if self._type == "e":
            self.odd[self._row - 1, self._column - 1] = value
        elif self._formula and not value and self._type != "str":
            self.odd[self._row - 1, self._column - 1] = NOT_CALCULATED
        self._value = None


def _column_number(letters: str) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + ord(letter) - ord("A") + 1
    return number
