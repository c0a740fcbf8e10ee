"""What the tests of `gillbook open` share: the program serving a small farm, and a browser's side of talking to it."""

from __future__ import annotations

import csv
import http.client
import json
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

from conftest import write_table

TODAY = date.today()
# What the weigh page sends.
COLUMNS = "picked_on,fresh_weight_g,container,batch,flush,cap_stage,culled_g,picker,entry,note"


def small_farm(folder: Path) -> Path:
    """A farm with two batches, of which one bucket is due."""
    began, pins = TODAY - timedelta(days=40), TODAY - timedelta(days=3)
    (folder / "farm.toml").write_text('name = "Invented <b>farm</b>"\n', encoding="utf-8")
    write_table(
        folder, "batches", f"batch,inoculated_on,substrate_wet_kg,moisture_pct\nA,{began},10,70\nB,{began},10,70"
    )
    write_table(folder, "fillings", "batch,container,fill_kg\nA,1,5\nA,2,5\nB,3,5\nB,4,5")
    write_table(
        folder, "observations", f"seen_on,event,container\n{began + timedelta(days=15)},opened,1\n{pins},pins,1"
    )
    write_table(folder, "harvests", f"picked_on,fresh_weight_g,container,entry\n{TODAY - timedelta(days=12)},300,2,\n"
                f"{TODAY - timedelta(days=11)},-30,2,")  # fmt: skip
    return folder


def pickings(folder: Path) -> list[dict[str, str]]:
    """All rows of pickings in the farm's files."""
    found = []
    for path in sorted(folder.rglob("*.csv")):
        if "kept" not in path.parts and "out" not in path.parts:
            rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
            found += [row for row in rows if "fresh_weight_g" in row]
    return found


def tables_of(folder: Path) -> dict[str, bytes]:
    """The content of each CSV file of a farm, but for what it was asked to write out."""
    return {str(each): each.read_bytes() for each in folder.rglob("*.csv") if "out" not in each.parts}


@dataclass
class Served:
    """The program while it serves, and the cookie of the browser that it let in."""

    process: subprocess.Popen[str]
    host: str
    key: str
    said: list[str]
    cookie: str = ""
    tls: ssl.SSLContext | None = None

    @property
    def site(self) -> str:
        """Where the pages are: scheme, name and port."""
        return f"{'https' if self.tls else 'http'}://{self.host}"

    def line(self) -> http.client.HTTPConnection:
        """A connection to it."""
        if self.tls:
            return http.client.HTTPSConnection(self.host, timeout=60, context=self.tls)
        return http.client.HTTPConnection(self.host, timeout=60)

    def ask(
        self,
        path: str,
        method: str = "GET",
        form: Mapping[str, str] | None = None,
        headers: Mapping[str, str | None] | None = None,
        body: bytes | None = None,
    ) -> tuple[int, Mapping[str, str], str]:
        """The answer: status, headers, text. A header of None is left out."""
        line = self.line()
        sent: dict[str, str | None] = {"Host": self.host, "Cookie": self.cookie}
        if method == "POST":
            sent["Origin"] = self.site
            sent["Content-Type"] = "application/x-www-form-urlencoded"
        if form is not None:
            body = urlencode(form).encode()
        if body is not None:
            sent["Content-Length"] = str(len(body))
        sent |= headers or {}
        line.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in sent.items():
            if value is not None:
                line.putheader(name, value)
        line.endheaders(body)
        answer = line.getresponse()
        text = answer.read().decode()
        found = answer.status, {name.lower(): value for name, value in answer.getheaders()}, text
        line.close()
        return found

    def enter(self) -> None:
        """Lets this side in, as the browser that was opened."""
        status, headers, _ = self.ask(f"/enter?key={self.key}")
        assert status == 303, status
        self.cookie = headers["set-cookie"].split(";")[0]

    def invitation(self) -> str:
        """A token that lets one telephone in, from the page that shows them."""
        return re.findall(r"/join\?token=([\w-]+)", self.ask("/phones")[2])[0]

    def join(self, token: str) -> tuple[int, str]:
        """What is answered to a telephone that brings this token; and its cookie."""
        status, headers, _ = self.ask("/join", "POST", {"token": token}, headers={"Cookie": ""})
        return status, headers.get("set-cookie", "").split(";")[0]

    def send(self, cookie: str, *rows: str, header: str = COLUMNS) -> tuple[int, dict[str, Any]]:
        """What is answered to entries that a telephone sends."""
        body = "\n".join((header, *rows, "")).encode()
        sent = {"Content-Type": "text/csv", "Cookie": cookie}
        status, _, text = self.ask("/entries", "POST", body=body, headers=sent)
        return status, json.loads(text) if text.startswith("{") else {}

    def raw(self, data: bytes) -> bytes:
        """What is answered to these bytes."""
        name, port = self.host.split(":")
        with socket.create_connection((name, int(port)), timeout=20) as line:
            line.sendall(data)
            line.shutdown(socket.SHUT_WR)
            found = b""
            while more := line.recv(65536):
                found += more
        return found


@contextmanager
def serving(folder: Path, *words: str, port: int = 0, tls: ssl.SSLContext | None = None) -> Iterator[Served]:
    """The program serving this farm; ended at the end if it is still there. `tls`: what trusts its certificate."""
    command = [sys.executable, "-u", "-c", "from pipeline.cli import run; run()", "open", "--no-browser"]
    process = subprocess.Popen(
        [*command, "--port", str(port), "--farm", str(folder), *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        stdin=subprocess.DEVNULL,
        text=True,
        env={**os.environ, "PYTHONWARNINGS": "error"},
    )
    assert process.stdout is not None
    said: list[str] = []
    try:
        while not said or "Ctrl-C" not in said[-1]:
            line = process.stdout.readline()
            assert line, said
            said.append(line)
        address = urlsplit(next(each for each in said if "/enter?key=" in each).split()[-1])
        served = Served(process, address.netloc, address.query.removeprefix("key="), said, tls=tls)
        served.enter()
        yield served
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
