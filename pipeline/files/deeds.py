"""What this run has written so far, so that a run which ends before it could answer says what stands on disk."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

# So many of the last steps, and so many files, stand in one sentence: our choice, no source.
SHOWN = 3


@dataclass
class Deeds:
    """The steps that were done, in a few words each with file, row and entry id; and the files that were written
    without a step of their own.
    """

    steps: list[str] = field(default_factory=list)
    files: list[Path] = field(default_factory=list)

    def clear(self) -> None:
        """Begin anew, for another run."""
        self.steps.clear()
        self.files.clear()

    def wrote(self, path: Path) -> None:
        """Note that this file was written, or may have been."""
        if path not in self.files:
            self.files.append(path)

    def left(self, path: Path) -> None:
        """Note that this file is as it was after all."""
        if path in self.files:
            self.files.remove(path)

    def step(self, words: str, path: Path) -> None:
        """Note a step that is done: it stands for the file that it wrote."""
        self.left(path.resolve())
        self.left(path)
        self.steps.append(words)


# Of this run; a session's process is one.
DEEDS = Deeds()
