"""What is asked of `gillbook open` by who should not, or so as it should not be: refused, and nothing is written."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from open_farms import Served, serving, small_farm, tables_of

from pipeline.web.guard import MOST_BYTES, Rates

FORM = {"container": "1", "batch": "A", "weight": "412"}


@pytest.fixture(scope="module")
def attacked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Served]]:
    folder = small_farm(tmp_path_factory.mktemp("attacked"))
    with serving(folder) as served:
        served.ask("/")
        yield folder, served


@pytest.fixture(autouse=True)
def nothing_is_written(attacked: tuple[Path, Served]) -> Iterator[None]:
    before = tables_of(attacked[0])
    yield
    assert tables_of(attacked[0]) == before
    assert attacked[1].process.poll() is None


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:80",
        "localhost",
        "127.0.0.1",
        "127.0.0.1:1",
        "[::1]:80",
        "127.0.0.1.evil.example",
        "LOCALHOST:0",
        "",
        None,
    ],
)
def test_a_name_that_leads_here_is_none_of_ours(attacked: tuple[Path, Served], host: str | None) -> None:
    status, _, text = attacked[1].ask("/", headers={"Host": host})
    assert status in (400, 421)
    assert "Today" not in text


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Origin": None},
        {"Origin": ""},
        {"Origin": "http://127.0.0.1"},
        {"Origin": "http://localhost:1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
        {"Cookie": ""},
        {"Cookie": "gillbook_desk="},
        {"Cookie": "gillbook_desk=guess"},
        {"Cookie": "gillbook_desk=\u00e4"},
        {"Cookie": "gillbook_phone=guess"},
    ],
)
def test_a_form_of_another_page_writes_nothing(attacked: tuple[Path, Served], headers: dict[str, str | None]) -> None:
    assert attacked[1].ask("/write/weigh", "POST", FORM, headers=headers)[0] == 403


@pytest.mark.parametrize("kind", ["text/plain", "application/json", "multipart/form-data; boundary=x", ""])
def test_what_is_no_form_of_ours_is_refused(attacked: tuple[Path, Served], kind: str) -> None:
    assert attacked[1].ask("/write/weigh", "POST", FORM, headers={"Content-Type": kind})[0] == 400


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "PROPFIND"])
def test_other_methods_are_refused(attacked: tuple[Path, Served], method: str) -> None:
    assert attacked[1].ask("/", method)[0] in (400, 405)


@pytest.mark.parametrize("path", ["/write/weigh", "/write/sell", "/write/promise", "/write/undo", "/write/edit"])
def test_asking_writes_nothing(attacked: tuple[Path, Served], path: str) -> None:
    assert attacked[1].ask(path + "?container=1&weight=412")[0] == 405


@pytest.mark.parametrize(
    "path",
    [
        "/farm.toml",
        "/harvests.csv",
        "/kept/",
        "/ledger.duckdb",
        "/../farm.toml",
        "/%2e%2e/farm.toml",
        "/..%2f..%2fetc/passwd",
        "//etc/passwd",
        "/static/",
        "/docs",
        "/openapi.json",
        "/.git/config",
        "/%00",
    ],
)
def test_no_file_and_no_folder_is_served(attacked: tuple[Path, Served], path: str) -> None:
    status, _, text = attacked[1].ask(path)
    assert status == 404
    assert text == "There is no such page."


@pytest.mark.parametrize(
    "file", ["farm.toml", "/etc/passwd", "../x.csv", "harvests.csv/../farm.toml", "kept/devices.json"]
)
def test_a_row_is_shown_of_the_farms_own_tables_alone(attacked: tuple[Path, Served], file: str) -> None:
    status, _, text = attacked[1].ask(f"/mend/row?file={file}&row=1")
    assert status == 400
    assert "root:" not in text


def test_the_key_is_needed(attacked: tuple[Path, Served]) -> None:
    for key in ("", "guess", attacked[1].key[:-1], attacked[1].key + "x", "%ff"):
        status, headers, _ = attacked[1].ask(f"/enter?key={key}", headers={"Cookie": ""})
        assert status == 403
        assert "set-cookie" not in headers


@pytest.mark.parametrize(
    "path", ["/", "/weigh", "/sell", "/batches", "/mend", "/months", "/month?month=2026-01", "/mend/row"]
)
def test_no_page_without_the_cookie(attacked: tuple[Path, Served], path: str) -> None:
    assert attacked[1].ask(path, headers={"Cookie": ""})[0] == 403


def test_the_cookie_is_for_this_site_alone(attacked: tuple[Path, Served]) -> None:
    set_cookie = attacked[1].ask(f"/enter?key={attacked[1].key}")[1]["set-cookie"].lower()
    assert "httponly" in set_cookie
    assert "samesite=strict" in set_cookie


def test_too_much_at_once_is_refused(attacked: tuple[Path, Served]) -> None:
    assert attacked[1].ask("/write/weigh", "POST", body=b"x=" + b"a" * MOST_BYTES)[0] == 413
    many = {f"f{at}": "" for at in range(300)}
    assert attacked[1].ask("/write/weigh", "POST", many)[0] == 400


def test_a_length_that_lies_or_lacks_is_refused(attacked: tuple[Path, Served]) -> None:
    served = attacked[1]
    start = f"POST /write/weigh HTTP/1.1\r\nHost: {served.host}\r\nOrigin: http://{served.host}\r\n"
    kind = f"Cookie: {served.cookie}\r\n"
    kind += "Content-Type: application/x-www-form-urlencoded\r\n"
    chunked = served.raw(f"{start}{kind}Transfer-Encoding: chunked\r\n\r\n3\r\na=b\r\n0\r\n\r\n".encode())
    assert chunked.startswith(b"HTTP/1.1 411")
    for length in ("-1", "1e3", "99999999999999999999", "4, 5"):
        answer = served.raw(f"{start}{kind}Content-Length: {length}\r\n\r\na=b".encode())
        assert answer.split(b" ")[1] in (b"400", b"413"), (length, answer)


@pytest.mark.parametrize(
    "data", [b"\x16\x03\x01\x02\x00", b"GET\r\n\r\n", b"\0" * 4096, b"GET / HTTP/1.1\r\nX: " + b"a" * 100_000]
)
def test_what_is_no_request_ends_nothing(attacked: tuple[Path, Served], data: bytes) -> None:
    assert attacked[1].raw(data)[:12] in (b"", b"HTTP/1.1 400", b"HTTP/1.1 431")
    assert attacked[1].ask("/weigh")[0] == 200


def test_two_hosts_are_none(attacked: tuple[Path, Served]) -> None:
    host = attacked[1].host.encode()
    answer = attacked[1].raw(b"GET / HTTP/1.1\r\nHost: " + host + b"\r\nHost: evil.example\r\n\r\n")
    assert answer.startswith((b"HTTP/1.1 400", b"HTTP/1.1 421"))


@pytest.mark.parametrize(
    "body", [b"container=1&weight=%ff", b"container=1&container=2&weight=3", b"container=1%00&weight=3", b"\xff\xfe"]
)
def test_a_form_that_is_no_text_is_refused(attacked: tuple[Path, Served], body: bytes) -> None:
    assert attacked[1].ask("/write/weigh", "POST", body=body)[0] == 400


def test_one_may_not_be_sent_elsewhere(attacked: tuple[Path, Served]) -> None:
    status, headers, _ = attacked[1].ask("/write/undo", "POST", {"command": "none", "back": "//evil.example/"})
    assert (status, "location" in headers) == (400, False)


@pytest.mark.parametrize("name", ["x-content-type-options", "x-frame-options", "referrer-policy", "cache-control"])
def test_every_answer_says_how_it_may_be_used(attacked: tuple[Path, Served], name: str) -> None:
    for path, cookie in (("/", attacked[1].cookie), ("/", ""), ("/nowhere", "")):
        assert name in attacked[1].ask(path, headers={"Cookie": cookie})[1]


def test_what_is_in_a_cell_runs_nowhere(attacked: tuple[Path, Served]) -> None:
    text = attacked[1].ask("/weigh?container=%22%3E%3Cscript%3Ealert(1)%3C/script%3E")[2]
    assert "<script" not in text
    assert "&lt;script&gt;" in text


def test_who_asks_too_often_waits() -> None:
    now = [0.0]
    rates = Rates(most=3, within_s=10, clock=lambda: now[0])
    assert [rates.exceeded("a") for _ in range(4)] == [False, False, False, True]
    assert not rates.exceeded("b")
    now[0] = 11
    assert not rates.exceeded("a")
