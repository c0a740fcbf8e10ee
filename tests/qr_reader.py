"""Reading a QR code back from its modules: an independent reading of ISO/IEC 18004, without mending of damage."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

# (version, level): blocks of data words, as (how many, words of each). ISO/IEC 18004, table 9; from memory, and proved
# by reading: words read in a wrong order give no text.
BLOCKS = {
    (1, "L"): [(1, 19)],
    (1, "M"): [(1, 16)],
    (1, "Q"): [(1, 13)],
    (1, "H"): [(1, 9)],
    (2, "L"): [(1, 34)],
    (2, "M"): [(1, 28)],
    (2, "Q"): [(1, 22)],
    (2, "H"): [(1, 16)],
    (3, "L"): [(1, 55)],
    (3, "M"): [(1, 44)],
    (3, "Q"): [(2, 17)],
    (3, "H"): [(2, 13)],
    (4, "M"): [(2, 32)],
    (4, "Q"): [(2, 24)],
    (5, "M"): [(2, 43)],
}
LEVELS = {0b01: "L", 0b00: "M", 0b11: "Q", 0b10: "H"}
FORMAT_MASK = 0b101010000010010
MASKS: list[Callable[[int, int], bool]] = [
    lambda y, x: (y + x) % 2 == 0,
    lambda y, x: y % 2 == 0,
    lambda y, x: x % 3 == 0,
    lambda y, x: (y + x) % 3 == 0,
    lambda y, x: (y // 2 + x // 3) % 2 == 0,
    lambda y, x: (y * x) % 2 + (y * x) % 3 == 0,
    lambda y, x: ((y * x) % 2 + (y * x) % 3) % 2 == 0,
    lambda y, x: ((y + x) % 2 + (y * x) % 3) % 2 == 0,
]
Modules = Sequence[Sequence[int]]


def read(modules: Modules) -> str:
    """Which text does this code hold? Versions 1 to 5, bytes in UTF-8."""
    size = len(modules)
    version = (size - 17) // 4
    level, mask = _format(modules)
    bits = [modules[y][x] ^ MASKS[mask](y, x) for y, x in _walk(size, version)]
    words = [int("".join(map(str, bits[at : at + 8])), 2) for at in range(0, len(bits) - 7, 8)]
    data = _in_order(words, BLOCKS[version, level])
    text = "".join(f"{word:08b}" for word in data)
    assert text[:4] == "0100", "not bytes"
    length = int(text[4:12], 2)
    return bytes(int(text[at : at + 8], 2) for at in range(12, 12 + 8 * length, 8)).decode("utf-8")


def _format(modules: Modules) -> tuple[str, int]:
    places = [(8, x) for x in (0, 1, 2, 3, 4, 5, 7, 8)] + [(y, 8) for y in (7, 5, 4, 3, 2, 1, 0)]
    told = int("".join(str(modules[y][x]) for y, x in places), 2) ^ FORMAT_MASK
    return LEVELS[told >> 13], told >> 10 & 0b111


def _walk(size: int, version: int) -> Iterator[tuple[int, int]]:
    """Where do the data stand, from the lower right corner up and down in pairs of columns?"""
    up = True
    for right in [*range(size - 1, 6, -2), 5, 3, 1]:
        for y in range(size - 1, -1, -1) if up else range(size):
            for x in (right, right - 1):
                if not _fixed(y, x, size, version):
                    yield y, x
        up = not up


def _fixed(y: int, x: int, size: int, version: int) -> bool:
    corner = (y < 9 and x < 9) or (y < 9 and x >= size - 8) or (y >= size - 8 and x < 9)
    aligned = version > 1 and abs(y - (size - 7)) <= 2 and abs(x - (size - 7)) <= 2
    return corner or aligned or 6 in (y, x)


def _in_order(words: Sequence[int], blocks: Sequence[tuple[int, int]]) -> list[int]:
    """The words block by block: they stand in turn, one of each."""
    sizes = [size for number, size in blocks for _ in range(number)]
    turns = iter(words)
    found: list[list[int]] = [[] for _ in sizes]
    for at in range(max(sizes)):
        for block, size in zip(found, sizes, strict=True):
            if at < size:
                block.append(next(turns))
    return [word for block in found for word in block]
