"""A network that tears: what a browser sends goes through here to the server, and lines are cut as one says."""

from __future__ import annotations

import contextlib
import random
import socket
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Literal

ADDRESS = "127.0.0.3"
# pass: all comes through; down: nothing does; half_sent: half of the request; unanswered: all of it, and the line is
# cut before the server answered; answer_lost: when it has answered; half_answered: half of the answer comes through.
Fate = Literal["pass", "down", "half_sent", "unanswered", "answer_lost", "half_answered"]
CUTS: tuple[Fate, ...] = ("down", "half_sent", "unanswered", "answer_lost", "half_answered")


@dataclass
class TornLine:
    """Lines to the server at `host`, each request of which has a fate: `always`, or one that is drawn."""

    host: str
    dice: random.Random
    always: Fate | None = "pass"
    met: Counter[Fate] = field(default_factory=Counter)
    listener: socket.socket = field(default_factory=socket.socket)

    @property
    def at(self) -> str:
        """Where the browser finds it."""
        return f"{ADDRESS}:{self.listener.getsockname()[1]}"

    def serve(self) -> None:
        """Takes lines until the listener is closed."""
        while True:
            try:
                line, _ = self.listener.accept()
            except OSError:
                return
            threading.Thread(target=self._carry, args=(line,), daemon=True).start()

    def _carry(self, line: socket.socket) -> None:
        with line, contextlib.suppress(OSError):
            while (request := _message(line)) and self._answered(line, request):
                pass

    def _answered(self, line: socket.socket, request: bytes) -> bool:
        fate = self.always or ("pass" if self.dice.random() < 0.4 else self.dice.choice(CUTS))
        if not request.startswith(b"POST /entries"):
            fate = "down" if self.always == "down" else "pass"
        else:
            self.met[fate] += 1
        if fate == "down":
            return False
        name, port = self.host.split(":")
        # The server knows itself at its own address.
        request = request.replace(self.at.encode(), self.host.encode())
        with socket.create_connection((name, int(port)), timeout=30) as server:
            if fate == "half_sent":
                server.sendall(request[: len(request) * 2 // 3])
                return False
            server.sendall(request)
            if fate == "unanswered":
                return False
            answer = _message(server)
        if fate == "answer_lost":
            return False
        line.sendall(answer[: len(answer) // 2] if fate == "half_answered" else answer)
        return fate == "pass"


def _message(line: socket.socket) -> bytes:
    """One whole request or answer; nothing where the other side is gone."""
    found = b""
    while b"\r\n\r\n" not in found:
        more = line.recv(65536)
        if not more:
            return b""
        found += more
    head, _, body = found.partition(b"\r\n\r\n")
    length = next(
        (int(each.split(b":")[1]) for each in head.lower().split(b"\r\n") if each.startswith(b"content-length:")), 0
    )
    while len(body) < length:
        more = line.recv(65536)
        if not more:
            return b""
        body += more
    return head + b"\r\n\r\n" + body


@contextmanager
def torn_line(host: str, seed: int) -> Iterator[TornLine]:
    """A line to this host."""
    line = TornLine(host, random.Random(seed))
    line.listener.bind((ADDRESS, 0))
    line.listener.listen(16)
    taking = threading.Thread(target=line.serve, daemon=True)
    taking.start()
    try:
        yield line
    finally:
        # A close alone would leave accept waiting.
        with contextlib.suppress(OSError):
            line.listener.shutdown(socket.SHUT_RDWR)
        line.listener.close()
        taking.join()
