"""Facts in blocks of lines, by the ends of their keys: small enough to be read alone, large enough to be few.

Names of containers and batches are mostly numbered, so their last letters part them evenly; and sorting them all would
take longer than all else.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from pipeline.logbook.facts import FileFacts, LineKind, Weights

# Two letters where there are fewer lines than this, else three: blocks of some hundred lines. Our choice.
FEW_LINES = 20_000


def letters_for(lines: int) -> int:
    """Return by how many last letters of their keys so many lines are parted."""
    return 2 if lines < FEW_LINES else 3


@dataclass(frozen=True)
class BlockFacts:
    """What a file says, as FileFacts, but in blocks: `bodies` by kind and the last `letters` of the keys in them, each
    line with its key before it.
    """

    letters: int = 2
    bodies: Mapping[LineKind, Mapping[str, str]] = field(default_factory=dict)
    alone: Weights = field(default_factory=Weights)
    together: Weights = field(default_factory=Weights)

    def text(self, kind: LineKind, key: str) -> str:
        """Return the lines of this key; "" where there are none."""
        return lines_of(self.bodies.get(kind, {}).get(key[-self.letters :], ""), key)

    def whole(self) -> FileFacts:
        """Return all of it, by key."""
        texts = {kind: unpacked(bodies.values()) for kind, bodies in self.bodies.items()}
        return FileFacts(texts, self.alone, self.together)

    def weights(self, together: bool) -> Weights:
        """Return the weights of pickings of containers; `together`: of batches weighed together."""
        return self.together if together else self.alone


def lines_of(body: str, key: str) -> str:
    """Return the lines of this key in this block, without it."""
    start = f"{key}\t"
    if start not in body:
        return ""
    return "".join(f"{line[len(start) :]}\n" for line in body.split("\n") if line.startswith(start))


def packed(facts: FileFacts) -> BlockFacts:
    """Return these facts in blocks."""
    letters = letters_for(sum(text.count("\n") for text in facts.texts.get(LineKind.ROWS, {}).values()))
    bodies = {kind: _bodies(texts, letters) for kind, texts in facts.texts.items()}
    return BlockFacts(letters, bodies, facts.alone, facts.together)


def _bodies(texts: Mapping[str, str], letters: int) -> dict[str, str]:
    found: dict[str, list[str]] = {}
    for key, text in texts.items():
        found.setdefault(key[-letters:], []).extend(f"{key}\t{line}" for line in text.split("\n")[:-1])
    return {ending: "\n".join(lines) for ending, lines in found.items()}


def unpacked(bodies: Iterable[str]) -> dict[str, str]:
    """Return the lines of these blocks by key."""
    found: dict[str, list[str]] = {}
    for body in bodies:
        for line in body.split("\n"):
            # The key of a batch as a whole begins with a tab.
            at = line.index("\t", 1)
            found.setdefault(line[:at], []).append(f"{line[at + 1 :]}\n")
    return {key: "".join(lines) for key, lines in found.items()}
