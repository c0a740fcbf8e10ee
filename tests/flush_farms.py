"""Farms whose second flush gives .60 of the first, with blank flush cells, for tests of how flushes are told apart."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from conftest import write_table

TRUE_DECLINE = 0.60
FIRST_DAY, LAST_DAY = date(2026, 1, 1), date(2026, 12, 31)
SOAKS, CONTAINERS = 12, 10


@dataclass(frozen=True)
class Spacing:
    """Days from the first picking of a flush to that of the next, least and most; over how many a flush is picked."""

    least: int
    most: int
    spread: int

    def __str__(self) -> str:
        return f"{self.least}-{self.most}/{self.spread}"


# Heaps of gaps that part, that touch, and that overlap.
SPACINGS = (Spacing(10, 14, 3), Spacing(12, 16, 5), Spacing(14, 21, 8), Spacing(7, 21, 3), Spacing(9, 12, 4))


@dataclass(frozen=True)
class TruePicking:
    """A picking: of which soak and container, on which day after the farm began, how much, and truly of which flush."""

    soak: int
    container: int
    day: int
    grams: float
    flush: int


def grown(rng: np.random.Generator, spacing: Spacing) -> list[TruePicking]:
    """The pickings of twelve soaks of ten containers. A flush is picked once to three times; a second one comes in
    85 %, a third in 40 % of these, and soaks and containers differ by a fifth each.
    """
    found: dict[tuple[int, int, int], TruePicking] = {}
    of_soak = 1.0
    for container in range(SOAKS * CONTAINERS):
        soak = container // CONTAINERS
        if container % CONTAINERS == 0:
            of_soak = float(np.exp(rng.normal(0, 0.2)))
        luck = of_soak * float(np.exp(rng.normal(0, 0.2)))
        day = 7 * soak + int(rng.integers(28, 36))
        means = (1000.0, 1000 * TRUE_DECLINE / 0.85, 300.0)
        for flush in range(1, 1 + int(rng.choice([1, 2, 3], p=[0.15, 0.51, 0.34]))):
            later = rng.integers(0, spacing.spread + 1, int(rng.choice([0, 1, 2], p=[0.2, 0.5, 0.3])))
            days = sorted({day, *(day + later).tolist()})
            for on in days:
                grams = means[flush - 1] * luck * float(np.exp(rng.normal(0, 0.1))) / len(days)
                found[container, on, flush] = TruePicking(soak, container, on, grams, flush)
            day += int(rng.integers(spacing.least, spacing.most + 1))
    return list(found.values())


def write_farm(folder: Path, pickings: list[TruePicking], settings: str = "", given: float = 0.0) -> None:
    """Writes the farm. `given`: which share of the containers, the first ones, has its flushes in the rows."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "farm.toml").write_text(settings, encoding="utf-8")
    batches = [f"B{soak},{FIRST_DAY + timedelta(7 * soak)},S{soak},20" for soak in range(SOAKS)]
    fillings = [f"B{at // CONTAINERS},C{at}" for at in range(SOAKS * CONTAINERS)]
    ends = [f"{LAST_DAY - timedelta(60)},emptied,B{at // CONTAINERS},C{at}" for at in range(SOAKS * CONTAINERS)]
    written = [
        f"{FIRST_DAY + timedelta(each.day)},{each.grams:.1f},B{each.soak},C{each.container},"
        f"{each.flush if each.container < given * SOAKS * CONTAINERS else ''}"
        for each in pickings
    ]
    write_table(folder, "batches", "\n".join(["batch,inoculated_on,soak,substrate_dry_kg", *batches]))
    write_table(folder, "fillings", "\n".join(["batch,container", *fillings]))
    write_table(folder, "observations", "\n".join(["seen_on,event,batch,container", *ends]))
    write_table(folder, "harvests", "\n".join(["picked_on,fresh_weight_g,batch,container,flush", *written]))
