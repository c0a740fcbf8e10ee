"""Who shares out Spark's work: which masters may be named, whether one answers, and at which address its workers find
this computer.
"""

from __future__ import annotations

import re
import socket

from schemas.finding import OutOfReach, WrongRequest

LOCAL = re.compile(r"local(\[(\d+|\*)(,\d+)?\])?")
STANDALONE = re.compile(r"spark://([^\s/,:]+|\[[0-9a-fA-F:.]+\]):(\d{1,5})(,([^\s/,:]+|\[[0-9a-fA-F:.]+\]):\d{1,5})*")
# Of other kinds of clusters Spark's own files say where they are: nothing can be looked at beforehand.
ELSEWHERE = re.compile(r"yarn|k8s://\S+")
# So many seconds a master has to take a connection: our choice, no source.
PATIENCE_S = 10


def is_local(master: str) -> bool:
    """Whether Spark is to work on this computer alone."""
    return LOCAL.fullmatch(master) is not None


def check_master(master: str) -> None:
    """Raise WrongRequest for what names no master."""
    if not any(kind.fullmatch(master) for kind in (LOCAL, STANDALONE, ELSEWHERE)):
        raise WrongRequest(
            f"--master {master}: names no master of Spark. Write local[2] for two processors of this computer, "
            "spark://HOST:7077 for a cluster, yarn or k8s://HOST:PORT."
        )


def own_address(master: str) -> str:
    """Return the address by which this computer reaches a master of the form spark://HOST:PORT, of several the first
    that answers: its workers are most likely to find us there. "" for other kinds.

    Raises OutOfReach where none takes a connection.
    """
    if not STANDALONE.fullmatch(master):
        return ""
    why = ""
    for place in master.removeprefix("spark://").split(","):
        host, _, port = place.rpartition(":")
        try:
            with socket.create_connection((host.strip("[]"), int(port)), PATIENCE_S) as connection:
                address = str(connection.getsockname()[0])
                return f"[{address}]" if ":" in address else address
        except (OSError, OverflowError) as problem:
            why = getattr(problem, "strerror", None) or str(problem) or "no answer"
    raise OutOfReach(
        f"--master {master}: no master answers there ({why}). Start it, mend its host or port, or leave --master away: "
        "then Spark works on this computer."
    )
