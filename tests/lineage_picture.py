"""Draws the lineage of the models into DEVELOPERS.md, between two marks: `python -m tests.lineage_picture`."""

from __future__ import annotations

import re
from pathlib import Path

from pipeline.models.lineage import LEDGER, RESULTS, STAGE, UNITS, model, names, order

DOCUMENT = Path(__file__).parent.parent / "DEVELOPERS.md"
BEGIN, END = "<!-- lineage: made by `make lineage` -->", "<!-- /lineage -->"
TITLES = {
    STAGE: "stage: the rows as they were read, changed by the statements of draft/ and part/",
    LEDGER: "ledger: decided by a refresh, in this order",
    UNITS: "units: temporary tables as of a day, made when they are read",
    RESULTS: "results: queries, which write nothing",
}
WIDE = 120


def picture() -> str:
    """Each model behind those that it reads, with what it reads."""
    lines = ["```text"]
    for group, title in TITLES.items():
        listed = order(group)
        width = max(len(name) for name in names(group))
        lines += [title, *(_line(name, width) for name in listed), ""]
    return "\n".join([*lines[:-1], "```"])


def _line(name: str, width: int) -> str:
    line = f"  {name:{width}}"
    before = "  <- "
    for at, read in enumerate(sorted(model(name).reads)):
        added = f"{before if at == 0 else ', '}{read}"
        if len(line.rsplit("\n", 1)[-1]) + len(added) > WIDE:
            line += f",\n{'':{width + 7}}{read}"
        else:
            line += added
    return line.rstrip()


def drawn(text: str) -> str:
    """The document with the picture as it is now."""
    return re.sub(
        f"{re.escape(BEGIN)}.*?{re.escape(END)}", lambda _: f"{BEGIN}\n{picture()}\n{END}", text, flags=re.DOTALL
    )


if __name__ == "__main__":
    DOCUMENT.write_text(drawn(DOCUMENT.read_text(encoding="utf-8")), encoding="utf-8")
