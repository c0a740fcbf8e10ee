"""Lines to `gillbook open` that are slow, many, too long, or say two things at once: nothing comes of them."""

from __future__ import annotations

import contextlib
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from open_farms import Served, serving, small_farm, tables_of

FORM = b"container=1&batch=A&weight=412"


@pytest.fixture(scope="module")
def attacked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Served]]:
    folder = small_farm(tmp_path_factory.mktemp("lines"))
    with serving(folder, "--phone", "--address", "127.0.0.2") as served:
        served.ask("/")
        yield folder, served


@pytest.fixture(autouse=True)
def nothing_is_written(attacked: tuple[Path, Served]) -> Iterator[None]:
    before = tables_of(attacked[0])
    yield
    assert tables_of(attacked[0]) == before
    assert attacked[1].process.poll() is None
    assert attacked[1].ask("/months")[0] == 200


def head(served: Served, method: str = "POST", path: str = "/write/weigh", **more: str) -> bytes:
    """The head of a request that would be answered, with more lines."""
    lines = [f"{method} {path} HTTP/1.1", f"Host: {served.host}", f"Cookie: {served.cookie}"]
    lines += [f"Origin: {served.site}", "Content-Type: application/x-www-form-urlencoded"] if method == "POST" else []
    return "\r\n".join(
        (*lines, *(f"{name.replace('_', '-')}: {value}" for name, value in more.items()), "", "")
    ).encode()


def status(answer: bytes) -> int:
    return int(answer.split(b" ")[1]) if answer.startswith(b"HTTP/") else 0


def told(served: Served, data: bytes) -> bytes:
    """All that is answered to these bytes by who keeps the line open; some silence ends it."""
    found = b""
    with line_to(served) as line, contextlib.suppress(OSError):
        line.sendall(data)
        while more := line.recv(65536):
            found += more
            line.settimeout(2)
    return found


def line_to(served: Served) -> socket.socket:
    name, port = served.host.split(":")
    return socket.create_connection((name, int(port)), timeout=40)


def test_a_head_that_never_ends_is_given_up(attacked: tuple[Path, Served]) -> None:
    served = attacked[1]
    began = time.monotonic()
    with line_to(served) as line, contextlib.suppress(ConnectionError):
        line.sendall(b"GET / HTTP/1.1\r\n")
        line.settimeout(1)
        found = b"?"
        while found and time.monotonic() - began < 40:
            with contextlib.suppress(TimeoutError):
                found = line.recv(100)
            if found:
                line.sendall(b"X: slow\r\n")
    assert 5 < time.monotonic() - began < 30


def test_a_second_head_that_never_ends_is_given_up_too(attacked: tuple[Path, Served]) -> None:
    served = attacked[1]
    with line_to(served) as line:
        line.sendall(head(served, "GET", "/months"))
        assert line.recv(100).startswith(b"HTTP/1.1 200")
        began = time.monotonic()
        line.sendall(b"GET /months HTTP/1.1\r\nX:")
        with contextlib.suppress(ConnectionError):
            while line.recv(65536):
                pass
    assert time.monotonic() - began < 25


def test_many_idle_lines_hold_others_up_for_seconds_alone(attacked: tuple[Path, Served]) -> None:
    served = attacked[1]
    lines = [line_to(served) for _ in range(80)]
    until = time.monotonic() + 40
    try:
        while served.ask("/months")[0] != 200:
            assert time.monotonic() < until
            time.sleep(1)
    finally:
        for each in lines:
            each.close()


def test_giant_heads_are_refused(attacked: tuple[Path, Served]) -> None:
    served = attacked[1]
    for more in ({f"x{at}": "a" * 900 for at in range(100)}, {"Cookie_": "a" * 70_000}):
        assert status(told(served, head(served, "GET", "/", **more))) in (0, 400, 431)
    assert status(told(served, head(served, "GET", "/" + "a" * 70_000))) in (0, 400, 414, 431)


@pytest.mark.parametrize(
    "more",
    [
        b"Content-Length: 30\r\nContent-Length: 31\r\n",
        b"Content-Length: 30\r\nTransfer-Encoding: chunked\r\n",
        b"Transfer-Encoding: identity, chunked\r\n",
        b"Transfer-Encoding: xchunked\r\n",
        b"Transfer-Encoding : chunked\r\n",
        b"Content-Length: +30\r\n",
        b"Content-Length: 0x1e\r\n",
        b"Content-Length: 30\r\n X: folded\r\n",
        b"Content-Length:\r\n",
        b"X\0: 1\r\nContent-Length: 30\r\n",
    ],
)
def test_a_length_that_says_two_things_is_refused(attacked: tuple[Path, Served], more: bytes) -> None:
    answer = told(attacked[1], head(attacked[1])[:-2] + more + b"\r\n" + FORM)
    assert status(answer) in (400, 411, 501), answer
    assert answer.count(b"HTTP/1.1") == 1


def test_what_hides_in_a_body_is_no_request(attacked: tuple[Path, Served]) -> None:
    served = attacked[1]
    hidden = head(served, Content_Length=str(len(FORM))) + FORM
    answer = told(served, head(served, "GET", "/months", Content_Length=str(len(hidden))) + hidden)
    assert status(answer) == 413
    # A form whose body is a request: it is read as a form, which it is none.
    answer = told(served, head(served, Content_Length=str(len(hidden))) + hidden)
    assert status(answer) == 400
    assert answer.count(b"HTTP/1.1 ") == 1


