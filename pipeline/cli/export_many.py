"""Many farms are handed on together: each exports its tables, side by side, and all lie in one folder."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import NoReturn

import typer

from pipeline.cli.export_command import checked_target
from pipeline.cli.farm_answers import answers_of
from pipeline.cli.farm_memory import at_once
from pipeline.cli.together import FAILED, show_notes
from pipeline.export.files import FileKind, new_folder
from schemas.finding import OutOfReach, WrongRequest
from schemas.phrases import counted


def export_many(farms: Mapping[str, Path], words: Sequence[str]) -> NoReturn:
    """Write the tables of all farms into a new folder, and end. A farm that cannot answer is named and left out.

    Raises WrongRequest for another format than Parquet, and as `export` does.
    """
    to, rest = _target(words)
    for farm in farms.values():
        checked_target(to, FileKind.parquet, farm)
    try:
        code, sites = _write(to, farms, rest)
    except OSError as problem:
        raise OutOfReach(f"{to} cannot be written: {problem.strerror or problem}.") from problem
    typer.echo(f"{to}: {counted(sites, 'farm')}, Parquet by site and month.")
    raise typer.Exit(code)


def _target(words: Sequence[str]) -> tuple[Path, list[str]]:
    """Return where to, and the other words. Raises WrongRequest where that, or the format, is not among them."""
    given = [part for word in words for part in (word.split("=", 1) if word.startswith("--") else [word])]
    named = {name: value for name, value in pairwise(given) if name in ("--to", "--format")}
    if named.get("--format") != FileKind.parquet or "--to" not in named:
        raise WrongRequest("export: Many farms go into Parquet files: add --to DIR --format parquet.")
    at = given.index("--to")
    return Path(named["--to"]), [*given[:at], *given[at + 2 :]]


def _write(to: Path, farms: Mapping[str, Path], words: Sequence[str]) -> tuple[int, int]:
    """Write the folder; return the highest exit code, and how many farms are in it. Ends where none is."""
    from pipeline.export.hive import add_site

    with new_folder(to) as draft:
        apart = draft / ".sites"
        apart.mkdir()
        places = {site: apart / str(number) for number, site in enumerate(farms)}
        requests = {site: [*words, "--to", str(places[site]), "--farm", str(farm)] for site, farm in farms.items()}
        answers = answers_of(requests, at_once([*farms.values()], words[0]))
        show_notes(answers)
        code = max(each.code for each in answers.values())
        good = [site for site, each in answers.items() if each.code < FAILED]
        if not good:
            raise typer.Exit(code)
        for site in good:
            add_site(draft, site, places[site])
        shutil.rmtree(apart)
    return code, len(good)
