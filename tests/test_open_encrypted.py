"""`gillbook open` with a certificate: what is sent is encrypted; wrong files are said before it listens."""

from __future__ import annotations

import base64
import hashlib
import http.client
import ipaddress
import ssl
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from browser import WHY_NOT, chromium, there
from conftest import gillbook
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    KeySerializationEncryption,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
)
from cryptography.x509.oid import NameOID
from open_farms import TODAY, Served, pickings, serving, small_farm

from pipeline.web.certificate import read_certificate
from pipeline.web.server import host_of

ADDRESS = "127.0.0.2"
PHONE = ("--phone", "--address", ADDRESS)


@dataclass(frozen=True)
class Made:
    """A certificate made here, and by what a browser can be told to trust it alone."""

    cert: Path
    key: Path
    pin: str

    @property
    def words(self) -> tuple[str, ...]:
        return ("--cert", str(self.cert), "--cert-key", str(self.key))

    @property
    def trusted(self) -> ssl.SSLContext:
        return ssl.create_default_context(cafile=str(self.cert))


def made(
    folder: Path,
    *addresses: str,
    name: str = "one",
    days: int = 30,
    lock: KeySerializationEncryption | None = None,
) -> Made:
    """A certificate that signs itself, for these addresses and localhost."""
    key, whose = ec.generate_private_key(ec.SECP256R1()), x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "farm")])
    ends = datetime.now(UTC) + timedelta(days=days)
    at = [x509.DNSName("localhost"), *(x509.IPAddress(ipaddress.ip_address(each)) for each in addresses)]
    signed = (
        x509.CertificateBuilder(whose, whose, key.public_key(), x509.random_serial_number())
        .not_valid_before(ends - timedelta(days=60))
        .not_valid_after(ends)
        .add_extension(x509.SubjectAlternativeName(at), critical=False)
        .add_extension(x509.BasicConstraints(True, None), critical=True)
        .sign(key, hashes.SHA256())
    )
    found = Made(
        folder / f"{name}.pem",
        folder / f"{name}.key",
        base64.b64encode(
            hashlib.sha256(key.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)).digest()
        ).decode(),
    )
    found.cert.write_bytes(signed.public_bytes(Encoding.PEM))
    found.key.write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, lock or NoEncryption()))
    return found


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Made:
    return made(tmp_path_factory.mktemp("certificate"), "127.0.0.1", ADDRESS)


@pytest.fixture(scope="module")
def farm_served(tmp_path_factory: pytest.TempPathFactory, certificate: Made) -> Iterator[tuple[Path, Served]]:
    folder = small_farm(tmp_path_factory.mktemp("encrypted"))
    with serving(folder, *PHONE, *certificate.words, tls=certificate.trusted) as served:
        yield folder, served


def test_the_addresses_are_https_and_nothing_is_said_of_readers(farm_served: tuple[Path, Served]) -> None:
    said = "".join(farm_served[1].said)
    assert f"https://{ADDRESS}:" in said
    assert "http://" not in said
    assert "can read what is sent" not in said
    assert "warn" not in said


def test_keys_are_sent_back_encrypted_alone(farm_served: tuple[Path, Served]) -> None:
    served = farm_served[1]
    for headers in (
        served.ask(f"/enter?key={served.key}")[1],
        served.ask("/join", "POST", {"token": served.invitation()}, headers={"Cookie": ""})[1],
    ):
        words = [each.strip().lower() for each in headers["set-cookie"].split(";")]
        assert {"secure", "httponly", "samesite=strict"} <= set(words)


def test_without_a_certificate_the_keys_come_back_over_http(tmp_path: Path) -> None:
    with serving(small_farm(tmp_path)) as served:
        assert "secure" not in served.ask(f"/enter?key={served.key}")[1]["set-cookie"].lower()


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Host": "evil.example"}, 421),
        ({"Host": "127.0.0.1"}, 421),
        ({"Origin": "http://{host}"}, 403),
        ({"Origin": "https://evil.example"}, 403),
        ({"Origin": "https://127.0.0.1"}, 403),
        ({"Origin": None}, 403),
        ({"Cookie": ""}, 403),
    ],
)
def test_who_may_ask_is_held_to_encrypted_too(
    farm_served: tuple[Path, Served], headers: dict[str, str | None], status: int
) -> None:
    folder, served = farm_served
    before = pickings(folder)
    sent = {name: value and value.replace("{host}", served.host) for name, value in headers.items()}
    form = {"container": "1", "batch": "A", "weight": "412"}
    assert served.ask("/write/weigh", "POST", form, headers=sent)[0] == status
    assert pickings(folder) == before
    # The same with nothing wrong is let through to the form's own answer.
    assert served.ask("/write/nothing", "POST", form)[0] == 400


def test_plain_requests_are_answered_by_nothing(farm_served: tuple[Path, Served]) -> None:
    served = farm_served[1]
    answer = served.raw(f"GET /enter?key={served.key} HTTP/1.1\r\nHost: {served.host}\r\n\r\n".encode())
    assert not answer.startswith(b"HTTP/")
    assert served.ask("/months")[0] == 200


def test_old_encryption_is_refused(farm_served: tuple[Path, Served], certificate: Made) -> None:
    old = certificate.trusted
    old.set_ciphers("ALL:@SECLEVEL=0")
    with warnings.catch_warnings(action="ignore", category=DeprecationWarning):
        old.minimum_version, old.maximum_version = ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1
    with pytest.raises((ssl.SSLError, OSError)):
        http.client.HTTPSConnection(farm_served[1].host, timeout=20, context=old).request("GET", "/")


