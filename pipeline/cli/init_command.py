"""The command that makes a farm folder: an empty one, or one of files that the grower has already."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.clock import today
from pipeline.cli.options import as_option
from pipeline.cli.show import notify, print_line
from schemas.exported import is_settings
from schemas.finding import OutOfReach, UnreadableFile, WrongRequest
from schemas.phrases import counted

if TYPE_CHECKING:
    from pipeline.adopt.dialogue import Question
    from pipeline.adopt.matching import SheetMatch
    from pipeline.adopt.proposal import Answers, Proposal
    from pipeline.adopt.settings_text import TrialReading
    from pipeline.adopt.sheets import SourceFile

# The settings that the files may leave open, and that the grower can give.
SETTINGS = ("decimal_mark", "thousands_mark", "date_order")

NO_TABLE = (
    "No table could be made out in these files, so nothing was written. To tell yourself what your headings stand for, "
    "make an empty farm (gillbook init DIR): its HOW-TO.md shows how."
)

# How marks are called that one cannot see.
SPOKEN = {"": "none", " ": "space"}


def init(
    places: Annotated[
        list[Path] | None, typer.Argument(metavar="DIR", help="The folder to make. With --from, more files too.")
    ] = None,
    full: Annotated[bool, typer.Option("--full", help="All columns, not only the usual ones.")] = False,
    files: Annotated[
        list[Path] | None,
        typer.Option(
            "--from", metavar="FILE", help="A file you have already (CSV, .xlsx); may be given several times."
        ),
    ] = None,
    decimal_mark: Annotated[str | None, typer.Option(help="With --from: the decimal mark, . or ,")] = None,
    thousands_mark: Annotated[str | None, typer.Option(help="With --from: the mark between thousands.")] = None,
    date_order: Annotated[
        str | None, typer.Option(help="With --from: day_month_year, month_day_year or year_month_day.")
    ] = None,
    unit: Annotated[
        list[str] | None,
        typer.Option(metavar="HEADING=UNIT", help="With --from: the unit of a column whose heading names none."),
    ] = None,
    answer: Annotated[
        list[str] | None,
        typer.Option(metavar="QUESTION=ANSWER", help="With --from: the answer to a question, as it is shown."),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="With --from: write what is proposed without asking.")] = False,
) -> None:
    """Make a farm folder. In it: empty tables with their headers, a commented farm.toml and a how-to.

    With --from, look at files you have already, propose which heading stands for which column, and write nothing until
    you say so. Without DIR the folder that they lie in becomes the farm; a new DIR gets copies of them.
    """
    typed = dict(zip(SETTINGS, (decimal_mark, thousands_mark, date_order), strict=True))
    settings = {name: value for name, value in typed.items() if value is not None}
    if not files:
        _empty(places or [], full, needless=bool(settings or unit or answer or yes))
        return
    # A file after the first stands where the folder would: the shell gives them alike.
    more = [place for place in places or [] if place.is_file()]
    folders = [place for place in places or [] if place not in more]
    if len(folders) > 1:
        raise WrongRequest(f"{folders[1]}: there is no such file, and the folder is {folders[0]}. Name files that are.")
    _adopt(folders[0] if folders else None, [*files, *more], _answers(settings, unit or [], answer or []), yes)


def _empty(places: Sequence[Path], full: bool, needless: bool) -> None:
    from pipeline.farm.template import write_new_farm

    if needless:
        raise WrongRequest("--yes, --unit, --answer and the settings belong to --from FILE. Name the files you have.")
    if len(places) != 1:
        raise WrongRequest("init: name one folder to make: gillbook init DIR")
    written = write_new_farm(places[0], full)
    print_line(f"{places[0]} is ready: {', '.join(written)}.")
    print_line(f"Next: fill in batches.csv, then gillbook yields --farm {places[0]}")


def _adopt(folder: Path | None, files: Sequence[Path], answers: Answers, yes: bool) -> None:
    from pipeline.adopt.make import FarmToBe, home_of, make_farm, source_files
    from pipeline.adopt.settings_text import settings_text
    from pipeline.adopt.settle import settle

    home = home_of(folder, files)
    try:
        sources = source_files(home, files)
        ask = _ask if not yes and sys.stdin.isatty() else None
        proposal = settle(sources, answers, today(), ask)
    except UnreadableFile as problem:
        raise OutOfReach(f"{problem} Nothing was written.") from problem
    text = settings_text(proposal)
    _show(proposal, text)
    if not proposal.tables:
        raise WrongRequest(NO_TABLE)
    _show_place(home, sources)
    if not yes and not (sys.stdin.isatty() and typer.confirm("Write this?", err=True)):
        notify("Nothing was written. To write it: the same command with --yes.")
        return
    written = make_farm(home, FarmToBe.of(sources, proposal))
    print_line(f"{home} is ready: {', '.join(written)}.")
    print_line(f"Next: gillbook check --farm {home}")


def _show_place(home: Path, sources: Sequence[SourceFile]) -> None:
    """Show which folder becomes the farm, and whether the files stay where they are."""
    from pipeline.cli.cell_texts import printable
    from pipeline.cli.show import print_line

    copied = not all(each.path.is_relative_to(home.resolve()) for each in sources)
    print_line(f"It would be written {'with copies of' if copied else 'beside'} your files, into:")
    typer.echo(f"  {printable(str(home))}\n")


def _answers(settings: Mapping[str, str], units: Sequence[str], choices: Sequence[str]) -> Answers:
    """Return what the grower gave. Raises WrongRequest for what no setting and no unit can be."""
    from pipeline.adopt.headings import parse_heading
    from pipeline.adopt.proposal import Answers
    from pipeline.farm.units import UNITS
    from schemas.contract import contract

    for name, value in settings.items():
        known = contract("farm").field(name).words
        if value not in known:
            words = ", ".join(word for word in known if word)
            raise WrongRequest(f"{as_option(name)} {value!r}: it may be one of {words}.")
    every = [word for kind in UNITS.values() for word in kind]
    found = {}
    for each in units:
        heading, _, unit = each.rpartition("=")
        if not heading or unit not in every:
            raise WrongRequest(f"--unit {each!r}: write it like 'Weight=oz'; units are {', '.join(every)}.")
        found[parse_heading(heading).words] = unit
    named = [each.rpartition("=") for each in choices]
    wrong = next((each for each, (name, _, value) in zip(choices, named, strict=True) if not (name and value)), None)
    if wrong is not None:
        raise WrongRequest(f"--answer {wrong!r}: write it like 'blank Batch=n'.")
    return Answers(settings, found, {name: value for name, _, value in named})


def _ask(question: Question) -> str:
    """Return the grower's answer to this question; its first choice for just Enter."""
    from pipeline.cli.cell_texts import printable

    choices = {SPOKEN.get(choice, choice): choice for choice in question.choices}
    first, *others = choices
    marked = f"[{first.upper()}/{'/'.join(others)}]" if question.yes_no else f"[{first}] or {' or '.join(others)}"
    text = printable(f"{question.text} {marked}")
    while (answer := typer.prompt(text, default=first, show_default=False, err=True).strip()) not in choices:
        if question.yes_no and answer.lower()[:1] in choices:
            answer = answer.lower()[:1]
            break
        notify(f'"{answer}" is none of these.')
    return choices[answer]


