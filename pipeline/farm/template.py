"""The template of a new farm folder: tables with their headers only, a commented farm.toml, and a how-to, all from the
contracts.
"""

from __future__ import annotations

import json
from pathlib import Path

from pipeline.files.replace import make_folder, replace_file
from schemas.contract import BOOKS, GROWING, HARVESTS, INPUTS, Field, contract
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

OWN_FILES = """\
## Your own headings, words and files
Nothing need be renamed. `farm.toml` tells which column a heading of yours stands for, and the unit it is written in
(g, kg, lb, oz; L, US gal; C, F), which word of yours stands for which of ours, and what a file of another name holds:

```toml
{example}
```

- A file may be CSV (UTF-8; commas, semicolons or tabs) or a sheet of an .xlsx workbook.
- One sheet may hold several tables: a row for each picking, with the names of its batch and container; what else there
  is to say of these stands on every row of theirs, or on one. Headings are told for each table.
- Marks and dates are one for all files. A number with another mark, or a date that may be two days, is set aside and
  named, never read another way.
- Amounts of money may stand with the sign, code or name of the farm's one currency, as in 12.50 EUR, \u20ac12 or
  12 \u20ac/kg, where farm.toml names it: `currency = "EUR"`. An amount in another is named, and not used.
- `gillbook init --from FILE` proposes all this from files that you have, also of sales, price lists and standing
  orders; it writes nothing until you say so.
"""


def refuse_full_folder(folder: Path) -> None:
    """Raises WrongRequest when the folder holds anything, or is none: nothing of the grower's is ever written over."""
    if folder.exists() and not folder.is_dir():
        raise WrongRequest(f"{folder} is no folder, and nothing was written. Name a new folder.")
    if folder.exists() and any(folder.iterdir()):
        raise WrongRequest(f"{folder} is not empty, and nothing was written. Name a new folder.")


def write_new_farm(folder: Path, full: bool) -> list[str]:
    """Makes the folder and returns the names of the files written. `full`: all tables and columns, not only those that
    every farm has and the starred ones.

    Raises WrongRequest when the folder is not empty, OutOfReach when it cannot be written.
    """
    refuse_full_folder(folder)
    texts = {"farm.toml": _settings_text(), "HOW-TO.md": how_to()}
    for name in INPUTS if full else GROWING:
        file = f"{name}.csv" if name != HARVESTS else f"{HARVESTS}/first-month.csv"
        texts[file] = empty_table(name, full)
    try:
        make_folder(folder / HARVESTS)
        for file, text in texts.items():
            replace_file(folder / file, text.encode())
    except OSError as problem:
        raise OutOfReach(f"{folder} cannot be written: {problem.strerror}.") from problem
    return sorted(texts)


def empty_table(name: str, full: bool = False) -> str:
    """Return the header line of this table. `full`: all columns, not only the starred ones."""
    return ",".join(each.name for each in contract(name).fields if full or each.starred) + "\n"


def _settings_text() -> str:
    lines = ["# Settings of this farm. Every line is optional; take the # away to change one.", ""]
    for each in contract("farm").fields:
        unit = " Days." if each.unit == "d" else ""
        words = f" One of {', '.join(word or 'nothing' for word in each.words)}." if each.words else ""
        lines.append(f"# {each.description}{unit}{words}")
        if each.type == "object":
            lines += [*(f"# {line}" for line in each.example), ""]
            continue
        shown = each.example if each.default is None else each.default
        lines += [f"# {each.name} = {json.dumps(shown, ensure_ascii=False)}", ""]
    return "\n".join(lines)


def _line(each: Field) -> str:
    marks = f" [{each.unit}]" if each.unit else ""
    marks += " (required)" if each.required else ""
    words = f" Words: {', '.join(each.words)}." if each.words else ""
    return f"- `{each.name}`{marks}: {each.description}{words}"


def how_to() -> str:
    """Return the text of HOW-TO.md: how a farm folder is kept."""
    parts = [
        "# How to keep this folder\n\nThe tables are plain CSV files: keep them in a spreadsheet or a text editor. "
        "Dates like 2026-05-14, weights with a decimal point, or as farm.toml tells. "
        "To correct an entry, edit the file, or say `gillbook edit`. "
        "Harvests may be one file or many (one a month is handy).\n\n"
        "`gillbook check` tells what is wrong and how to mend it; `gillbook yields` tells biological efficiency.\n"
    ]
    for name in INPUTS:
        table = contract(name)
        lines = "\n".join(_line(each) for each in table.fields)
        only = " Only for farms that want it." if name in BOOKS else ""
        parts.append(f"## {table.title} ({name}.csv)\n{table.description}{only}\n\n{lines}\n")
    example = "\n\n".join("\n".join(each.example) for each in contract("farm").fields if each.type == "object")
    return "\n".join([*parts, OWN_FILES.format(example=example), _settings_listed(), CAUTIONS])


def _settings_listed() -> str:
    lines = [
        f"- `{each.name}`{f' [{each.unit}]' if each.unit else ''}: {each.description}"
        f"{f' Without it: {json.dumps(each.default, ensure_ascii=False)}.' if each.default not in (None, '') else ''}"
        for each in contract("farm").fields
        if each.type != "object"
    ]
    return "## Settings (farm.toml)\nAll of them are optional.\n\n" + "\n".join(lines) + "\n"