@pytest.mark.parametrize("name", ["X-Forwarded-Host", "X-Host", "Forwarded", "X-Original-Host"])
def test_a_host_that_a_header_says_counts_for_nothing(attacked: tuple[Path, Served], name: str) -> None:
    served = attacked[1]
    ours = f"host={served.host}" if name == "Forwarded" else served.host
    assert served.ask("/", headers={"Host": "evil.example", name: ours})[0] == 421


@pytest.mark.parametrize("name", ["X-Forwarded-For", "X-Real-IP", "Client-IP"])
def test_an_address_that_a_header_says_counts_for_nothing(attacked: tuple[Path, Served], name: str) -> None:
    assert attacked[1].ask("/", headers={name: "127.0.0.1", "Cookie": ""})[0] == 403


def test_a_whole_address_in_the_first_line_is_held_to_the_host(attacked: tuple[Path, Served]) -> None:
    served = attacked[1]
    answer = told(
        served, head(served, "GET", "http://evil.example/months").replace(served.host.encode(), b"evil.example")
    )
    assert status(answer) == 421


@pytest.mark.parametrize("name", ["X-HTTP-Method-Override", "X-Method-Override", "_method"])
def test_a_method_that_a_header_says_counts_for_nothing(attacked: tuple[Path, Served], name: str) -> None:
    assert attacked[1].ask("/write/weigh?container=1&weight=412", headers={name: "POST"})[0] == 405


def test_no_line_becomes_another_kind_of_line(attacked: tuple[Path, Served]) -> None:
    served = attacked[1]
    for upgrade in ("websocket", "h2c", "TLS/1.0"):
        more = {"Upgrade": upgrade, "Sec_WebSocket_Version": "13", "Sec_WebSocket_Key": "dGhlIHNhbXBsZSBub25jZQ=="}
        answer = told(served, head(served, "GET", "/months", Connection="Upgrade", **more))
        assert status(answer) != 101
    assert status(told(served, b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n")) in (0, 400, 405, 421, 505)


@pytest.mark.parametrize(
    "path",
    [
        "/write/weigh/",
        "/write/weigh/../weigh",
        "/write//weigh",
        "//write/weigh",
        "/WRITE/weigh",
        "/write/weigh%2f",
        "/write/weigh%00",
        "/write/weigh;x",
        "/write/__init__",
        "/write/..%2fweigh",
        "/%77rite/%2e%2e/weigh",
        "\\write\\weigh",
    ],
)
def test_other_spellings_of_a_form_write_nothing(attacked: tuple[Path, Served], path: str) -> None:
    served = attacked[1]
    answer = told(served, head(served, path=path, Content_Length=str(len(FORM))) + FORM)
    assert status(answer) in (400, 404, 405, 307), answer
    assert b"evil" not in answer


def test_the_key_leaves_the_address_and_goes_nowhere(attacked: tuple[Path, Served]) -> None:
    served = attacked[1]
    code, headers, text = served.ask(f"/enter?key={served.key}")
    assert (code, headers["location"]) == (303, "/")
    assert served.key not in text
    assert headers["cache-control"] == "no-store"
    assert headers["referrer-policy"] == "same-origin"
    for page in ("/", "/phones", "/months"):
        assert served.key not in served.ask(page)[2]
    token = served.invitation()
    code, headers, text = served.ask(f"/join?token={token}", headers={"Cookie": ""})
    assert headers["cache-control"] == "no-store"
    assert headers["referrer-policy"] == "same-origin"
    assert "http" not in text.split("<body", 1)[1]


def test_no_answer_is_kept_for_later(attacked: tuple[Path, Served]) -> None:
    served = attacked[1]
    _, cookie = served.join(served.invitation())
    for path, who in (("/", served.cookie), ("/phone", cookie), ("/enter?key=x", ""), ("/nowhere", ""), ("/join", "")):
        _, headers, _ = served.ask(path, headers={"Cookie": who})
        assert headers["cache-control"] == "no-store", path
        assert not {"etag", "last-modified", "expires", "access-control-allow-origin"} & headers.keys()
        code, _, _ = served.ask(path, headers={"Cookie": who, "Range": "bytes=0-10", "If-None-Match": "*"})
        assert code not in (206, 304)


def test_the_key_of_another_run_and_a_phones_key_at_the_desk_open_nothing(
    attacked: tuple[Path, Served], tmp_path: Path
) -> None:
    served = attacked[1]
    with serving(small_farm(tmp_path)) as other:
        assert served.ask(f"/enter?key={other.key}", headers={"Cookie": ""})[0] == 403
        assert served.ask("/", headers={"Cookie": other.cookie})[0] == 403
    _, cookie = served.join(served.invitation())
    key = cookie.partition("=")[2]
    assert served.ask("/", headers={"Cookie": f"gillbook_desk={key}"})[0] == 403
    assert served.ask("/phone", headers={"Cookie": f"gillbook_phone={served.key}"})[0] == 403
    assert served.ask(f"/enter?key={key}", headers={"Cookie": ""})[0] == 403