@pytest.mark.skipif(not there(), reason=WHY_NOT)
def test_a_phone_weighs_and_sends_encrypted(farm_served: tuple[Path, Served], certificate: Made) -> None:
    folder, served = farm_served
    at = f"https://{ADDRESS}:{served.host.split(':')[1]}"
    # Trusted by the key of this very certificate: any other is refused.
    with chromium(None, f"--ignore-certificate-errors-spki-list={certificate.pin}") as phone:
        phone.open(f"{at}/join?token={served.invitation()}", width=360, until="!!document.forms[0]")
        assert phone.evaluate("isSecureContext")
        phone.evaluate("document.forms[0].requestSubmit()")
        phone.wait("location.pathname === '/phone' && document.documentElement?.dataset.drawn !== undefined")
        phone.evaluate(
            f"""record.add({{ picked_on: "{TODAY}", fresh_weight_g: "223", container: "4", batch: "B", flush: "1",
            cap_stage: "", culled_g: "", picker: "", note: "" }}).saved.then(() => true)"""
        )
        phone.wait("record.fresh().length === 0 && document.getElementById('home').textContent === 'All at home'")
        mine = phone.evaluate("record.all().map((each) => each.entry)")
        assert {each.split("/")[2] for each in phone.requests} == {at.split("/")[2]}
        assert all(each.startswith("https://") for each in phone.requests)
    assert [row["entry"] for row in pickings(folder) if row["container"] == "4"] == mine
    assert len(mine) == 1


# ---- what is given wrongly


def refused(folder: Path, *words: object) -> str:
    """What is said against these words; the farm was not served."""
    said = gillbook("open", "--no-browser", "--port", "0", "--farm", folder, *words)
    assert (said.code, said.out) == (2, ""), said
    assert "Traceback" not in said.err
    return said.err


def test_each_wrong_file_is_named_with_what_is_wrong_and_how_to_mend_it(tmp_path: Path) -> None:
    folder = small_farm(tmp_path)
    good, other = made(tmp_path, "127.0.0.1"), made(tmp_path, "127.0.0.1", name="other")
    locked = made(tmp_path, name="locked", lock=BestAvailableEncryption(b"word"))
    text = tmp_path / "text.pem"
    text.write_text("a letter\n")
    for given, *said in (
        ((good.cert, None), "--cert is given and --cert-key is not"),
        ((None, good.key), "--cert-key is given and --cert is not"),
        ((tmp_path / "away.pem", good.key), "--cert", "away.pem cannot be read: No such file"),
        ((good.cert, tmp_path / "away.key"), "--cert-key", "away.key cannot be read: No such file"),
        ((good.cert, tmp_path), "--cert-key", "cannot be read: Is a directory"),
        ((text, good.key), "text.pem holds no certificate"),
        ((good.key, good.cert), "one.key holds no certificate"),
        ((good.cert, text), "text.pem holds no key of this certificate"),
        ((good.cert, other.key), "other.key holds another certificate's key", "one.pem"),
        ((locked.cert, locked.key), "locked.key is locked with a password"),
    ):
        words = [
            word for name, each in zip(("--cert", "--cert-key"), given, strict=True) if each for word in (name, each)
        ]
        text_said = " ".join(refused(folder, *words).split())
        for each in said:
            assert each in text_said, (given, text_said)
        assert "text files (PEM)" in text_said


def test_a_file_that_the_disk_does_not_give_is_said(tmp_path: Path) -> None:
    # A file that is there and cannot be read, by nobody.
    unreadable = Path("/proc/self/mem")
    if not unreadable.exists():
        pytest.skip("needs /proc/self/mem, a file that cannot be read even by who may read all")
    assert "/proc/self/mem cannot be read" in refused(
        small_farm(tmp_path), "--cert", unreadable, "--cert-key", unreadable
    )


def test_where_browsers_will_warn_is_said_before_a_phone_finds_out(tmp_path: Path) -> None:
    for at, days, said in (("192.0.2.7", 30, "mismatch"), (ADDRESS, -1, "expired"), (ADDRESS, 30, "")):
        one = made(tmp_path, at, days=days, name=f"c{days}{said}")
        found = read_certificate(one.cert, one.key)
        assert found is not None
        trouble = found.trouble_at(ADDRESS)
        assert (said in trouble, bool(trouble)) == (True, bool(said)), trouble
    folder = tmp_path / "farm"
    folder.mkdir()
    one = made(tmp_path, "127.0.0.1", name="elsewhere")
    with serving(small_farm(folder), *PHONE, *one.words, tls=one.trusted) as served:
        assert f"browsers will warn at {ADDRESS}: IP address mismatch" in "".join(served.said)


def test_the_desk_is_opened_where_the_certificate_holds(tmp_path: Path) -> None:
    one = made(tmp_path, ADDRESS, name="localhost-alone")
    folder = tmp_path / "farm"
    folder.mkdir()
    with serving(small_farm(folder), *one.words, tls=one.trusted) as served:
        assert served.host.startswith("localhost:")
        assert served.ask("/months")[0] == 200


def test_a_host_is_said_as_browsers_say_it() -> None:
    assert host_of("https", "Farm.example", 443) == "farm.example"
    assert host_of("https", "farm.example", 80) == "farm.example:80"
    assert host_of("http", "127.0.0.1", 80) == "127.0.0.1"
    assert host_of("http", "127.0.0.1", 7469) == "127.0.0.1:7469"
