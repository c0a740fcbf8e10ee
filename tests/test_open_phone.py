"""`gillbook open --phone`: a telephone is let in once, keeps what it weighs and sends it home; nothing lost or doubled.

In `make test`, the server is killed in 2 rounds; GILLBOOK_KILLS says another number of rounds, as `make crash` does.
"""

from __future__ import annotations

import os
import random
import signal
import socket
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from html import unescape
from pathlib import Path

import pytest
from browser import WHY_NOT, chromium, there
from open_farms import TODAY, Served, pickings, serving, small_farm

from pipeline.web.keys import DEVICE_DAYS, INVITATION_MINUTES, MOST_DEVICES, Keys

ADDRESS = "127.0.0.2"  # a loopback address that stands for the one in the network
PHONE = ("--phone", "--address", ADDRESS)
NOW = datetime.fromisoformat("2026-06-01T08:00:00+00:00")
ROUNDS = int(os.environ.get("GILLBOOK_KILLS", "2"))
ENTRIES = 200
HEAD = b"picked_on,fresh_weight_g,container,batch,entry\n"


def picking(entry: str, grams: int = 300, container: str = "3", batch: str = "B", day: object = TODAY) -> str:
    return f"{day},{grams},{container},{batch},1,,,,{entry},"


@pytest.fixture(scope="module")
def farm_served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Served]]:
    folder = small_farm(tmp_path_factory.mktemp("phones"))
    with serving(folder, *PHONE) as served:
        yield folder, served


@pytest.fixture(scope="module")
def cookie(farm_served: tuple[Path, Served]) -> str:
    status, found = farm_served[1].join(farm_served[1].invitation())
    assert status == 303
    return found


def ids(folder: Path) -> Counter[str]:
    return Counter(row["entry"] for row in pickings(folder) if row["entry"])


def test_the_caution_and_the_address_are_said(farm_served: tuple[Path, Served]) -> None:
    said = "".join(farm_served[1].said)
    assert f"http://{ADDRESS}:" in said
    assert "The network must be your own" in said
    page = farm_served[1].ask("/phones")[2]
    assert "<svg" in page
    assert "The network must be your own" in page


def test_an_entry_is_on_disk_when_it_is_answered_and_sending_twice_changes_nothing(
    farm_served: tuple[Path, Served], cookie: str
) -> None:
    folder, served = farm_served
    rows = [picking("pa1", 301), picking("pa2", 302)]
    assert served.send(cookie, *rows) == (200, {"home": ["pa1", "pa2"], "left": {}})
    assert (ids(folder)["pa1"], ids(folder)["pa2"]) == (1, 1)
    for _ in range(2):
        assert served.send(cookie, *rows) == (200, {"home": ["pa1", "pa2"], "left": {}})
    assert (ids(folder)["pa1"], ids(folder)["pa2"]) == (1, 1)
    mine = next(row for row in pickings(folder) if row["entry"] == "pa1")
    assert (mine["picked_on"], mine["fresh_weight_g"], mine["container"], mine["batch"]) == (
        f"{TODAY}", "301", "3", "B",
    )  # fmt: skip


def test_one_that_cannot_be_taken_is_named_and_takes_no_other_along(
    farm_served: tuple[Path, Served], cookie: str
) -> None:
    folder, served = farm_served
    bad = picking("pb2").replace("300", "heavy")
    status, answer = served.send(cookie, picking("pb1", 311), bad, picking("pb3", 313))
    assert (status, answer["home"]) == (200, ["pb1", "pb3"])
    assert "heavy" in answer["left"]["pb2"]
    assert set(ids(folder)) >= {"pb1", "pb3"}
    assert "pb2" not in ids(folder)


def test_two_telephones_that_say_the_same_are_asked_about_at_home(
    farm_served: tuple[Path, Served], cookie: str
) -> None:
    folder, served = farm_served
    _, other = served.join(served.invitation())
    assert served.send(cookie, picking("pc1", 333))[1]["home"] == ["pc1"]
    assert served.send(other, picking("pc2", 333))[1]["home"] == ["pc2"]
    assert set(ids(folder)) >= {"pc1", "pc2"}
    mend = unescape(served.ask("/mend")[2])
    assert "same container, day and weight" in mend or "twice" in mend


