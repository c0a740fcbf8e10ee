"""No text of a cell steers the terminal: every command, its messages and its --json, on a farm whose every text column
holds escape codes (ECMA-48), marks of direction (UAX 9), signs without width, and line breaks.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from conftest import gillbook
from ledgers import here
from test_note_batch_fill_on_a_terminal import on_terminal

from pipeline.cli.commands import COMMANDS

STEERING = (
    "\x1b[31mred",
    "\x1b]0;title\x07",
    "\x9b2J",
    "a\u202eb\u2066c",
    "z\u200bero\u200d\ufeffx",
    "two\nlines",
    "back\rward",
    "u\u2028v\u2029w",
    "\x7fdel\x08\x08",
    "\U000e0041tag",
)
RED, TITLE, CLEAR, TURNED, ZERO, LINES, *_ = STEERING
UNTIL = ("--as-of", "2026-04-10")
# Each tells of the farm, plainly and with --json.
TELLING: list[tuple[object, ...]] = [
    ("refresh",),
    ("history",),
    ("doctor",),
    ("check", *UNTIL),
    ("check", "--deep", *UNTIL),
    ("today", *UNTIL),
    ("today", "--as-of", "2026-12-31"),
    *((name, "--by", "strain,soak", *UNTIL) for name in ("yields", "days", "losses", "flushes", "pins")),
    ("money", "--by", "strain", *UNTIL),
    ("money", "--unsold", *UNTIL),
    ("months", *UNTIL),
    ("another-flush", "--by", "strain", *UNTIL),
    ("yields", "--by", RED, *UNTIL),
    ("spawn", "--within", f"strain={RED}", *UNTIL),
    ("compare", "strain", *UNTIL),
    ("compare", "strain", "--within", f"soak={TITLE}", *UNTIL),
    ("trace", "--batch", RED, *UNTIL),
    ("trace", "--soak", LINES, *UNTIL),
    ("trace", "--spawn-lot", f"{TURNED}?", *UNTIL),
    ("outlook", "--need", "5", "--by", "2026-05-01", "--like", RED, *UNTIL),
    ("trial", "--factor", "strain", "--levels", f"{RED},{TURNED}", *UNTIL),
    ("next-soak", *UNTIL),
    ("sheet", *UNTIL),
    ("query", "select * from batches"),
    ("query", f'select 1 as "{RED}", note as "{TURNED}" from harvests'),
    ("query", f"select * from {CLEAR}"),
]
# Each writes, or refuses to, with what is typed in its messages.
WRITING: list[tuple[object, ...]] = [
    ("weigh", RED, "412", "--on", "2026-03-20", "--picker", TITLE, "--note", CLEAR, "--insist"),
    ("weigh", f"{TITLE}?", "412"),
    ("weigh", RED, f"4{RED}"),
    ("weigh", RED, "412", "--stage", CLEAR),
    ("weigh", "--batch", ZERO, "412", "--insist"),
    ("weigh", "--undo"),
    ("note", TURNED, "pins", "--on", "2026-03-21", "--note", RED, "--insist"),
    ("note", TURNED, f"pins{RED}"),
    ("note", ZERO, "contaminated", "--cause", CLEAR, "--insist"),
    ("note", "--undo"),
    ("batch", f"N{RED}", "--like", RED, "--strain", TITLE, "--soak", CLEAR, "--wet", "10", "--insist"),
    ("batch", "--like", TURNED, "--insist"),
    ("fill", "--batch", RED, TITLE, f"n{RED}1-3", "--kg", "5", "--room", TURNED, "--insist"),
    ("fill", "--batch", f"{CLEAR}?", "q"),
    ("sell", "300", "--to", RED, "--strain", TITLE, "--batch", CLEAR, "--note", TURNED, "--insist"),
    ("sell", "300", "--kind", RED),
    ("sell", "--undo"),
    ("promise", "300", "--to", TITLE, "--due", "2090-01-01", "--note", ZERO, "--insist"),
    ("promise", f"3{RED}", "--due", CLEAR),
    ("mix", "dry", "--sample-wet", RED, "--sample-dry", "1"),
    ("edit", RED, "--on", "2026-03-01", "--set", f"note={CLEAR}", "--yes"),
    ("edit", f"{TITLE}?", "--on", "2026-03-01"),
    ("edit", "--file", RED, "--row", "3", "--remove"),
    ("lost", RED),
    ("settings",),
    ("doctor",),
    ("settings", RED, TITLE),
    ("forget", "\x1b[31m.csv"),
    ("export", "--to", f"none{RED}/{TITLE}.xlsx"),
    ("many", f"none{RED}", "yields"),
    ("plan", "--kg", RED),
    ("promise", "check", *UNTIL),
    ("--verbose", "yields", *UNTIL),
]


def write(path: Path, header: str, rows: list[list[object]]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows([header.split(","), *rows])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("farm")
    (made / "farm.toml").write_text('name = "a\\u001b[31mb\\u202e"\n"k\\u001b[0m" = 1\n', encoding="utf-8")
    write(
        made / "batches.csv",
        "batch,inoculated_on,strain,substrate,soak,treatment,substrate_wet_kg,moisture_pct,spawn_kg,spawn_lot,note,"
        "\x1b[5mmine",
        [
            [s, f"2026-0{1 + at % 2}-01", STEERING[at // 4], s, STEERING[at // 2], s, 10, 70, 1, s, s, s]
            for at, s in enumerate(STEERING)
        ],
    )
    write(
        made / "fillings.csv",
        "batch,container,kind,volume_l,fill_kg,room,position,note",
        [[s, name, s, 20, 5, s, s, s] for s in STEERING for name in (s, f"{s}2")],
    )
    events = ["contaminated", "pins", "pins", CLEAR]
    write(
        made / "observations.csv",
        "seen_on,event,container,batch,cause,count,entry,note",
        [["2026-03-01", events[at % 4], s, s, s, s, s, s] for at, s in enumerate(STEERING)],
    )
    days = [[f"2026-03-{day:02}", 400 + day, s + n] for s in STEERING for n in ("", "2") for day in (1, 14)]
    faulty = [[f"2026-03-01{s}", f"4{s}", f"{s}?"] for s in STEERING]
    write(
        made / "harvests" / "\x1b[31m.csv",
        "picked_on,fresh_weight_g,container,cap_stage,culled_g,picker,entry,note",
        [[*cells, cells[2], cells[2], cells[2], at, cells[2]] for at, cells in enumerate([*days, *faulty])],
    )
    return made


def steering(text: str) -> set[str]:
    return {sign for sign in text if not sign.isprintable()} - {"\n"}


@pytest.mark.parametrize("words", TELLING, ids=lambda words: ascii(" ".join(map(str, words[:3]))))
def test_what_a_command_tells_does_not_steer_the_terminal_and_its_json_holds_the_text_escaped(
    folder: Path, words: tuple[object, ...]
) -> None:
    plain, as_json = (here(*words, *more, "--farm", folder) for more in ((), ("--json",)))
    assert plain.code == as_json.code
    assert plain.code in (0, 1, 2)
    assert steering(plain.out + plain.err + as_json.out + as_json.err) == set()
    if plain.code < 2:
        assert isinstance(json.loads(as_json.out), list)


def test_json_gives_the_texts_back_sign_by_sign(folder: Path) -> None:
    told = here("query", "select batch from batches order by row", "--json", "--farm", folder).json
    assert [each["batch"] for each in told] == [name.strip() for name in STEERING]


@pytest.mark.parametrize("words", WRITING, ids=lambda words: ascii(" ".join(map(str, words[:3]))))
def test_what_is_typed_does_not_come_back_as_an_escape_code(folder: Path, words: tuple[object, ...]) -> None:
    said = here(*words, "--farm", folder)
    assert said.code in (0, 2), said.err
    assert steering(said.out + said.err) == set()


def test_a_proposal_of_init_does_not_steer_the_terminal_nor_does_the_farm_toml_that_it_writes(
    folder: Path, tmp_path: Path
) -> None:
    named = [word for file in ("batches.csv", "fillings.csv", "harvests/\x1b[31m.csv") for word in ("--from", file)]
    said = gillbook("init", *named, tmp_path / "new", "--yes", cwd=folder)
    assert said.code == 0, said.err
    assert steering(said.out + said.err + (tmp_path / "new/farm.toml").read_text(encoding="utf-8")) == set()


def test_a_question_does_not_steer_the_terminal_and_takes_what_it_proposes_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "farm.toml").write_text("", encoding="utf-8")
    write(tmp_path / "batches.csv", "batch,inoculated_on,strain,substrate", [[TITLE, "2026-01-01", RED, CLEAR]])
    answers = [
        ("Strain [ [31mred]: ", ""),
        ("Substrate [ 2J]: ", ""),
        ("Wet substrate, kg: ", ""),
        ("Moisture, %: ", ""),
        ("Spawn, kg: ", ""),
    ]
    screen, code = on_terminal(tmp_path, ["batch", "N", "--on", "2026-05-14"], answers)
    assert (code, steering(screen)) == (0, set()), ascii(screen)
    told = here("query", "select strain, substrate from batches where batch = 'N'", "--json", "--farm", tmp_path)
    assert told.json == [{"strain": RED, "substrate": CLEAR}]
    write(tmp_path / "fillings.csv", "batch,container", [[TITLE, RED]])
    answers = [("Enter it all the same? [y/N]: ", "n")]
    screen, code = on_terminal(tmp_path, ["weigh", f"{RED}?", "412", "--on", "2026-05-14"], answers)
    assert (code, steering(screen)) == (2, set()), ascii(screen)
    assert f"Did you mean {RED.replace(chr(27), ' ')}?" in screen


def test_what_a_telephone_exported_does_not_steer_the_terminal(folder: Path, tmp_path: Path) -> None:
    rows = [["2026-03-20", f"41{at}", s, s, s, s, s] for at, s in enumerate(STEERING)]
    write(tmp_path / f"{TITLE}.csv", "picked_on,fresh_weight_g,container,batch,picker,entry,note", [*rows])
    said = here("take-in", tmp_path / f"{TITLE}.csv", "--farm", folder)
    assert said.code in (0, 2), said.err
    assert steering(said.out + said.err) == set()


def test_every_command_was_tried() -> None:
    tried = {str(word) for words in (*TELLING, *WRITING) for word in words[:2]}
    tried |= {" ".join(map(str, words[:2])) for words in WRITING}
    # demo knows no farm; init and take-in stand in tests of their own; the report and what open shows are pages.
    assert set(COMMANDS) - tried == {"demo", "init", "report", "open", "take-in"}
