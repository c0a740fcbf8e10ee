"""Many farms: which they are, and one command answered by each, side by side in other processes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.cli.farm_workers import FarmWorker, farm_workers
from pipeline.cli.show import Gathered
from pipeline.farm.folder import find_folder, is_farm
from schemas.finding import OutOfReach, WrongRequest
from schemas.steps import STEPS

CHILD = "pipeline.cli.farm_child"


@dataclass(frozen=True)
class FarmAnswer:
    """What a command gives for one farm: its exit code, the tables, JSON and messages, and the lines that it prints."""

    code: int
    gathered: Gathered = field(default_factory=Gathered)
    text: str = ""


def farms_in(folder: Path) -> dict[str, Path]:
    """Return the farms that lie in a folder, by what each is called. Raises WrongRequest where there is none."""
    if not folder.is_dir():
        raise WrongRequest(f"{folder}: there is no such folder. Name the one that your farms' folders lie in.")
    if is_farm(folder):
        raise WrongRequest(f"{folder} is a farm itself. Name the folder that your farms' folders lie in.")
    try:
        inner = sorted(each for each in folder.iterdir() if each.is_dir() and not each.name.startswith("."))
        found = [each for each in inner if is_farm(each)]
    except OSError as problem:
        raise OutOfReach(f"{folder} cannot be looked into ({problem.strerror}). Mend its rights.") from problem
    if not found:
        raise WrongRequest(f"{folder}: none of the folders in it is a farm. Name the one that your farms lie in.")
    return named_farms(found)


def named_farms(folders: Sequence[Path]) -> dict[str, Path]:
    """Return farms by what each is called: its folder's name, or its path where two have one name.

    Raises WrongRequest where a folder is no farm, and where one farm is named twice.
    """
    farms = [find_folder(each, each) for each in folders]
    places = [each.resolve() for each in farms]
    for at, place in enumerate(places):
        if place in places[:at]:
            first = farms[places.index(place)]
            raise WrongRequest(f"{farms[at]}: is the same farm as {first}. Name each farm once; nothing was done.")
    names = Counter(place.name for place in places)
    return {
        place.name if names[place.name] == 1 else farm.as_posix(): farm
        for place, farm in zip(places, farms, strict=True)
    }


def answers_of(requests: Mapping[str, Sequence[str]], number: int = 1, child: str = CHILD) -> dict[str, FarmAnswer]:
    """Return what each site answers to the words that are put to it: `number` of them at once, each in a process that
    runs the module `child` and answers for one farm after another.
    """
    found: dict[str, FarmAnswer] = {}
    with (
        STEPS.during(f"Asking {len(requests)} farms"),
        farm_workers(child, number) as workers,
        ThreadPoolExecutor(number) as threads,
    ):
        running = {threads.submit(workers.ask, words): site for site, words in requests.items()}
        try:
            for done in as_completed(running):
                found[running[done]] = _farm_answer(*done.result())
                STEPS.at("Farms that have answered", len(found), len(requests))
        finally:
            # Where Ctrl-C ended it, no other farm is asked.
            threads.shutdown(wait=False, cancel_futures=True)
    return {site: found[site] for site in requests}


def _farm_answer(answer: object, code: int) -> FarmAnswer:
    return answer if isinstance(answer, FarmAnswer) else no_answer(code)


def no_answer(code: int) -> FarmAnswer:
    """Return what stands for the answer of a process that ended without one. code: its exit code."""
    return FarmAnswer(3, Gathered(notes=[f"its process ended without an answer ({code})."]))


def process_answer(module: str, words: Sequence[str]) -> tuple[object, int]:
    """Return what a process of its own answers, which runs this module with these words, and 0; None where it ended
    without an answer, and its exit code.
    """
    worker = FarmWorker(module)
    try:
        return worker.ask(words)
    finally:
        worker.end()
