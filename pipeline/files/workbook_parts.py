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
REFERENCE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
# What is called where an element opens, with its attributes; and where one closes, or with a text.
Opened = Callable[[str, dict[str, str]], None]
OfText = Callable[[str], None]


class BrokenPart(ValueError):
    """A part of a workbook is not what it should be."""


@dataclass(frozen=True)
class SheetPart:
    """What a sheet's own part says. `rows`, `columns`: how far cells with content reach; `odd`: by row and column (from
    0) the text of cells whose content is an error, like #DIV/0!, or a formula without a result.
    """

    rows: int = 0
    columns: int = 0
    odd: Mapping[tuple[int, int], str] = field(default_factory=dict)


def unpacked_size(data: bytes) -> int:
    """Return the number of bytes that the workbook unpacks to. Raises one of BROKEN for what is no sound zip file."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        names = packed.namelist()
        if len(names) != len(set(names)):
            raise BrokenPart("a part stands twice")
        return sum(part.file_size for part in packed.infolist())


def sheet_part(data: bytes, sheet: str) -> SheetPart:
    """Return the extent of this sheet and its odd cells. Raises one of BROKEN. Call it only for what unpacks to a
    bearable size.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        # Reads all parts to their ends, so that none unpacks to more than it says.
        if packed.testzip() is not None:
            raise BrokenPart("a part is damaged")
        reader = _CellReader()
        with packed.open(_part_of(packed, sheet)) as part:
            _parser(reader.opened, reader.closed, reader.text).ParseFile(part)
    return SheetPart(reader.rows, reader.columns, reader.odd)


def _part_of(packed: zipfile.ZipFile, sheet: str) -> str:
    """The part in which this sheet stands."""
    ids: dict[str, str] = {}
    targets: dict[str, str] = {}

    def named(tag: str, attributes: dict[str, str]) -> None:
        if _local(tag) == "sheet":
            own = {_local(name): value for name, value in attributes.items()}
            ids[own["name"]] = own["id"]

    def related(tag: str, attributes: dict[str, str]) -> None:
        if _local(tag) == "Relationship":
            targets[attributes["Id"]] = attributes["Target"]

    for name, handler in (("xl/workbook.xml", named), ("xl/_rels/workbook.xml.rels", related)):
        with packed.open(name) as part:
            _parser(handler).ParseFile(part)
    return posixpath.normpath(posixpath.join("/xl", targets[ids[sheet]])).lstrip("/")


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

    def __init__(self) -> None:
        self.rows = self.columns = 0
        self.odd: dict[tuple[int, int], str] = {}
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
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number
