"""The answers of many farms as one: tables with a column site, and what is said, once where all say it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import typer

from pipeline.cli.farm_answers import FarmAnswer
from pipeline.cli.show import Column, notify, print_json, print_table
from schemas.result_rows import Row

SITE = "site"
# An exit code from which on a farm gave no answer: 1 says that `check` found rows to mend.
FAILED = 2


def show_together(answers: Mapping[str, FarmAnswer], json: bool) -> int:
    """Print the answers of farms, by site, and return the exit code: the highest of theirs."""
    good = {site: each for site, each in answers.items() if each.code < FAILED}
    if json and good:
        print_json([{SITE: site, **row} for site, each in good.items() for row in each.gathered.json or ()])
    elif good:
        _show_tables(good)
        _show_texts({site: each.text for site, each in good.items()})
    show_notes(answers)
    return max(each.code for each in answers.values())


def _show_tables(answers: Mapping[str, FarmAnswer]) -> None:
    for at in range(max(len(each.gathered.tables) for each in answers.values())):
        found = {site: each.gathered.tables[at] for site, each in answers.items() if at < len(each.gathered.tables)}
        columns = _joined([columns for _, columns in found.values()])
        blank: Row = dict.fromkeys(column.key for column in columns)
        rows = [{**blank, SITE: site, **row} for site, (own, _) in found.items() for row in own]
        if at:
            typer.echo("")
        print_table(rows, [Column(SITE, SITE), *columns])


def _joined(of_sites: Sequence[Sequence[Column]]) -> list[Column]:
    """The columns that any farm's table has, each once, where the first that has it shows it."""
    found: list[Column] = []
    for columns in of_sites:
        after = 0
        for column in columns:
            known = [each.key for each in found]
            if column.key in known:
                after = known.index(column.key) + 1
            else:
                found.insert(after, column)
                after += 1
    return found


def _show_texts(texts: Mapping[str, str]) -> None:
    said = {site: text for site, text in texts.items() if text.strip()}
    if len(said) == len(texts) and len(set(said.values())) == 1:
        typer.echo(next(iter(said.values())), nl=False)
        return
    for number, (site, text) in enumerate(said.items()):
        typer.echo(f"{'' if number == 0 else chr(10)}{site}:")
        typer.echo(text, nl=False)


def show_notes(answers: Mapping[str, FarmAnswer]) -> None:
    """Say what the farms say beside their answers: what each says that answered, once; all else with its site."""
    answered = [each for each in answers.values() if each.code < FAILED] or list(answers.values())
    common = set.intersection(*(set(each.gathered.notes) for each in answered))
    for note in dict.fromkeys(answered[0].gathered.notes):
        if note in common:
            notify(note)
    for site, each in answers.items():
        for note in each.gathered.notes:
            if note not in common:
                notify(f"{site}: {note}")
