"""The rows of a trial that the grower fills in, in the columns of the batches and fillings tables."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import count

from pipeline.trial.design import SPAWN_RATE, Portion
from schemas.contract import BATCHES, FILLINGS, Varies, contract

Cells = dict[str, str]


def free_prefix(taken: Collection[str], letter: str = "T") -> str:
    """Return the letters with which the batches and soaks of a trial (or plan) begin, so that no name is taken yet."""
    for number in count(1):
        prefix = f"{letter}{number}-"
        if not any(name.startswith(prefix) for name in taken):
            return prefix
    raise AssertionError("there is always a free number")


def columns(table: str, factor: str) -> list[str]:
    """Return the columns that the rows have. Those that init writes, the soak, the note, and the factor's own."""
    wanted = {"soak", "containers_filled", "note", factor}
    return [each.name for each in contract(table).fields if each.starred or each.name in wanted]


def trial_rows(
    portions: Sequence[Portion], factor: str, level: Varies, split: bool, prefix: str
) -> tuple[list[Cells], list[Cells]]:
    """Return the rows of batches and of fillings that the trial begins with. Cells that the grower fills in are blank.

    A soak gives one batch; a split one a batch for each portion, named by its turn, unless levels are of containers.
    """
    batches: list[Cells] = []
    fillings: list[Cells] = []
    for portion in portions:
        soak = f"{prefix}{portion.soak}"
        several = split and level is not Varies.CONTAINER
        batch = f"{soak}{chr(ord('a') + portion.turn - 1)}" if several else soak
        if not batches or batches[-1]["batch"] != batch:
            batches.append(_batch(batch, soak, portion, factor, level))
        else:
            filled = int(batches[-1]["containers_filled"]) + portion.containers
            batches[-1]["containers_filled"] = str(filled)
        fillings += [_filling(batch, portion, factor, level) for _ in range(portion.containers)]
    return batches, fillings


def _batch(batch: str, soak: str, portion: Portion, factor: str, level: Varies) -> Cells:
    row = dict.fromkeys(columns(BATCHES, factor), "")
    row |= {"batch": batch, "soak": soak, "containers_filled": str(portion.containers)}
    row["note"] = f"trial of {factor}, block {portion.block}"
    if level is Varies.SOAK:
        row["note"] += " (all in one week)"
    if level is not Varies.CONTAINER:
        plan = f"{portion.level} % of the wet substrate" if factor == SPAWN_RATE else portion.level
        row["note"] += f": {plan}, turn {portion.turn}"
        if factor in row:
            row[factor] = portion.level
    return row


def _filling(batch: str, portion: Portion, factor: str, level: Varies) -> Cells:
    row = dict.fromkeys(columns(FILLINGS, factor), "")
    row["batch"] = batch
    if level is Varies.CONTAINER:
        row[factor] = portion.level
        row["note"] = f"trial of {factor}, block {portion.block}"
    return row