def _show(proposal: Proposal, text: str) -> None:
    """Show what was found, the farm.toml to be, what is not placed, what is open, and how the files would read."""
    from pipeline.adopt.settings_text import conventions_of, try_reading

    matches = proposal.matches
    _show_lines(
        "What your files hold:",
        [f"{each.sheet.called}: {', '.join(each.tables) or _of_no_table(each)}" for each in matches],
    )
    if proposal.tables:
        typer.echo("\nfarm.toml would be:\n")
        typer.echo("".join(f"  {line}\n" for line in text.splitlines()))
    _show_lines(
        "Rows that are not read:",
        [f"{each.sheet.called}, {line}." for each in matches for line in each.sheet.left_out],
    )
    _show_lines(
        "Not placed: these columns stay in your files and are not read.",
        [f'{each.sheet.called}: "{name}" {why}.' for each in matches for name, why in each.unmatched],
    )
    _show_lines(
        "Tables that lack a column:",
        [
            f"{each.sheet.called}: no {table}, for it has no column for {lack}."
            for each in matches
            for table, lack in each.lacking.items()
        ],
    )
    _show_lines("Taken or left open:", proposal.doubts)
    _show_lines("Taken so; answer otherwise with:", [f"{each.text} {each.option}" for each in proposal.questions])
    _show_lines(
        "How your files would read:",
        [sentence for each in try_reading(proposal, conventions_of(text)) for sentence in _reads(each)],
    )
    typer.echo("")


def _of_no_table(match: SheetMatch) -> str:
    return "settings" if is_settings(match.sheet.header) else "no table"


def _show_lines(heading: str, lines: Sequence[str]) -> None:
    from pipeline.cli.cell_texts import printable
    from pipeline.cli.show import screen_width

    if lines:
        typer.echo(f"\n{heading}")
    for each in lines:
        typer.echo(textwrap.fill(printable(each), screen_width(), initial_indent="  ", subsequent_indent="    "))


def _reads(each: TrialReading) -> list[str]:
    if each.refused:
        return [f"{each.file} as {each.table}: not at all. {each.refused}"]
    unusable = f", of which {each.rejected} cannot be used" if each.rejected else ""
    return [
        f"{each.file} as {each.table}: {counted(each.rows, 'row')}{unusable}.",
        *(f"  {sentence}" + (f" ({number} like it)" if number > 1 else "") for sentence, number in each.findings),
    ]
