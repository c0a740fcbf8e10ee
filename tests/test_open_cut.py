"""The network between a telephone and the computer is cut and restored, at any moment: nothing is lost or doubled.

In `make test` in 2 rounds; GILLBOOK_KILLS says another number of rounds, as `make crash` does.
"""

from __future__ import annotations

import os
import random
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import WHY_NOT, Browser, chromium, there
from open_farms import TODAY, Served, pickings, serving, small_farm
from torn_line import CUTS, Fate, TornLine, torn_line

ADDRESS = "127.0.0.2"
PHONE = ("--phone", "--address", ADDRESS)
ROUNDS = int(os.environ.get("GILLBOOK_KILLS", "2"))
BURSTS, EACH = 10, 20
HOME = "document.getElementById('home').textContent"
ADD = """((from, to) => { for (let at = from; at < to; at += 1) record.add({ picked_on: %r,
    fresh_weight_g: String(200 + at), container: "4", batch: "B", flush: "1", cap_stage: "", culled_g: "",
    picker: "", note: "" }); })(%d, %d)"""

pytestmark = pytest.mark.skipif(not there(), reason=WHY_NOT)


def offline(phone: Browser, cut: bool) -> None:
    """Takes the browser's network away, or gives it back."""
    phone.call("Network.emulateNetworkConditions", offline=cut, latency=0, downloadThroughput=-1, uploadThroughput=-1)


def join(phone: Browser, served: Served, at: str) -> None:
    phone.open(f"http://{at}/join?token={served.invitation()}", width=360, until="!!document.forms[0]")
    phone.evaluate("document.forms[0].requestSubmit()")
    phone.wait("location.pathname === '/phone' && document.documentElement?.dataset.drawn !== undefined")


def whole(phone: Browser, folder: Path, count: int) -> None:
    """Holds that so many entries are on the phone and at home, each once, and the same ones."""
    known = set(phone.evaluate("record.all().map((each) => each.entry)"))
    mine = [row for row in pickings(folder) if row["container"] == "4"]
    assert len(known) == count
    assert Counter(row["fresh_weight_g"] for row in mine) == Counter(str(200 + at) for at in range(count))
    assert Counter(row["entry"] for row in mine) == Counter(known)


@pytest.fixture
def phone() -> Iterator[Browser]:
    with chromium() as found:
        yield found


def test_what_waits_is_told_while_the_network_is_cut_and_comes_home_when_it_is_back(
    tmp_path: Path, phone: Browser
) -> None:
    folder = small_farm(tmp_path)
    with serving(folder, *PHONE) as served:
        join(phone, served, f"{ADDRESS}:{served.host.split(':')[1]}")
        assert phone.evaluate(HOME) == "All at home"
        offline(phone, True)
        phone.evaluate(ADD % (str(TODAY), 0, 3))
        phone.wait(f"{HOME} === '3 not yet at home'")
        time.sleep(3.5)  # the page tries every 3 s
        assert phone.evaluate(HOME) == "3 not yet at home"
        assert [row for row in pickings(folder) if row["container"] == "4"] == []
        offline(phone, False)
        phone.wait(f"{HOME} === 'All at home'")
        whole(phone, folder, 3)


@pytest.mark.parametrize("fate", CUTS)
def test_however_a_line_is_cut_its_entries_come_home_once(tmp_path: Path, phone: Browser, fate: Fate) -> None:
    folder = small_farm(tmp_path)
    with serving(folder, *PHONE) as served, torn_line(served.host, 0) as line:
        join(phone, served, line.at)
        line.always = fate
        phone.evaluate(ADD % (str(TODAY), 0, 3))
        phone.wait(f"{HOME} === '3 not yet at home'")
        until = time.monotonic() + 30
        while line.met[fate] < 2:
            assert time.monotonic() < until, line.met
            time.sleep(0.05)
        assert phone.evaluate(HOME) == "3 not yet at home"
        line.always = "pass"
        phone.wait(f"{HOME} === 'All at home'")
        assert line.met["pass"] >= 1
        whole(phone, folder, 3)


@pytest.mark.parametrize("round_", range(ROUNDS))
def test_a_network_cut_at_any_moment_loses_and_doubles_nothing(tmp_path: Path, phone: Browser, round_: int) -> None:
    dice = random.Random(round_)
    folder = small_farm(tmp_path)
    with serving(folder, *PHONE) as served, torn_line(served.host, round_) as line:
        join(phone, served, line.at)
        fates = dice.sample((*CUTS, *CUTS), BURSTS)
        for at, fate in enumerate(fates):
            burst(phone, line, dice, at, fate)
        line.always = "pass"
        offline(phone, False)
        phone.wait(f"record.fresh().length === 0 && {HOME} === 'All at home'")
        assert all(line.met[each] >= 2 for each in CUTS), line.met
        whole(phone, folder, BURSTS * EACH)


def burst(phone: Browser, line: TornLine, dice: random.Random, at: int, fate: Fate) -> None:
    """Logs some entries while the network comes and goes: a line is cut so, then as it comes, then all of them."""
    line.always, met = fate, line.met[fate]
    phone.evaluate(ADD % (str(TODAY), at * EACH, (at + 1) * EACH))
    until = time.monotonic() + 60
    while line.met[fate] == met:
        # As where the browser hears that it is in the network again: the page sends at once.
        phone.evaluate("dispatchEvent(new Event('online')) && true")
        assert time.monotonic() < until, line.met
        time.sleep(0.05)
    line.always = None
    phone.evaluate("dispatchEvent(new Event('online')) && true")
    time.sleep(dice.uniform(0, 0.5))
    if dice.random() < 0.3:
        offline(phone, True)
        time.sleep(dice.uniform(0, 0.5))
        if phone.evaluate("record.fresh().length"):
            phone.wait(f"{HOME}.includes('not yet at home')")
        offline(phone, False)
