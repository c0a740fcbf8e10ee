"""The wait of a telephone until its entry is on disk: 8 telephones with 200 entries each, at once.

What 99 of 100 stay below, as a ratio to a bare Starlette route with one fsync, under the same load, in turns:
`python -m tests.bench_open`.

An entry is written with its journal and by looking at the farm's files first, so the ratio is told and has no limit.
"""

from __future__ import annotations

import argparse
import http.client
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from open_farms import COLUMNS, TODAY, pickings, serving, small_farm

PHONES, EACH, TURNS = 8, 200, 5
BARE = """
import asyncio, os, sys
from concurrent.futures import ThreadPoolExecutor
import uvicorn
from starlette.applications import Starlette
from starlette.responses import JSONResponse
from starlette.routing import Route

out, writer = open(sys.argv[1], "ab", buffering=0), ThreadPoolExecutor(1)

def write(data):
    out.write(data)
    os.fsync(out.fileno())

async def entries(request):
    await asyncio.get_running_loop().run_in_executor(writer, write, await request.body())
    return JSONResponse({})

app = Starlette(routes=[Route("/entries", entries, methods=["POST"])])
uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[2]), log_level="critical", access_log=False, http="h11")
"""
Headers = Callable[[int], dict[str, str]]


def waits_s(host: str, headers: Headers, first: int, each: int) -> list[float]:
    """How long each entry waited for its answer, all telephones at once."""

    def phone(number: int) -> list[float]:
        name, port = host.split(":")
        # As telephones have it: each an address of its own.
        own = (f"127.0.0.{10 + number}", 0)
        line, found = http.client.HTTPConnection(name, int(port), timeout=120, source_address=own), []
        for at in range(first, first + each):
            row = f"{TODAY},{200 + at},{1 + number % 4},,1,,,,pq{number}x{at},"
            started = time.perf_counter()
            line.request("POST", "/entries", f"{COLUMNS}\n{row}\n", headers(number))
            answer = line.getresponse()
            answer.read()
            found.append(time.perf_counter() - started)
            assert answer.status == 200, answer.status
        return found

    with ThreadPoolExecutor(PHONES) as pool:
        return [wait for waits in pool.map(phone, range(PHONES)) for wait in waits]


def within_ms(waits: list[float], share: float) -> float:
    """So many ms this share of the waits stays within."""
    return sorted(waits)[int(len(waits) * share)] * 1000


@contextmanager
def bare(folder: Path) -> Iterator[str]:
    """The bare route, at this host."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    process = subprocess.Popen([sys.executable, "-c", BARE, str(folder / "bare"), str(port)])
    try:
        for _ in range(200):
            try:
                http.client.HTTPConnection("127.0.0.1", port, timeout=5).connect()
                break
            except OSError:
                time.sleep(0.05)
        yield f"127.0.0.1:{port}"
    finally:
        process.kill()
        process.wait()


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--each", type=int, default=EACH)
    each = asked.parse_args().each
    ours: list[float] = []
    theirs: list[float] = []
    with tempfile.TemporaryDirectory() as made:
        folder = small_farm(Path(made))
        with serving(folder, "--phone", "--address", "127.0.0.2") as served, bare(folder) as host:
            cookies = [served.join(served.invitation())[1] for _ in range(PHONES)]
            shared = {"Origin": f"http://{served.host}", "Content-Type": "text/csv"}
            turn = each // TURNS
            # In turns, so that what else the machine does meets both.
            for first in range(0, turn * TURNS, turn):
                ours += waits_s(served.host, lambda number: {**shared, "Cookie": cookies[number]}, first, turn)
                theirs += waits_s(host, lambda _: {}, first, turn)
        ids = [row["entry"] for row in pickings(folder) if row["entry"]]
        assert len(ids) == len(set(ids)) == PHONES * turn * TURNS, len(ids)
    print(f"{PHONES} telephones, {turn * TURNS} entries each, at once, each answered once it is on disk:")
    for share, words in ((0.99, "99 of 100"), (0.5, "half")):
        our, their = within_ms(ours, share), within_ms(theirs, share)
        print(f"  {words} within {our:.0f} ms; a bare route with one fsync {their:.0f} ms; ratio {our / their:.1f}")


if __name__ == "__main__":
    main()
