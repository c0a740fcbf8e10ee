"""The answers of many farms as one: tables with a column site, and what is said, once where all say it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import chain
from typing import TYPE_CHECKING

import typer

from pipeline.cli.cell_texts import json_line, printable
from pipeline.cli.farm_answers import FarmAnswer
from pipeline.cli.gathered_table import tables_together
from pipeline.cli.show import notify, print_columns, print_json_lines
from schemas.phrases import listed

if TYPE_CHECKING:
    from pipeline.cli.sites_screen import OverSites

SITE = "site"
# An exit code from which on a farm gave no answer: 1 says that `check` found rows to mend.
FAILED = 2
MOST_NAMED = 4  # sites named before a note that they share; our choice, no source
BLANK_LINES = re.compile(r"\n{3,}")


def show_together(answers: Mapping[str, FarmAnswer], json: bool) -> int:
    """Print the answers of farms, by site, and return the exit code: the highest of theirs. A comparison that they have
    cells for is answered over all sites as well.
    """
    good = {site: each for site, each in answers.items() if each.code < FAILED}
    over = _over_sites(good)
    if json and good:
        lines = (_of_site(site, line) for site, each in good.items() for line in each.gathered.json or ())
        print_json_lines(chain(lines, (json_line({SITE: None, **row}) for row in over.rows) if over else ()))
    elif good:
        _show_tables(good)
        _show_texts({site: each.text for site, each in good.items()})
        if over:
            over.show()
    show_notes(answers)
    if over:
        over.show_notes()
    return max(each.code for each in answers.values())


def _over_sites(answers: Mapping[str, FarmAnswer]) -> OverSites | None:
    """What the sites say together, where there are two that give their cells."""
    found = {site: each.gathered.cells for site, each in answers.items() if each.gathered.cells is not None}
    if not found:
        return None
    from pipeline.cli.sites_screen import OverSites
    from pipeline.compare.sites import LEAST_SITES

    return OverSites.of(found) if len(found) >= LEAST_SITES else None


def _of_site(site: str, line: str) -> str:
    """The line of JSON of a farm's row, with the name of its site."""
    return f"{json_line({SITE: site})[:-1]}, {line[1:]}"


def _show_tables(answers: Mapping[str, FarmAnswer]) -> None:
    for at in range(max(len(each.gathered.tables) for each in answers.values())):
        found = {site: each.gathered.tables[at] for site, each in answers.items() if at < len(each.gathered.tables)}
        if at:
            typer.echo("")
        print_columns(tables_together({printable(site): table for site, table in found.items()}, SITE))


def _show_texts(texts: Mapping[str, str]) -> None:
    said = {site: text for site, text in texts.items() if text.strip()}
    if len(said) == len(texts) and len(set(said.values())) == 1:
        typer.echo(next(iter(said.values())), nl=False)
        return
    for number, (site, text) in enumerate(said.items()):
        typer.echo(f"{'' if number == 0 else chr(10)}{site}:")
        # Where a table stood, which is above, its blank lines are left.
        typer.echo(BLANK_LINES.sub("\n\n", text).lstrip("\n"), nl=False)


def show_notes(answers: Mapping[str, FarmAnswer]) -> None:
    """Say what the farms say beside their answers, each thing once: what all say that answered, and all else with the
    sites that say it.
    """
    answered = [each for each in answers.values() if each.code < FAILED] or list(answers.values())
    common = set.intersection(*(set(each.gathered.notes) for each in answered))
    for note in dict.fromkeys(answered[0].gathered.notes):
        if note in common:
            notify(note)
    said: dict[str, list[str]] = {}
    for site, each in answers.items():
        for note in dict.fromkeys(each.gathered.notes):
            if note not in common:
                said.setdefault(note, []).append(site)
    for note, sites in said.items():
        notify(f"{_named(sites)}: {note}")


def _named(sites: Sequence[str]) -> str:
    more = len(sites) - MOST_NAMED
    return f"{', '.join(sites[:MOST_NAMED])} and {more} more" if more > 0 else listed(sites)
