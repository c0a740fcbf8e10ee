"""`gillbook open` where something comes in between: an answer that is lost, a sender that goes, a link, a long page."""

from __future__ import annotations

import os
import signal
import socket
import threading
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from browser import WHY_NOT, chromium, there
from conftest import gillbook
from open_farms import TODAY, Served, pickings, serving, small_farm

from pipeline.web.keys import Keys

ADDRESS = "127.0.0.2"
PHONE = ("--phone", "--address", ADDRESS)


def picking(entry: str, grams: int) -> str:
    return f"{TODAY},{grams},3,B,1,,,,{entry},"


@pytest.fixture(scope="module")
def farm_served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Served]]:
    folder = small_farm(tmp_path_factory.mktemp("between"))
    with serving(folder, *PHONE) as served:
        yield folder, served


def ids(folder: Path) -> list[str]:
    return [row["entry"] for row in pickings(folder) if row["entry"].startswith("p")]


def test_what_was_taken_back_at_home_does_not_come_again(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    _, cookie = served.join(served.invitation())
    assert served.send(cookie, picking("pz1", 351))[1]["home"] == ["pz1"]
    assert gillbook("weigh", "--undo", "--farm", folder).code == 0
    assert "pz1" not in ids(folder)
    # The answer was lost on its way, so that the phone sends it once more.
    assert served.send(cookie, picking("pz1", 351))[1]["home"] == ["pz1"]
    assert "pz1" not in ids(folder)


def test_a_sender_that_goes_in_the_middle_leaves_nothing_and_no_crash(farm_served: tuple[Path, Served]) -> None:
    folder, served = farm_served
    name, port = served.host.split(":")
    with socket.create_connection((name, int(port)), timeout=20) as line:
        head = f"POST /write/note HTTP/1.1\r\nHost: {served.host}\r\nOrigin: http://{served.host}\r\n"
        kind = "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 500\r\n"
        line.sendall(f"{head}{kind}Cookie: {served.cookie}\r\n\r\ncontainers=".encode())
    time.sleep(0.3)
    assert served.ask("/weigh")[0] == 200
    assert not (folder / "out" / "crash.txt").exists()


def test_what_never_arrives_whole_is_given_up(farm_served: tuple[Path, Served]) -> None:
    served = farm_served[1]
    name, port = served.host.split(":")
    began = time.monotonic()
    with socket.create_connection((name, int(port)), timeout=40) as line:
        head = f"POST /write/note HTTP/1.1\r\nHost: {served.host}\r\nOrigin: http://{served.host}\r\n"
        line.sendall(f"{head}Content-Length: 500\r\nCookie: {served.cookie}\r\n\r\nx".encode())
        assert line.recv(100).startswith(b"HTTP/1.1 408")
    assert 10 < time.monotonic() - began < 30


def test_a_list_of_telephones_that_is_a_link_lets_nobody_in(tmp_path: Path) -> None:
    keys, now = Keys(tmp_path), datetime.now().astimezone()
    key = keys.let_in(keys.invite(now), now) or ""
    path = keys.file
    assert keys.device(key, now) is not None
    assert os.name != "posix" or path.stat().st_mode & 0o077 == 0
    path.rename(path.with_name("elsewhere.json"))
    path.symlink_to(path.with_name("elsewhere.json"))
    assert keys.device(key, now) is None


def test_a_long_comparison_holds_up_no_other_page(farm_served: tuple[Path, Served]) -> None:
    served = farm_served[1]
    served.ask("/batches")
    ended: list[float] = []

    def compare() -> None:
        assert served.ask("/compare?factor=substrate&measure=be")[0] == 200
        ended.append(time.monotonic())

    asking = threading.Thread(target=compare)
    asking.start()
    time.sleep(0.05)
    assert served.ask("/months")[0] == 200
    assert served.ask("/batches")[0] == 200
    answered = time.monotonic()
    asking.join()
    assert answered < ended[0]


@pytest.mark.skipif(not there(), reason=WHY_NOT)
def test_on_a_narrow_screen_each_cell_of_an_answer_says_what_it_is(farm_served: tuple[Path, Served]) -> None:
    served = farm_served[1]
    with chromium() as phone:
        loaded = "document.readyState === 'complete' && location.protocol !== 'about:'"
        phone.open(f"http://{served.host}/enter?key={served.key}", until=loaded)
        phone.open(f"http://{served.host}/money?by=batch", width=360, until=loaded)
        shown = phone.evaluate(
            "[...document.querySelectorAll('td')].map((each) => getComputedStyle(each, '::before').content)"
        )
        heads = phone.evaluate("[...document.querySelectorAll('th')].map((each) => each.textContent)")
    assert shown[: len(heads)] == [f'"{each}"' for each in heads]
    assert len(heads) > 3


@pytest.mark.skipif(not there(), reason=WHY_NOT)
def test_what_is_taken_back_while_it_is_sent_is_taken_out_at_home(tmp_path: Path) -> None:
    folder = small_farm(tmp_path)
    with serving(folder, *PHONE) as served, chromium() as phone:
        port = served.host.split(":")[1]
        token = served.invitation()
        phone.open(f"http://{ADDRESS}:{port}/join?token={token}", width=360, until="!!document.forms[0]")
        phone.evaluate("document.forms[0].requestSubmit()")
        phone.wait("location.pathname === '/phone' && document.documentElement?.dataset.drawn !== undefined")
        # The computer answers nothing just now, as one that is very busy.
        served.process.send_signal(signal.SIGSTOP)
        phone.evaluate(
            f"""record.add({{ picked_on: "{TODAY}", fresh_weight_g: "222", container: "4", batch: "B", flush: "1",
            cap_stage: "", culled_g: "", picker: "", note: "" }}).saved.then(() => true)"""
        )
        phone.wait("document.getElementById('home').textContent === '1 not yet at home'")
        time.sleep(3.5)  # the page sends every 3 s
        phone.evaluate("record.takeBack(record.fresh()[0]).then(() => true)")
        assert phone.evaluate("record.all().length") == 0
        served.process.send_signal(signal.SIGCONT)
        time.sleep(3.5)
        phone.wait("document.getElementById('home').textContent === 'All at home'")
        assert phone.evaluate("record.all().length") == 0
        assert [row for row in pickings(folder) if row["container"] == "4"] == []
