"""A comparison with its pictures, the report's chart of differences: asked and drawn in a process of its own.

Drawing takes a second of CPU and holds up every thread of its process meanwhile. One process for both, one after the
other, for two at once might both want to refresh the ledger.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from pipeline.cli.farm_answers import FarmAnswer, no_answer, process_answer

if TYPE_CHECKING:
    from reports.screens.pictures import Picture
    from schemas.result_rows import Rows

Drawn = tuple[FarmAnswer, "list[Picture]"]


def answer_with_pictures(words: Sequence[str]) -> Drawn:
    """Return what the comparison that these words ask for answers, and its pictures: none where nothing has an
    interval.
    """
    found, code = process_answer(__name__, words)
    if isinstance(found, tuple):
        return found
    return no_answer(code), []


def drawn() -> Drawn:
    """Run the comparison whose words stand in `sys.argv`, and draw it."""
    from pipeline.cli.farm_child import answer
    from pipeline.cli.together import FAILED

    measure = sys.argv[sys.argv.index("--measure") + 1]
    found = answer()
    if found.code >= FAILED:
        return found, []
    sys.argv.append("--json")
    rows = answer().gathered.json
    return found, _pictures([json.loads(row) for row in rows], measure) if rows else []


def _pictures(rows: Rows, measure: str) -> list[Picture]:
    from pipeline.cli.typeset import svg
    from pipeline.compare.measures import DEFAULT_FLUSH, measure_of
    from reports.screens.pictures import chart_of_pairs, picture

    about = measure_of(measure).title.format(flush=DEFAULT_FLUSH)
    return [picture(each, svg) for each in chart_of_pairs(rows, measure, about)]


if __name__ == "__main__":
    from pipeline.cli.farm_child import main

    main(drawn)
