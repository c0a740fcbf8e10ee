"""Many farms: which they are, and one command answered by each, side by side in processes of their own."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.cli.show import Gathered
from pipeline.farm.folder import find_folder, is_farm
from schemas.finding import OutOfReach, WrongRequest
from schemas.steps import STEPS

# The folder that holds our packages, so that the other processes find the same ones wherever they are started.
PACKAGES = Path(__file__).resolve().parents[2]


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


def answers_of(requests: Mapping[str, Sequence[str]]) -> dict[str, FarmAnswer]:
    """Return what each site answers to the words that are put to it: as many at once as there are processors."""
    found: dict[str, FarmAnswer] = {}
    workers = max(1, min(len(requests), os.cpu_count() or 1))
    with STEPS.during(f"Asking {len(requests)} farms"), ThreadPoolExecutor(workers) as threads:
        running = {threads.submit(_answer, words): site for site, words in requests.items()}
        for done in as_completed(running):
            found[running[done]] = done.result()
            STEPS.at("Farms that have answered", len(found), len(requests))
    return {site: found[site] for site in requests}


def _answer(words: Sequence[str]) -> FarmAnswer:
    answer, code = process_answer("pipeline.cli.farm_child", words)
    if isinstance(answer, FarmAnswer):
        return answer
    return no_answer(code)


def no_answer(code: int) -> FarmAnswer:
    """Return what stands for the answer of a process that ended without one. code: its exit code."""
    return FarmAnswer(3, Gathered(notes=[f"its process ended without an answer ({code})."]))


def process_answer(module: str, words: Sequence[str]) -> tuple[object, int]:
    """Return what a process of its own answers, which runs this module with these words, and its exit code; None where
    it ended without an answer.
    """
    command, env = process_of(module)
    done = subprocess.run(command, input=pickle.dumps(list(words)), capture_output=True, env=env, check=False)
    try:
        return pickle.loads(done.stdout), done.returncode
    except (EOFError, pickle.UnpicklingError):
        return None, done.returncode


def process_of(module: str) -> tuple[list[str], dict[str, str]]:
    """Return the words that start a process which runs this module of ours, and the environment that it is to have."""
    # -P: not from the folder one stands in, where a farm's files might be called like a module.
    paths = [str(PACKAGES), *filter(None, [os.environ.get("PYTHONPATH")])]
    return [sys.executable, "-P", "-m", module], {**os.environ, "PYTHONPATH": os.pathsep.join(paths)}
