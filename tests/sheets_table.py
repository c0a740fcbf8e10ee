"""Prints the table of the sheets that people keep: what each is like, what comes of it, and how many questions it took.

python -m tests.sheets_table
"""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parent))

from sheets_kept import answered, kept_sheets


def main() -> None:
    print(f"{'sheet':<26} {'pickings':>8} {'other':>5} {'yes/no':>6} {'choice':>6}  pattern")
    with TemporaryDirectory() as folder:
        for sheet in kept_sheets():
            _, met = answered(sheet, Path(folder))
            others = sum(len(sheet.comes.get(key, [])) for key in ("batch", "event"))
            asked_so = sum(each.yes_no for each in met), sum(not each.yes_no for each in met)
            pickings = len(sheet.comes.get("pick", []))
            print(f"{sheet.name:<26} {pickings:>8} {others:>5} {asked_so[0]:>6} {asked_so[1]:>6}  {sheet.about}")


if __name__ == "__main__":
    main()
