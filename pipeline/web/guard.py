"""What stands before every page: who may ask, from where, how, how much and how often."""

from __future__ import annotations

import asyncio
import time
from collections import defaultdict, deque
from collections.abc import Callable
from dataclasses import dataclass, field

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

# A form or a portion of entries, and what a browser says of itself, are far smaller: our choice, no source.
MOST_BYTES, MOST_HEAD = 256_000, 32_768
# So many requests of one address in so many seconds; eight telephones that each send as fast as they can stay below:
# our choice, no source.
MOST_REQUESTS, WITHIN_S = 2000, 10.0
# So long what is sent may take to arrive: our choice, no source.
BODY_S = 15.0
METHODS = ("GET", "HEAD", "POST")
HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "x-frame-options": "DENY",
}


@dataclass
class Rates:
    """How often each address asked lately."""

    most: int = MOST_REQUESTS
    within_s: float = WITHIN_S
    clock: Callable[[], float] = time.monotonic
    by_address: dict[str, deque[float]] = field(default_factory=lambda: defaultdict(deque))

    def exceeded(self, who: str) -> bool:
        """Count one request; whether it is too many."""
        now, times = self.clock(), self.by_address[who]
        while times and times[0] <= now - self.within_s:
            times.popleft()
        if len(times) >= self.most:
            return True
        times.append(now)
        if len(self.by_address) > 1000:
            self.by_address = defaultdict(deque, {one: of for one, of in self.by_address.items() if of})
        return False


class Guard:
    """Refuses what does not come from a page of ours in a browser that was let in, and sets what each answer says.

    `hosts`: the names and addresses, with port, that the pages are at; any other Host is another site's name that leads
    here (DNS rebinding). A POST must say that it comes from one of them.
    """

    def __init__(self, app: ASGIApp, hosts: frozenset[str], scheme: str = "http", rates: Rates | None = None) -> None:
        self.app, self.hosts, self.rates = app, hosts, rates or Rates()
        self.origins = frozenset(f"{scheme}://{host}" for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            # The browser's other ways (web sockets) are none of ours.
            await send({"type": "websocket.close", "code": 1008})
            return
        refused = self._refusal(scope)
        if refused:
            status, why = refused
            await PlainTextResponse(why, status, HEADERS)(scope, receive, self._with_headers(send))
            return
        if scope["method"] == "POST":
            try:
                body = await asyncio.wait_for(_whole(receive), BODY_S)
            except TimeoutError:
                late = PlainTextResponse("What was sent did not arrive whole in time. Nothing was done.", 408)
                await late(scope, receive, self._with_headers(send))
                return
            if body is None:
                # Its sender went away in the middle, as a telephone does that leaves the network.
                return
            receive = _again(body)
        await self.app(scope, receive, self._with_headers(send))

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers, method = Headers(scope=scope), scope["method"]
        client = scope.get("client")
        if self.rates.exceeded(client[0] if client else ""):
            return 429, "Too many requests. Wait some seconds."
        if len(headers.getlist("host")) != 1 or headers["host"] not in self.hosts:
            return 421, "This page is not at that name. Open it by the address that gillbook shows."
        if _head_bytes(scope) > MOST_HEAD:
            return 431, "That is too much to say of one request. Nothing was done."
        if method not in METHODS:
            return 405, "That cannot be asked here."
        if method == "POST" and not self._from_here(headers):
            return 403, "This came from another page. Nothing was done. Open gillbook's own page."
        return self._too_large(headers, method)

    def _from_here(self, headers: Headers) -> bool:
        site = headers.get("sec-fetch-site", "same-origin")
        return headers.getlist("origin") in [[each] for each in self.origins] and site == "same-origin"

    def _too_large(self, headers: Headers, method: str) -> tuple[int, str] | None:
        length = headers.get("content-length", "0")
        if not length.isdecimal():
            return 400, "The length of what was sent is no number."
        if "transfer-encoding" in headers and method == "POST":
            return 411, "What is sent must say its length."
        if int(length) > MOST_BYTES or (method != "POST" and int(length)):
            return 413, "That is too much at once. Nothing was done."
        return None

    def _with_headers(self, send: Send) -> Send:
        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                if "content-security-policy" not in headers:
                    headers["content-security-policy"] = "default-src 'none'; frame-ancestors 'none'"
            await send(message)

        return with_headers


def _head_bytes(scope: Scope) -> int:
    said = (scope.get("raw_path") or b"", scope["query_string"], *(part for each in scope["headers"] for part in each))
    return sum(map(len, said))


async def _whole(receive: Receive) -> bytes | None:
    """Return all that is sent; None where its sender went away. The server lets nothing through beyond the length that
    was told.
    """
    body = b""
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return None
        body += bytes(message.get("body", b""))
        if not message.get("more_body", False):
            return body


def _again(body: bytes) -> Receive:
    async def receive() -> Message:
        return {"type": "http.request", "body": body, "more_body": False}

    return receive
