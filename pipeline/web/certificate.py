"""The certificate that `open` is given: read before anything listens, and at which names it holds."""

from __future__ import annotations

import ssl
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from schemas.finding import WrongRequest

HOW = (
    "Both are text files (PEM) from whoever made the certificate: --cert the certificate, below it those that signed "
    "it; --cert-key its key, without a password. Or leave both out, in a network of your own."
)
# More than the messages of a handshake (RFC 8446, RFC 5246).
TURNS = 8


@dataclass(frozen=True)
class Certificate:
    """The files of a certificate and of its key, which fit each other; `server` speaks by them."""

    cert: Path
    key: Path
    server: ssl.SSLContext

    def trouble_at(self, name: str) -> str:
        """Return what a browser will have against it at this name or address, whoever signed it; "" for nothing."""
        client = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        client.load_verify_locations(self.cert)
        client.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN
        there, back = ssl.MemoryBIO(), ssl.MemoryBIO()
        asks = client.wrap_bio(back, there, server_hostname=name)
        answers = self.server.wrap_bio(there, back, server_side=True)
        try:
            for side in (asks, answers) * TURNS:
                _on(side)
        except ssl.SSLCertVerificationError as problem:
            return problem.verify_message.rstrip(".")
        except ssl.SSLError as problem:
            return (problem.reason or str(problem)).lower().replace("_", " ")
        return ""


def _on(side: ssl.SSLObject) -> None:
    """Go on with a handshake, as far as the other side has spoken."""
    try:
        side.do_handshake()
    except ssl.SSLWantReadError:
        return


def read_certificate(cert: Path | None, key: Path | None) -> Certificate | None:
    """Return the certificate of these files; None where none is given. Raises WrongRequest where they are of no use."""
    if cert is None or key is None:
        if cert is key:
            return None
        given, other = ("--cert", "--cert-key") if key is None else ("--cert-key", "--cert")
        raise WrongRequest(f"{given} is given and {other} is not: they go together. {HOW}")
    _can_be_read("--cert", cert)
    _can_be_read("--cert-key", key)
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    try:
        server.load_verify_locations(cert)
    except ssl.SSLError as problem:
        raise WrongRequest(f"--cert {cert} holds no certificate. {HOW}") from problem
    try:
        server.load_cert_chain(cert, key, _locked(key))
    except ssl.SSLError as problem:
        why = "another certificate's key" if problem.reason == "KEY_VALUES_MISMATCH" else "no key of this certificate"
        raise WrongRequest(f"--cert-key {key} holds {why} ({cert}). {HOW}") from problem
    return Certificate(cert, key, server)


def _can_be_read(option: str, path: Path) -> None:
    try:
        with open(path, "rb") as file:
            file.read(1)
    except OSError as problem:
        raise WrongRequest(f"{option} {path} cannot be read: {problem.strerror}. {HOW}") from problem


def _locked(key: Path) -> Callable[[], str]:
    def refuse() -> str:
        raise WrongRequest(f"--cert-key {key} is locked with a password, which gillbook does not ask for. {HOW}")

    return refuse
