"""A new farm folder: tables with their headers only, a commented farm.toml, and a how-to, all from the contracts."""

from __future__ import annotations

import json
from pathlib import Path

from schemas.contract import INPUTS, Contract, Field, contract
from schemas.finding import OutOfReach, WrongRequest

CAUTIONS = """\
## Cautions
Defer to the product's safety data sheet, local rules and licensed practice.
- Hydrated lime (H315, H318, H335, Danger): goggles first, gloves, no dust in the lungs. Lime into water, never boiling
  water onto powder. Not quicklime; garden carbonate does not work. Keep pH 12 drain water from drains, ponds and
  animals.
- Steam and hot water scald. Alcohol burns: never near a flame.
- Open mouldy containers outdoors, with a mask.
- Spores: a fitted mask, fresh air, early picking. Chest symptoms: see a doctor.
- Carbon dioxide gathers in closed rooms: air them.
- No sprayed or treated plant waste. Sell only what is surely the sown species; cook it; chill at once; packs that
  breathe.
"""


def refuse_full_folder(folder: Path) -> None:
    """Raises WrongRequest when the folder exists and holds anything: nothing of the grower's is ever written over."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise WrongRequest(f"{folder} is not empty, and nothing was written. Name a new folder.")


def write_new_farm(folder: Path, full: bool) -> list[str]:
    """Makes the folder and returns the names of the files written. `full`: all columns, not only the starred ones.

    Raises WrongRequest when the folder is not empty, OutOfReach when it cannot be written.
    """
    refuse_full_folder(folder)
    texts = {"farm.toml": _settings_text(), "HOW-TO.md": _how_to()}
    for name in INPUTS:
        file = f"{name}.csv" if name != "harvests" else "harvests/first-month.csv"
        texts[file] = ",".join(_columns(contract(name), full)) + "\n"
    try:
        (folder / "harvests").mkdir(parents=True)
        for file, text in texts.items():
            (folder / file).write_text(text, encoding="utf-8", newline="\n")
    except OSError as problem:
        raise OutOfReach(f"{folder} cannot be written: {problem.strerror}.") from problem
    return sorted(texts)


def _columns(table: Contract, full: bool) -> list[str]:
    return [each.name for each in table.fields if full or each.starred]


def _settings_text() -> str:
    lines = ["# Settings of this farm. Every line is optional; take the # away to change one.", ""]
    for each in contract("farm").fields:
        unit = " Days." if each.unit == "d" else ""
        words = f" One of {', '.join(each.words)}." if each.words else ""
        lines.append(f"# {each.description}{unit}{words}")
        default = "My farm" if each.default is None else each.default
        lines += [f"# {each.name} = {json.dumps(default)}", ""]
    return "\n".join(lines)


def _line(each: Field) -> str:
    marks = f" [{each.unit}]" if each.unit else ""
    marks += " (required)" if each.required else ""
    words = f" Words: {', '.join(each.words)}." if each.words else ""
    return f"- `{each.name}`{marks}: {each.description}{words}"


def _how_to() -> str:
    parts = [
        "# How to keep this folder\n\nThe tables are plain CSV files: keep them in a spreadsheet or a text editor. "
        "Dates like 2026-05-14, weights with a decimal point. To correct an entry, edit the file. "
        "Harvests may be one file or many (one a month is handy).\n\n"
        "`gillbook check` tells what is wrong and how to mend it; `gillbook yields` tells biological efficiency.\n"
    ]
    for name in INPUTS:
        table = contract(name)
        lines = "\n".join(_line(each) for each in table.fields)
        parts.append(f"## {table.title} ({name}.csv)\n{table.description}\n\n{lines}\n")
    return "\n".join([*parts, CAUTIONS])
