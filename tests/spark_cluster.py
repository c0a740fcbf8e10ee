"""A cluster of Spark on this machine: a master and its workers, each a process of its own, on the loopback address."""

from __future__ import annotations

import os
import re
import subprocess
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from importlib.util import find_spec
from pathlib import Path

DEPLOY = "org.apache.spark.deploy"
STARTED = re.compile(r"Starting Spark master at (spark://127\.0\.0\.1:\d+)")
REGISTERED = re.compile(r"Successfully registered with master")
PLACE = ("--host", "127.0.0.1", "--port", "0", "--webui-port", "0")
# So many seconds a process of the cluster has to begin: a busy machine takes long.
PATIENCE_S = 180


@contextmanager
def running(folder: Path, name: str, words: Sequence[str]) -> Iterator[Path]:
    """Runs a class of Spark's while the body runs; gives the file that it writes its log to."""
    spec = find_spec("pyspark")
    assert spec is not None
    assert spec.origin is not None
    home, log = Path(spec.origin).parent, folder / f"{name}.log"
    # No Python on the workers: whatever asks for one there fails. A busy machine's master does not give a worker up.
    env = {
        **os.environ,
        "SPARK_HOME": str(home),
        "SPARK_LOCAL_IP": "127.0.0.1",
        "PYSPARK_PYTHON": "/there/is/none",
        "SPARK_MASTER_OPTS": "-Dspark.worker.timeout=900",
    }
    with log.open("w") as out:
        command = ["bash", str(home / "bin" / "spark-class"), *words]
        process = subprocess.Popen(command, stdout=out, stderr=subprocess.STDOUT, env=env, cwd=folder)
    try:
        yield log
    finally:
        process.terminate()
        try:
            process.wait(30)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def said(log: Path, what: re.Pattern[str]) -> re.Match[str]:
    """What a process writes into its log sooner or later. Fails where it does not."""
    ends = time.monotonic() + PATIENCE_S
    while time.monotonic() < ends:
        if found := what.search(log.read_text()):
            return found
        time.sleep(0.2)
    raise AssertionError(f"{what.pattern!r} is not in:\n{log.read_text()}")


@contextmanager
def cluster(folder: Path, workers: int) -> Iterator[str]:
    """Runs a master with so many workers while the body runs; gives the master's address."""
    with ExitStack() as stack:
        log = stack.enter_context(running(folder, "master", [f"{DEPLOY}.master.Master", *PLACE]))
        master = said(log, STARTED).group(1)
        for number in range(workers):
            stack.enter_context(worker(folder, f"worker{number}", master))
        yield master


@contextmanager
def worker(folder: Path, name: str, master: str) -> Iterator[None]:
    """Runs a worker of one processor while the body runs."""
    size = ["--cores", "1", "--memory", "1g", "--work-dir", str(folder / f"{name}.work")]
    with running(folder, name, [f"{DEPLOY}.worker.Worker", *PLACE, *size, master]) as log:
        said(log, REGISTERED)
        yield
