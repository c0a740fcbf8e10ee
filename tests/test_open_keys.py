"""`gillbook open --phone`: who is let in is this computer's alone, and a phone takes back its own entries alone."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from dataclasses import asdict
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from conftest import gillbook
from open_farms import COLUMNS, TODAY, Served, pickings, serving, small_farm

from pipeline.web.keys import Device, Keys, digest_of, state_folder

PHONE = ("--phone", "--address", "127.0.0.2")
BACK = COLUMNS + ",takes_back"


def id_of(number: int) -> str:
    """An id as phones make them."""
    return f"p{number:020x}"


def picking(entry: str, grams: int = 300) -> str:
    return f"{TODAY},{grams},3,B,1,,,,{entry},"


def back(entry: str, number: int) -> str:
    return f"{TODAY},,3,B,1,,,,{id_of(number)},,{entry}"


@pytest.fixture(scope="module")
def farm_served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Served]]:
    folder = small_farm(tmp_path_factory.mktemp("keys"))
    with serving(folder, *PHONE) as served:
        yield folder, served


def ids(folder: Path) -> set[str]:
    return {row["entry"] for row in pickings(folder) if row["entry"]}


def test_keys_do_not_travel_with_the_farm(tmp_path: Path) -> None:
    first = tmp_path / "first"
    first.mkdir()
    folder = small_farm(first)
    with serving(folder, *PHONE) as served:
        _, cookie = served.join(served.invitation())
        assert served.ask("/phone", headers={"Cookie": cookie})[0] == 200
        key = cookie.partition("=")[2]
    files = [each for each in folder.rglob("*") if each.is_file()]
    assert not [
        each for each in files if digest_of(key).encode() in each.read_bytes() or key.encode() in each.read_bytes()
    ]
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    # As a foreign farm might that is sent along with its telephones, wherever those may have been listed.
    device = Device("phone abcdef", digest_of(key), "2026-01-01T00:00:00+00:00", "2999-01-01T00:00:00+00:00")
    for name in ("kept/devices.json", "devices.json", "kept/phones.json", f"gillbook/phones/{Keys(copy).file.name}"):
        (copy / name).parent.mkdir(parents=True, exist_ok=True)
        (copy / name).write_text(json.dumps([asdict(device)]))
    with serving(copy, *PHONE) as served:
        assert served.ask("/phone", headers={"Cookie": cookie})[0] == 403
        assert served.send(cookie, picking(id_of(1)))[0] == 403
        assert "abcdef" not in served.ask("/phones")[2]
        # Shutting out there does not touch the first farm's.
        assert served.ask("/phones", "POST", {"name": "phone abcdef"})[0] == 400
    with serving(folder, *PHONE) as served:
        assert served.ask("/phone", headers={"Cookie": cookie})[0] == 200


@pytest.mark.skipif(os.name != "posix", reason="rights as POSIX has them")
def test_a_list_that_others_may_write_lets_nobody_in(tmp_path: Path) -> None:
    keys, now = Keys(tmp_path), datetime.now().astimezone()
    key = keys.let_in(keys.invite(now), now) or ""
    assert keys.device(key, now) is not None
    keys.file.chmod(0o666)
    assert keys.device(key, now) is None
    keys.file.chmod(0o600)
    assert keys.device(key, now) is not None


def test_where_the_list_cannot_be_written_it_is_said_and_nobody_is_let_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "file"))
    farm = tmp_path / "farm"
    farm.mkdir()
    with serving(small_farm(farm), *PHONE) as served:
        status, headers, text = served.ask("/join", "POST", {"token": served.invitation()}, headers={"Cookie": ""})
        assert (status, "set-cookie" in headers) == (503, False)
        assert "Which phones are let in cannot be written" in text
        assert "XDG_STATE_HOME" in text
        assert not (farm / "out" / "crash.txt").exists()


def test_the_state_folder_is_the_users(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", "relative")
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    for system, folder in (
        ("linux", tmp_path / ".local" / "state"),
        ("darwin", tmp_path / "Library" / "Application Support"),
        ("win32", tmp_path / "AppData" / "Local"),
    ):
        monkeypatch.setattr("sys.platform", system)
        monkeypatch.delenv("LOCALAPPDATA", raising=False)
        assert state_folder() == folder
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "local"))
    assert state_folder() == tmp_path / "local"


def test_a_phone_that_scans_again_is_the_same_phone(tmp_path: Path) -> None:
    keys, now = Keys(tmp_path), datetime.now().astimezone()
    first = keys.let_in(keys.invite(now), now) or ""
    again = keys.let_in(keys.invite(now), now + timedelta(minutes=1), first) or ""
    assert keys.device(first, now) is None
    assert [each.name for each in keys.devices(now)] == [f"phone {digest_of(first)[:6]}"]
    # One that was shut out meanwhile is another.
    keys.shut_out(f"phone {digest_of(first)[:6]}", now)
    keys.let_in(keys.invite(now), now, again)
    assert [each.name for each in keys.devices(now)] != [f"phone {digest_of(first)[:6]}"]
    # A wrong invitation takes no key away.
    (last,) = keys.devices(now)
    assert keys.let_in("guess", now, again) is None
    assert keys.devices(now) == [last]


def test_a_phone_takes_back_its_own_entries_also_after_it_scanned_again(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    _, cookie = served.join(served.invitation())
    served.send(cookie, picking(id_of(10), 310), picking("own1", 311))
    assert ids(folder) >= {id_of(10), "own1"}
    assert served.send(cookie, back(id_of(10), 12), header=BACK)[1]["home"] == [id_of(12)]
    assert id_of(10) not in ids(folder)
    _, headers, _ = served.ask("/join", "POST", {"token": served.invitation()}, headers={"Cookie": cookie})
    again = headers["set-cookie"].split(";")[0]
    assert served.send(cookie, back("own1", 13), header=BACK)[0] == 403
    assert served.send(again, back("own1", 13), header=BACK)[1]["home"] == [id_of(13)]
    assert "own1" not in ids(folder)


def test_a_phone_takes_back_nothing_of_another_and_nothing_of_the_farms(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    _, mine = served.join(served.invitation())
    _, other = served.join(served.invitation())
    served.send(other, picking(id_of(20), 320), picking("pa1", 321))
    assert gillbook("weigh", "4", "322", "--farm", folder).code == 0
    with open(folder / "harvests.csv", "a") as out:
        out.write(f"{TODAY},323,2,17\n{TODAY},324,2,px\n")
    (by_weigh,) = [row["entry"] for row in pickings(folder) if row["container"] == "4"]
    before = pickings(folder)
    for at, entry in enumerate((id_of(20), "pa1", by_weigh, "17", "px")):
        status, answer = served.send(mine, back(entry, 30 + at), header=BACK)
        assert (status, answer["home"]) == (200, []), entry
        assert "was not logged on this phone" in answer["left"][id_of(30 + at)], entry
    assert pickings(folder) == before
    assert served.send(other, back(id_of(20), 40), back("pa1", 41), header=BACK)[1]["left"] == {}
    assert ids(folder) & {id_of(20), "pa1"} == set()


def test_a_phone_takes_back_what_came_home_in_its_file(farm_served: tuple[Path, Served], tmp_path: Path) -> None:
    folder, served = farm_served
    sent = tmp_path / "weighed.csv"
    sent.write_text(f"{COLUMNS}\n{picking(id_of(50), 350)}\n")
    assert gillbook("take-in", sent, "--insist", "--farm", folder).code == 0
    assert id_of(50) in ids(folder)
    _, cookie = served.join(served.invitation())
    assert served.send(cookie, back(id_of(50), 51), header=BACK)[1]["home"] == [id_of(51)]
    assert id_of(50) not in ids(folder)


def test_an_entry_that_is_sent_under_anothers_id_changes_nothing(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    _, mine = served.join(served.invitation())
    _, other = served.join(served.invitation())
    served.send(mine, picking(id_of(60), 360))
    before = pickings(folder)
    served.send(other, picking(id_of(60), 999))
    # Nor does it make the entry the other's.
    assert served.send(other, back(id_of(60), 61), header=BACK)[1]["home"] == []
    assert pickings(folder) == before
