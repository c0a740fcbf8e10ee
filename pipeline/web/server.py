"""Serving: the addresses that are listened on, and how it ends."""

from __future__ import annotations

import asyncio
import errno
import os
import signal
import socket
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress

import h11
import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from pipeline.web.certificate import Certificate
from schemas.finding import OutOfReach

HOME = "127.0.0.1"
# So long the head of a request may take to arrive: our choice, no source.
HEAD_S = 10.0
# Ports that browsers leave out of an address (RFC 9110).
USUAL = {"http": 80, "https": 443}


def bound(addresses: Sequence[str], port: int) -> list[socket.socket]:
    """Return a socket for each address, all at one port (0: one that is free). Raises OutOfReach where one is taken."""
    made: list[socket.socket] = []
    for address in addresses:
        each = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        made.append(each)
        try:
            if os.name == "posix":
                each.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            each.bind((address, port))
        except OSError as problem:
            for one in made:
                one.close()
            if problem.errno == errno.EADDRINUSE:
                raise OutOfReach(
                    f"Port {port} of {address} is taken: gillbook open runs there already, or another program. "
                    "End that, or name another: --port 7500."
                ) from problem
            raise OutOfReach(f"{address}, port {port}: {problem.strerror}. Name another with --port.") from problem
        port = port or each.getsockname()[1]
    return made


def host_of(scheme: str, name: str, port: int) -> str:
    """Return the host, as browsers say it, of this name (or address) and port."""
    return name.lower() if port == USUAL[scheme] else f"{name.lower()}:{port}"


def own_address() -> str | None:
    """Return this machine's address in the network that it is in; None where it is in none. Nothing is sent."""
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        # An address for documentation (RFC 5737): a datagram socket that connects sends nothing.
        asking.connect(("192.0.2.1", 9))
        return str(asking.getsockname()[0])
    return None


class Line(H11Protocol):
    """A line that is given up when the head of a request does not arrive in time."""

    head: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first head."""
        super().connection_made(transport)
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Take what arrived; wait for the rest of a head that began."""
        super().data_received(data)
        if self.conn.their_state is not h11.IDLE:
            self._arrived()
        elif self.head is None and self.conn.trailing_data[0]:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        self._arrived()
        super().connection_lost(exc)

    def _wait(self) -> None:
        self.head = self.loop.call_later(HEAD_S, self.transport.close)

    def _arrived(self) -> None:
        if self.head is not None:
            self.head.cancel()
            self.head = None


class Server(uvicorn.Server):
    """A server that ends with Ctrl-C and says nothing of its own."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """End in peace at the first signal, at once at the second."""
        before = {each: signal.signal(each, self.handle_exit) for each in (signal.SIGINT, signal.SIGTERM)}
        try:
            yield
        finally:
            for each, handler in before.items():
                signal.signal(each, handler)


def serve(app: ASGIApp, sockets: list[socket.socket], tls: Certificate | None, started: Callable[[], None]) -> None:
    """Serve until Ctrl-C. `started`: called once it answers."""
    config = uvicorn.Config(
        app,
        log_level="critical",
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        ws="none",
        lifespan="off",
        timeout_keep_alive=30,
        timeout_graceful_shutdown=3,
        limit_concurrency=64,
        h11_max_incomplete_event_size=32_768,
        http=Line,
        ssl_certfile=tls.cert if tls else None,
        ssl_keyfile=tls.key if tls else None,
    )
    server = Server(config)
    for each in sockets:
        each.listen(64)
    started()
    server.run(sockets=sockets)
