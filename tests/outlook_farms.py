"""Simulated farms for the outlook: batches of containers that share their batch's luck, with weeks of truth to come.

y = method + batch + container: what a container gives is its recipe's kg, times its batch's luck, plus its
own; losses, and how slow a batch is, are the batch's too. The seed is an argument.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.models.outlook_records import AgedPickings, ContainerEnds, OutlookBatch, OutlookRecords
from pipeline.outlook.history import LAST_AGE, PastBatches, history_of

FIRST_DAY = 740_000  # any day, as date.toordinal
FIRST_MONDAY = date(2026, 1, 5)
SETTINGS = {"lapse_days": 45, "lapse_unpicked_days": 90}


@dataclass(frozen=True)
class Design:
    """weeks of records; icc: the batch's share of the variance of what a container gives, whose SD is .5 of its mean;
    per_week: batches begun a week; loss_sd: spread, between batches, of the logit of losing a container (7 % usual);
    recipes: so many, the second giving 1.8 times what the first gives, and so on; ahead: weeks of truth to come.

    Drift: from week `mulch_from` to `mulch_by` the farm goes over from straw to mulch, that gives `mulch_gives` times
    as much; grows: by the last week batches have so many times as many containers, and each twice the dry mass, of
    which the kg grow by the power .8; season: what is picked swings by this share over the year; first: evaluation
    begins with so many weeks of records.
    """

    weeks: int
    icc: float = 0.5
    per_week: float = 1.0
    loss_sd: float = 1.5
    recipes: int = 1
    ahead: int = 8
    mulch_from: float | None = None
    mulch_by: float = 0.0
    mulch_gives: float = 0.55
    grows: float = 1.0
    season: float = 0.0
    first: int = 26
    name: str = ""

    @property
    def today(self) -> int:
        """The last day of the records."""
        return FIRST_DAY + 7 * self.weeks


FLUSHES = (1.0, 0.62, 0.35)  # kg of each over the first: as in print (0.47-0.79; Argaw 2023: F3/F2 0.377)
GOES_ON = 0.85
SD = 0.5


def simulated(design: Design, seed: int) -> PastBatches:
    """A farm with its truth to come: batches begun at any day, also in the weeks ahead (the plan)."""
    rng = np.random.default_rng(seed)
    days = 7 * (design.weeks + design.ahead)
    starts = np.sort(rng.integers(0, days, round((design.weeks + design.ahead) * design.per_week)))
    starts[0] = 0
    batches, places, pickings = [], [], []
    for number, start in enumerate(starts.tolist()):
        substrate, gives = _recipe(design, start / 7, rng)
        grown = min(1.0, start / 7 / design.weeks) if design.grows > 1 else 0.0
        containers = round(int(rng.integers(5, 16)) * (1 + (design.grows - 1) * grown))
        dry, name = 1.5 * (1 + grown), f"B{number:04d}"
        batches.append((name, _Day(FIRST_DAY + start), dry * containers, containers, substrate, "grey"))
        for ended, given in batch_of(design, start, containers, gives * (dry / 1.5) ** 0.8, rng):
            pickings += [(number, len(places), age, kg) for age, kg in given]
            places.append((number, ended))
    return history_of(records(batches, places, pickings), SETTINGS)


def batch_of(
    design: Design, start: int, containers: int, gives: float, rng: np.random.Generator
) -> list[tuple[int, list[tuple[int, float]]]]:
    """Return the containers of a batch begun on a day of the farm: the age at which each ended, and what it gave at
    which ages, in kg. gives: beside a container of the first recipe and usual fill.
    """
    luck = np.exp(SD * np.sqrt(design.icc) * rng.standard_normal())
    slow = 32 + rng.normal(0, 3)
    lost = 1 / (1 + np.exp(2.5 - design.loss_sd * rng.standard_normal()))
    found = []
    for _ in range(containers):
        own = max(0.1, 1 + SD * np.sqrt(1 - design.icc) * rng.standard_normal())
        ended, given = _container(rng, 0.7 * gives * luck * own, slow, lost)
        found.append((ended, [(age, kg * _season(design, start + age)) for age, kg in given]))
    return found


def gives_beside_the_first(design: Design, substrate: str) -> float:
    """Return how much a container of a substrate gives beside one of the first recipe."""
    if design.mulch_from is not None:
        return design.mulch_gives if substrate == "mulch" else 1.0
    return 1 + 0.8 * int(substrate.split()[1])


def _recipe(design: Design, week: float, rng: np.random.Generator) -> tuple[str, float]:
    """Return the substrate of a batch begun in a week, and how much it gives beside the first one."""
    if design.mulch_from is not None:
        over = (week - design.mulch_from) / max(design.mulch_by - design.mulch_from, 1e-9)
        substrate = "mulch" if rng.random() < over else "straw"
    else:
        substrate = f"recipe {int(rng.integers(design.recipes))}"
    return substrate, gives_beside_the_first(design, substrate)


def _season(design: Design, day: int) -> float:
    """How much is picked on a day of the year, beside the mean of the year."""
    return 1 + design.season * float(np.sin(2 * np.pi * day / 364))


def records(
    batches: Sequence[tuple[Any, ...]],
    places: Sequence[tuple[int, int | None]],
    pickings: Sequence[tuple[int, int | None, int, float]],
) -> OutlookRecords:
    """Records of invented batches. batches: the fields of OutlookBatch; places: number of the batch, age at its end;
    pickings: number of the batch, place (None: weighed together), age, kg.
    """
    numbers, ended = ([row[at] for row in places] for at in range(2))
    of, place, age, kg = ([row[at] for row in pickings] for at in range(4))
    return OutlookRecords(
        [OutlookBatch(*row) for row in batches],
        ContainerEnds(np.array(numbers, dtype=np.int64), np.array(ended, dtype=float)),
        AgedPickings(
            np.array(of, dtype=np.int64),
            np.array(place, dtype=float),
            np.array(age, dtype=np.int64),
            np.array(kg, dtype=float),
        ),
    )


def _container(rng: np.random.Generator, kg: float, slow: float, lost: float) -> tuple[int, list[tuple[int, float]]]:
    """At which age does a container end, and what does it give at which ages?"""
    if rng.random() < lost:
        return int(rng.integers(8, 25)), []
    age, given = round(slow + rng.normal(0, 1.5)), []
    for flush, share in enumerate(FLUSHES):
        if flush and rng.random() > GOES_ON:
            break
        age += max(8, round(13 + rng.normal(0, 1.5))) if flush else 0
        given.append((min(LAST_AGE, max(1, age)), kg * share * np.exp(0.2 * rng.standard_normal())))
    return given[-1][0] + int(rng.integers(3, 25)), given


@dataclass(frozen=True)
class _Day:
    """A day by its number, where the code asks for a date."""

    number: int

    def toordinal(self) -> int:
        """The number of the day."""
        return self.number


def weekly_farm(folder: Path, weeks: int, grams: int = 1, turned: bool = False) -> Path:
    """A batch a week of two buckets, weighed together: 2 kg and more after 30 days, 1 kg and more after 44."""
    batches, harvests = [], []
    for number in range(weeks):
        day = FIRST_MONDAY + timedelta(weeks=number)
        batches.append(f"W{number:02d},{day},grey,straw,2")
        for age, share in ((30, 2000), (44, 1000)):
            harvests.append(f"{day + timedelta(days=age)},{grams * (share + 100 * (number % 4))},W{number:02d}")
    if turned:
        batches.reverse()
        harvests.reverse()
    folder.mkdir(exist_ok=True)
    head = "batch,inoculated_on,strain,substrate,containers_filled"
    (folder / "batches.csv").write_text("\n".join([head, *batches, ""]), encoding="utf-8")
    head = "picked_on,fresh_weight_g,batch"
    (folder / "harvests.csv").write_text("\n".join([head, *harvests, ""]), encoding="utf-8")
    return folder
