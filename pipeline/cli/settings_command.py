"""The command that shows and changes the settings of a farm: settings."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.clock import now
from pipeline.cli.edit_command import confirm_change
from pipeline.cli.farm_access import open_the_farm
from pipeline.cli.options import FarmOption
from pipeline.cli.show import print_line, print_sentences
from schemas.contract import contract
from schemas.finding import WrongRequest
from schemas.phrases import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.farm.conventions import Conventions
    from pipeline.farm.folder import Farm
    from pipeline.logbook.rewrite import Rewriting

# The settings that say how numbers and dates are written in the files.
MARKS = ("decimal_mark", "thousands_mark", "date_order")


def settings(
    key: Annotated[str | None, typer.Argument(metavar="[NAME]", help="The setting, like decimal_mark.")] = None,
    value: Annotated[str | None, typer.Argument(metavar="[VALUE]", help="What it becomes.")] = None,
    *,
    keep_files: Annotated[
        bool, typer.Option("--keep-files", help="Change farm.toml alone: the files are written so already.")
    ] = False,
    rewrite: Annotated[
        bool, typer.Option("--rewrite", help="Write the files anew that were written before farm.toml was changed.")
    ] = False,
    resaved: Annotated[
        str | None, typer.Option("--resaved", metavar="FILE", help="This file is written as farm.toml has it already.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write it without asking.")] = False,
    farm: FarmOption = None,
) -> None:
    """Show the settings of farm.toml with what they mean, or change one: NAME VALUE. Comments in farm.toml stay."""
    opened = open_the_farm(farm)
    if rewrite or resaved is not None:
        if key or (rewrite and resaved is not None):
            raise WrongRequest("settings: --rewrite and --resaved go alone.")
        _rewrite_noted(opened, yes) if rewrite else _note_resaved(opened, resaved or "")
        return
    if key is None or value is None:
        _show(opened, key)
        return
    _change(opened, key, value, keep_files, yes)


def _text(farm: Farm) -> str:
    from pipeline.farm.settings import SETTINGS_FILE

    path = farm.folder / SETTINGS_FILE
    return path.read_bytes().decode("utf-8-sig") if path.is_file() else ""


def _show(farm: Farm, key: str | None) -> None:
    """Show each setting: its value, where it stands, and what it means."""
    from pipeline.farm.settings_edit import line_of, setting_field

    text = _text(farm)
    for each in [setting_field(key)] if key else contract("farm").fields:
        found = line_of(text, each.name)
        where = f"farm.toml, line {found[0]}" if found else "not set" if each.default is None else "as it comes"
        if each.type == "object":
            where = "farm.toml" if farm.settings[each.name] else "not set"
        value = farm.settings[each.name]
        shown = "" if value is None or each.type == "object" else f" = {_plain(value)}"
        print_line(f"{each.name}{shown}   ({where})")
        words = f" One of {', '.join(word or 'nothing' for word in each.words)}." if each.words else ""
        print_sentences(f"    {each.description}{words}")
    if key is None:
        print_line("Change one: gillbook settings NAME VALUE")


def _plain(value: object) -> str:
    return " ".join(map(str, value)) if isinstance(value, list | tuple) else str(value) or "nothing"


def _change(farm: Farm, key: str, value: str, keep_files: bool, yes: bool) -> None:
    from pipeline.farm.folder import open_farm
    from pipeline.farm.settings_edit import literal, setting_field, with_setting
    from pipeline.logbook.rewrite import change_settings, note_marks, rewrite

    each = setting_field(key)
    text = with_setting(_text(farm), key, literal(each, value))
    found, foreign = _files(farm, key, text) if not keep_files else ([], [])
    print_line(f"{key}: {_plain(farm.settings[key])}  ->  {value or 'nothing'}")
    _show_rewritings(found, foreign)
    if not yes:
        confirm_change()
    change_settings(farm, text, found, now())
    print_line("Written to farm.toml.")
    if found:
        _say_rewritten(found, rewrite(open_farm(farm.folder), found, now()))
    if key in MARKS:
        changed = open_farm(farm.folder)
        if alike := _without_marks(changed):
            note_marks(changed, alike, now())


def _without_marks(farm: Farm) -> list[str]:
    """Return the files noted to be written otherwise in which nothing is."""
    from pipeline.logbook.rewrite import rewritings

    names = list(farm.conventions.written)
    found, foreign = rewritings(farm, replace(farm.conventions, written={}), names) if names else ([], [])
    return [name for name in names if name not in foreign and name not in {each.source.name for each in found}]


def _files(farm: Farm, key: str, text: str) -> tuple[list[Rewriting], list[str]]:
    """Return what becomes of the farm's files with this farm.toml: only marks and the order of dates change any."""
    from pipeline.logbook.rewrite import rewritings

    if key not in MARKS:
        return [], []
    return rewritings(farm, _conventions(text))


def _conventions(text: str) -> Conventions:
    from pipeline.farm.conventions import read_conventions
    from pipeline.farm.settings import parse_settings, read_settings

    return read_conventions(read_settings(parse_settings(text))[0])


def _show_rewritings(found: Sequence[Rewriting], foreign: Sequence[str]) -> None:
    for each in found:
        before, after = each.example
        many = counted(each.cells, "cell")
        print_line(f"  {each.source.name} is written anew: {many}, like {before}  ->  {after}")
    if found:
        print_line("  Each is copied to kept/ before. Are they written so already? Then say --keep-files instead.")
    if foreign:
        print_line(f"  Not by gillbook: {', '.join(foreign)}. Save anew what is written otherwise there.")


def _say_rewritten(found: Sequence[Rewriting], folder: str) -> None:
    many = counted(len(found), "file is", "files are")
    print_line(f"{many} written anew. As they were: {folder}.")


def _rewrite_noted(farm: Farm, yes: bool) -> None:
    from pipeline.logbook.rewrite import resaved, rewrite, rewritings

    names = list(farm.conventions.written)
    if not names:
        print_line("All files are written as farm.toml has it.")
        return
    found, foreign = rewritings(farm, replace(farm.conventions, written={}), names)
    _show_rewritings(found, foreign)
    if not yes:
        confirm_change()
    if found:
        _say_rewritten(found, rewrite(farm, found, now()))
    for name in set(names) - {each.source.name for each in found} - set(foreign):
        # Nothing in it is written in another way.
        resaved(farm, name)


def _note_resaved(farm: Farm, name: str) -> None:
    from pipeline.logbook.rewrite import resaved

    if name not in farm.conventions.written:
        raise WrongRequest(f"--resaved {name}: no such file was written otherwise than farm.toml has it.")
    resaved(farm, name)
    print_line(f"{name} is read as farm.toml has it from now on.")
