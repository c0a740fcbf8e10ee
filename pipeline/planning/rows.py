"""The rows of a plan that the grower fills in, in the columns of the batches and fillings tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pipeline.planning.containers import Allotment
from pipeline.trial.rows import Cells, columns
from schemas.contract import BATCHES, FILLINGS
from schemas.result_rows import Row

SOAK = "soak"


def plan_rows(
    starts: Sequence[Row], recipe: tuple[str, str], taken: Mapping[str, Allotment]
) -> tuple[list[Cells], list[Cells]]:
    """Return the rows of batches and of fillings that the plan begins with. starts: rows of `plan_starts`. Containers
    that are not free by the day are left blank, with what they hold in the note.
    """
    batches: list[Cells] = []
    fillings: list[Cells] = []
    substrate, strain = recipe
    for row in starts:
        name, containers = str(row["batch"]), int(str(row["containers"]))
        cells = dict.fromkeys(columns(BATCHES, SOAK), "")
        cells |= {"batch": name, "soak": name, "inoculated_on": str(row["inoculate_on"])}
        cells |= {"substrate": substrate, "strain": strain, "containers_filled": str(containers)}
        batches.append(cells | {"note": f"plan: for the days from {row['serves_from']}"})
        mine = taken.get(name, Allotment((), (), containers))
        fillings += [_filling(name, each.container, "") for each in mine.free]
        fillings += [_filling(name, "", f"{each.container} holds {each.batch} then") for each in mine.late]
        fillings += [_filling(name, "", "") for _ in range(mine.lacking)]
    return batches, fillings


def _filling(batch: str, container: str, note: str) -> Cells:
    return dict.fromkeys(columns(FILLINGS, SOAK), "") | {"batch": batch, "container": container, "note": note}
