"""Which masters of Spark may be named, and what is said of one that does not answer. No Java is needed for this."""

from __future__ import annotations

import socket
from contextlib import closing

import pytest

from pipeline.spark.master import check_master, is_local, own_address
from schemas.finding import OutOfReach, WrongRequest


@pytest.mark.parametrize(
    ("master", "local"),
    [
        ("local", True),
        ("local[2]", True),
        ("local[*]", True),
        ("local[2,3]", True),
        ("spark://host:7077", False),
        ("spark://first:7077,second:7077", False),
        ("spark://[::1]:7077", False),
        ("yarn", False),
        ("k8s://https://host:443", False),
    ],
)
def test_a_master_may_be(master: str, local: bool) -> None:
    check_master(master)
    assert is_local(master) == local


@pytest.mark.parametrize("master", ["", "7077", "spark://host", "spark://host:7077/", "localhost:7077", "local[two]"])
def test_what_names_no_master_is_refused_with_what_does(master: str) -> None:
    with pytest.raises(WrongRequest, match="names no master of Spark"):
        check_master(master)


def test_this_computer_is_found_where_it_reached_the_master() -> None:
    with closing(socket.create_server(("127.0.0.1", 0))) as server, closing(socket.create_server(("", 0))) as gone:
        port, free = server.getsockname()[1], gone.getsockname()[1]
        gone.close()
        assert own_address(f"spark://127.0.0.1:{port}") == "127.0.0.1"
        assert own_address(f"spark://127.0.0.1:{free},localhost:{port}") == "127.0.0.1"
    assert own_address("yarn") == ""


def test_a_master_that_takes_no_connection_is_named_with_the_reason() -> None:
    with closing(socket.create_server(("127.0.0.1", 0))) as gone:
        master = f"spark://127.0.0.1:{gone.getsockname()[1]}"
    with pytest.raises(OutOfReach) as said:
        own_address(master)
    assert str(said.value) == (
        f"--master {master}: no master answers there (Connection refused). Start it, mend its host or port, or leave "
        "--master away: then Spark works on this computer."
    )
    with pytest.raises(OutOfReach, match="no master answers there"):
        own_address("spark://127.0.0.1:99999")