def test_eight_telephones_at_once_lose_and_double_nothing(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    cookies = [served.join(served.invitation())[1] for _ in range(8)]

    def send(phone: int) -> None:
        for at in range(10):
            entry = f"pd{phone}x{at}"
            for _ in range(2):
                status, answer = served.send(cookies[phone], picking(entry, 400 + phone * 10 + at))
                assert (status, answer["home"]) == (200, [entry])

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(send, range(8)))
    found = ids(folder)
    assert {entry: count for entry, count in found.items() if entry.startswith("pd")} == {
        f"pd{phone}x{at}": 1 for phone in range(8) for at in range(10)
    }


# ---- attacks


def test_an_invitation_is_good_once(farm_served: tuple[Path, Served]) -> None:
    token = farm_served[1].invitation()
    # A preview that follows the link uses nothing up.
    assert farm_served[1].ask(f"/join?token={token}", headers={"Cookie": ""})[0] == 200
    assert farm_served[1].join(token)[0] == 303
    assert farm_served[1].join(token) == (403, "")


@pytest.mark.parametrize("token", ["", "guess", "\u00e4", "a" * 5000])
def test_no_invitation_is_guessed(farm_served: tuple[Path, Served], token: str) -> None:
    assert farm_served[1].join(token) == (403, "")


@pytest.mark.parametrize(
    "path", ["/", "/weigh", "/sell", "/batches", "/mend", "/months", "/month?month=2026-01", "/phones"]
)
def test_a_telephone_sees_no_page_of_the_desk(farm_served: tuple[Path, Served], cookie: str, path: str) -> None:
    assert farm_served[1].ask(path, headers={"Cookie": cookie})[0] == 403


@pytest.mark.parametrize("kind", ["weigh", "sell", "promise", "note", "fill", "undo", "edit"])
def test_a_telephone_writes_by_no_form_of_the_desk(farm_served: tuple[Path, Served], cookie: str, kind: str) -> None:
    form = {"container": "3", "weight": "412"}
    assert farm_served[1].ask(f"/write/{kind}", "POST", form, headers={"Cookie": cookie})[0] == 403


@pytest.mark.parametrize("headers", [
    {"Cookie": ""},
    {"Cookie": "gillbook_phone=guess"},
    {"Origin": "http://evil.example"},
    {"Origin": None},
    {"Host": "evil.example"},
    {"Content-Type": "application/x-www-form-urlencoded"},
    {"Content-Type": "text/plain"},
])  # fmt: skip
def test_entries_come_from_our_page_on_a_telephone_alone(
    farm_served: tuple[Path, Served], cookie: str, headers: dict[str, str | None]
) -> None:
    folder, served = farm_served
    before = ids(folder)
    body = f"picked_on,fresh_weight_g,container,batch,entry\n{TODAY},300,3,B,pevil1\n".encode()
    given: dict[str, str | None] = {"Content-Type": "text/csv", "Cookie": cookie, **headers}
    assert served.ask("/entries", "POST", body=body, headers=given)[0] in (403, 415, 421)
    assert ids(folder) == before


@pytest.mark.parametrize("body", [
    b"", b"\xff\xfe", b"\0" * 100, b"a,b\n1,2\n", b'"', HEAD + b"2026-01-01,3,3,B,\n",
    HEAD + b"2026-01-01,3,3,B,=1+1\n",
    HEAD + b"2026-01-01,3,3,B,../../x\n",
    HEAD + b"".join(b"2026-01-01,3,3,B,pm%d\n" % at for at in range(300)),
])  # fmt: skip
def test_what_are_no_entries_is_refused(farm_served: tuple[Path, Served], cookie: str, body: bytes) -> None:
    folder, served = farm_served
    before = ids(folder)
    headers = {"Content-Type": "text/csv", "Cookie": cookie}
    status, _, text = served.ask("/entries", "POST", body=body, headers=headers)
    assert status in (200, 400)
    assert "Traceback" not in text
    assert ids(folder) == before


def test_what_is_sent_runs_as_no_formula(farm_served: tuple[Path, Served], cookie: str) -> None:
    folder, served = farm_served
    assert served.send(cookie, picking("pf1", 371) + "=cmd|' /c calc'!A1")[1]["home"] == ["pf1"]
    (note,) = [row["note"] for row in pickings(folder) if row["entry"] == "pf1"]
    assert note.startswith("'=")


