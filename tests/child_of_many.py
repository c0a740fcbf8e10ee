"""A process of many farms as `pipeline.cli.farm_child` is one, where some go wrong: for test_many_workers."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import pipeline.farm.folder
from pipeline.cli import farm_child
from pipeline.farm.folder import Farm, open_farm


def opened(folder: Path) -> Farm:
    """Opens a farm, but for the two that are named for what becomes of them."""
    if folder.name == "dies":
        os._exit(9)
    if folder.name == "mistaken":
        raise RuntimeError("this farm meets a mistake of the program's")
    return open_farm(folder)


answered = 0


def said_of_itself() -> object:
    """Answers single words about this process; a farm's words as the farm does."""
    global answered  # noqa: PLW0603  (what a process remembers is what is looked for)
    answered += 1
    match sys.argv[1:]:
        case ["who"]:
            return os.getpid()
        case ["enough"]:
            farm_child.MOST_BYTES = 1
            return os.getpid()
        case ["end"]:
            os._exit(7)
        case ["end of an earlier one"]:
            return os._exit(7) if answered > 1 else os.getpid()
        case ["note", path]:
            with Path(path).open("a", encoding="utf-8") as file:
                file.write("answered\n")
            return time.sleep(0.05)
        case ["print and read"]:
            os.write(1, b"beside the answer")
            return os.read(0, 1)
        case _:
            return farm_child.answer_of_many()


if __name__ == "__main__":
    pipeline.farm.folder.open_farm = opened
    farm_child.MOST_ANSWERS = 10_000
    farm_child.main(said_of_itself)
