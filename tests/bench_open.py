"""The wait of a telephone until its entry is on disk: 8 telephones with 200 entries each, at once.

What 99 of 100 stay below, as a ratio to a bare Starlette route with one fsync, under the same load:
`python -m tests.bench_open`.

An entry is written with its journal and by looking at the farm's files first, so the ratio is told and has no limit.
"""

from __future__ import annotations

import argparse
import http.client
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from open_farms import COLUMNS, TODAY, pickings, serving, small_farm

PHONES, EACH = 8, 200
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


def waits_s(host: str, headers: Headers, each: int) -> list[float]:
    """How long each entry waited for its answer, all telephones at once."""

    def phone(number: int) -> list[float]:
        name, port = host.split(":")
        line, found = http.client.HTTPConnection(name, int(port), timeout=120), []
        for at in range(each):
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


def p99(waits: list[float]) -> float:
    return sorted(waits)[int(len(waits) * 0.99)]


def bare(folder: Path, each: int) -> float:
    """The wait of the bare route, in s."""
    port = 7467
    process = subprocess.Popen([sys.executable, "-c", BARE, str(folder / "bare"), str(port)])
    try:
        for _ in range(200):
            try:
                http.client.HTTPConnection("127.0.0.1", port, timeout=5).connect()
                break
            except OSError:
                time.sleep(0.05)
        return p99(waits_s(f"127.0.0.1:{port}", lambda _: {}, each))
    finally:
        process.kill()
        process.wait()


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--each", type=int, default=EACH)
    each = asked.parse_args().each
    with tempfile.TemporaryDirectory() as made:
        folder = small_farm(Path(made))
        with serving(folder, "--phone", "--address", "127.0.0.2") as served:
            cookies = [served.join(served.invitation())[1] for _ in range(PHONES)]
            shared = {"Origin": f"http://{served.host}", "Content-Type": "text/csv"}
            ours = p99(waits_s(served.host, lambda number: {**shared, "Cookie": cookies[number]}, each))
        ids = [row["entry"] for row in pickings(folder) if row["entry"]]
        assert len(ids) == len(set(ids)) == PHONES * each, len(ids)
        theirs = bare(folder, each)
    print(
        f"{PHONES} telephones, {each} entries each, at once: 99 of 100 are answered within {ours * 1000:.0f} ms; "
        f"a bare route with one fsync {theirs * 1000:.0f} ms; ratio {ours / theirs:.1f}"
    )


if __name__ == "__main__":
    main()
