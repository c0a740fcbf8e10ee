"""Whatever stands around the rows: odd words at a command, names of files, number formats of cells, clocks, and damage
to what gillbook keeps beside the files. No mistake of gillbook's, no number that is not written, no name passed over.
"""

from __future__ import annotations

import shutil
import string
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from pathlib import Path

from conftest import write_table
from fuzzed_files import mutated
from fuzzed_settings import fuzzed
from hypothesis import strategies as st
from ledgers import BATCHES, FILLINGS, HARVESTS, here
from own_files import load, values, workbook

from pipeline.cli.commands import COMMANDS
from pipeline.farm.folder import open_farm, table_files, unread_files
from pipeline.logbook.entry_ids import new_entry_ids

DAY = date(2026, 5, 1)
GRAMS = {"g": Decimal(1), "kg": Decimal(1000), "oz": Decimal("28.349523125"), "lb": Decimal("453.59237")}
SPELLINGS = {"batches": BATCHES, "fillings": FILLINGS, "harvests": HARVESTS}


@contextmanager
def a_farm() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        (folder / "farm.toml").touch()
        for table, text in SPELLINGS.items():
            write_table(folder, table, text)
        yield folder


def weighed(number: float, code: str) -> list[tuple[object, ...]]:
    """The weight of a picking that stands in a workbook in this format."""

    def fill(sheet) -> None:  # type: ignore[no-untyped-def]
        sheet.cell(2, 2).number_format = code

    _, done = load(workbook((DAY, number, "B1"), fill=fill), name="harvests.xlsx")
    return values(done, "fresh_weight_g")


@fuzzed(
    0.04,
    number=st.decimals(1, 900, places=3),
    unit=st.sampled_from([*GRAMS, ""]),
    thousands=st.integers(0, 2),
    places=st.integers(0, 3),
    red=st.booleans(),
)
def test_a_weight_in_any_format_is_what_the_cell_shows(
    number: Decimal, unit: str, thousands: int, places: int, red: bool
) -> None:
    digits = ("0." + "0" * places if places else "0") + "," * thousands
    code = ("[Red]" if red else "") + digits + (f'" {unit}"' if unit else "")
    ((_, read),) = weighed(float(number * 1000**thousands), code)
    # A weight that is beyond a picking's bounds, or finer than what is kept, is none.
    shown = number * GRAMS[unit or "g"]
    assert read is None or abs(Decimal(str(read)) - shown) <= Decimal("0.0006") + shown / 10**9, code


@fuzzed(0.04, code=st.text(st.sampled_from('0#?.,%/;"[]_*\\ @E+-kgozlbm'), min_size=1, max_size=14))
def test_any_text_as_a_format_is_read_or_named(code: str) -> None:
    ((_, read),) = weighed(500, code)
    assert read is None or Decimal(str(read)) > 0


@st.composite
def spelt(draw: st.DrawFn, table: str) -> str:
    """A table's name in any case of letters, as a file or in a folder, with what people put behind a name."""
    letters = "".join(draw(st.sampled_from([each, each.upper()])) for each in table)
    behind = draw(st.sampled_from(["", "", " (1)", " 2026", "_old"]))
    ending = draw(st.sampled_from([".csv", ".CSV", ".Csv", ".xlsx.bak", ".ods", ""]))
    return draw(st.sampled_from([f"{letters}{behind}{ending}", f"{letters}/a{behind}{ending}"]))


@fuzzed(0.04, names=st.lists(st.sampled_from([*SPELLINGS]).flatmap(spelt), max_size=4, unique_by=str.lower))
def test_no_name_like_a_table_is_passed_over(names: list[str]) -> None:
    with a_farm() as folder:
        made = []
        for name in names:
            path = folder / name
            if not path.parent.exists() or path.parent.is_dir():
                path.parent.mkdir(exist_ok=True)
                if not path.exists():
                    path.write_text(SPELLINGS[name.split("/")[0].lower().split(".")[0].split(" ")[0].split("_")[0]])
                    made.append(name)
        farm = open_farm(folder)
        said = {each.file.split("/")[0] for each in [*farm.findings, *unread_files(farm)]}
        said |= {each.file for each in [*farm.findings, *unread_files(farm)]}
        read = {each.name for each in table_files(folder, farm.conventions.files)}
        assert [name for name in made if name not in read and not {name, name.split("/")[0]} & said] == []


@fuzzed(
    0.04,
    words=st.lists(
        st.one_of(
            st.sampled_from(
                ["7", "412", "--on", "2026-02-03", "pins", "--like", "A", "--json", "--as-of", "--by", "0"]
            ),
            st.text(st.sampled_from(string.printable + "ä\u200b\x00\u202e9٣"), max_size=12),
            st.sampled_from(["9" * 400, "-1", "1e999", "nan", "../../x", "~", "%s%n", "'; drop table x", "A" * 5000]),
        ),
        max_size=4,
    ),
    command=st.sampled_from(sorted({*COMMANDS} - {"demo", "init", "open"})),
)
def test_any_words_at_a_command_end_it_without_a_mistake(words: list[str], command: str) -> None:
    with a_farm() as folder:
        before = {path.name: path.read_bytes() for path in folder.glob("*.csv")}
        said = here(command, *words, "--farm", folder)
        assert said.code in (0, 1, 2, 3), (command, words)
        assert "Traceback" not in said.err
        assert "made a mistake" not in said.err, (command, words, said.err)
        if command not in ("weigh", "note", "batch", "fill", "sell", "promise", "edit", "lost"):
            assert {path.name: path.read_bytes() for path in folder.glob("*.csv")} == before


@fuzzed(
    0.015, data=st.data(), command=st.sampled_from([("yields", "--json"), ("weigh", "1", "250", "--on", "2026-02-09")])
)
def test_damage_to_what_stands_beside_the_files_costs_no_row(data: st.DataObject, command: tuple[str, ...]) -> None:
    with a_farm() as folder:
        here("weigh", "2", "300", "--on", "2026-02-08", "--farm", folder)
        here("yields", "--farm", folder)
        whole = here("yields", "--json", "--as-of", "2026-06-01", "--farm", folder).json
        rows = {path: path.read_bytes() for path in folder.rglob("*.csv") if "kept" not in path.parts}
        own = sorted(path for path in folder.iterdir() if path.is_file() and path.suffix not in (".csv", ".toml"))
        path = data.draw(st.sampled_from(own))
        damaged = data.draw(st.one_of(st.binary(max_size=30), mutated(path.read_bytes())))
        path.write_bytes(damaged)
        said = here(*command, "--insist" if command[0] == "weigh" else "--as-of=2026-06-01", "--farm", folder)
        assert said.code in (0, 2, 3), path.name
        assert "made a mistake" not in said.err, path.name
        assert all(each.read_bytes().startswith(text) for each, text in rows.items()), path.name
        if command[0] == "yields" and said.code == 0:
            assert said.json == whole, path.name
        shutil.rmtree(folder / "out", ignore_errors=True)


@fuzzed(0.04, steps=st.lists(st.tuples(st.integers(-(10**10), 10**10), st.integers(1, 40)), max_size=30))
def test_ids_are_apart_whatever_the_clock_does(steps: list[tuple[int, int]]) -> None:
    now_ms, made = 1_770_000_000_000, []
    for step_ms, count in steps:
        now_ms = max(0, now_ms + step_ms)
        made += new_entry_ids(now_ms, count)
    assert len(set(made)) == len(made)