def test_a_telephone_that_is_shut_out_sends_nothing(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    _, lost = served.join(served.invitation())
    page = served.ask("/phones")[2]
    name = page.split('name="name" value="')[-1].split('"')[0]
    assert served.send(lost, picking("pg1", 381))[0] == 200
    assert served.ask("/phones", "POST", {"name": name})[0] == 303
    assert served.send(lost, picking("pg2", 382))[0] == 403
    assert "pg2" not in ids(folder)
    assert name not in served.ask("/phones")[2].split("Let in</h2>")[1]


def test_keys_end_and_are_nowhere_on_disk(tmp_path: Path) -> None:
    keys = Keys(tmp_path)
    old = keys.invite(NOW)
    assert keys.let_in(old, NOW + timedelta(minutes=INVITATION_MINUTES)) is None
    key = keys.let_in(keys.invite(NOW), NOW)
    assert key is not None
    assert keys.device(key, NOW + timedelta(days=DEVICE_DAYS - 1)) is not None
    assert keys.device(key, NOW + timedelta(days=DEVICE_DAYS)) is None
    assert key not in keys.file.read_text()
    # Another run knows it still; its own desk has another key.
    assert Keys(tmp_path).device(key, NOW) is not None
    assert not Keys(tmp_path).is_desk(keys.desk)


def test_a_broken_list_of_telephones_lets_nobody_in(tmp_path: Path) -> None:
    keys = Keys(tmp_path)
    key = keys.let_in(keys.invite(NOW), NOW) or ""
    for text in ("", "[", "{}", '[{"name": 1}]', "[1]"):
        keys.file.write_text(text)
        assert keys.device(key, NOW) is None


def test_only_so_many_telephones_are_let_in(tmp_path: Path) -> None:
    keys = Keys(tmp_path)
    assert all(keys.let_in(keys.invite(NOW), NOW) for _ in range(MOST_DEVICES))
    assert keys.let_in(keys.invite(NOW), NOW) is None


def test_without_phone_nothing_of_telephones_answers(tmp_path: Path) -> None:
    folder = small_farm(tmp_path)
    keys = Keys(folder)
    now = datetime.now().astimezone()
    key = keys.let_in(keys.invite(now), now)
    with serving(folder) as served:
        assert served.ask("/phone", headers={"Cookie": f"gillbook_phone={key}"})[0] == 403
        assert served.send(f"gillbook_phone={key}", picking("ph1"))[0] == 403
        with socket.socket() as line:
            line.settimeout(5)
            assert line.connect_ex((ADDRESS, int(served.host.split(":")[1]))) != 0


# ---- end to end


@pytest.mark.skipif(not there(), reason=WHY_NOT)
@pytest.mark.parametrize("round_", range(ROUNDS))
def test_a_computer_killed_while_a_telephone_sends_loses_and_doubles_nothing(tmp_path: Path, round_: int) -> None:
    dice = random.Random(round_)
    folder = small_farm(tmp_path)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    add = """((from, to) => { for (let at = from; at < to; at += 1) record.add({ picked_on: %r,
        fresh_weight_g: String(200 + at), container: "4", batch: "B", flush: "1", cap_stage: "", culled_g: "",
        picker: "", note: "" }); })(%d, %d)"""
    with chromium() as phone:
        logged = 0
        for at in range(4):
            with serving(folder, *PHONE, port=port) as served:
                if at == 0:
                    token = served.invitation()
                    phone.open(f"http://{ADDRESS}:{port}/join?token={token}", width=360, until="!!document.forms[0]")
                    phone.evaluate("document.forms[0].requestSubmit()")
                    phone.wait(
                        "location.pathname === '/phone' && document.documentElement?.dataset.drawn !== undefined"
                    )
                    assert phone.evaluate("document.getElementById('home').textContent") == "All at home"
                phone.evaluate(add % (str(TODAY), logged, logged + ENTRIES // 4))
                logged += ENTRIES // 4
                if at < 3:
                    time.sleep(dice.uniform(0, 3.5))
                    served.process.send_signal(signal.SIGKILL)
                    served.process.wait()
                    left = phone.evaluate("record.fresh().length")
                    if left:
                        phone.wait("document.getElementById('home').textContent.includes('not yet at home')")
                else:
                    phone.wait(
                        "record.fresh().length === 0 && document.getElementById('home').textContent === 'All at home'"
                    )
        known = set(phone.evaluate("record.all().map((each) => each.entry)"))
    assert len(known) == ENTRIES
    mine = [row for row in pickings(folder) if row["container"] == "4"]
    assert Counter(row["fresh_weight_g"] for row in mine) == Counter(str(200 + at) for at in range(ENTRIES))
    assert {row["entry"] for row in mine} == known
