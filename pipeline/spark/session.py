"""A session of Spark: the one place that knows its library."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from threading import Thread
from typing import TYPE_CHECKING, Any, Protocol, Self, TypeVar

from pipeline.spark.master import is_local, own_address
from schemas.finding import OutOfReach

if TYPE_CHECKING:
    from pyspark.sql import SparkSession

# Cells as Spark gives them: loaders say what they hold.
SparkRow = tuple[Any, ...]

SETTINGS = {
    "spark.sql.session.timeZone": "UTC",
    "spark.sql.ansi.enabled": "false",
    "spark.ui.enabled": "false",
    "spark.ui.showConsoleProgress": "false",
    "spark.log.level": "ERROR",
    # A site that is called 007 is no number.
    "spark.sql.sources.partitionColumnTypeInference.enabled": "false",
    # In so many tasks the sites' folders are listed. Spark's own way, a task a folder, took eight times as long for 300
    # sites (8 s of processor time where few tasks take 1 s).
    "spark.sql.sources.parallelPartitionDiscovery.parallelism": "16",
}
LOOPBACK = "127.0.0.1"
# Rows are shuffled in a part for each processor: hundreds, as Spark has it, take longer to share out than to work on.
PARTS = "spark.sql.shuffle.partitions"
LEAST_PARTS = 2
# So many seconds a cluster has until its first worker begins: our choice, no source.
PATIENCE_S = 120
NO_JAVA = "--engine spark: Spark runs on Java, and there is none here. Install Java 17, or leave --engine away."
NO_SPARK = "--engine spark: Spark is not installed. Install gillbook[spark], or leave --engine away."


# What Spark says of a table that lay on a worker which is gone; and how often a question is worked out in all.
LOST = "Checkpoint block"
TRIES = 3
T = TypeVar("T")


class Frame(Protocol):
    """What is used of a frame of Spark."""

    @property
    def dtypes(self) -> Sequence[tuple[str, str]]:
        """Its columns: name and type."""

    def collect(self) -> Sequence[SparkRow]:
        """Return its rows."""

    def localCheckpoint(self) -> Self:
        """Work its rows out, and keep them."""

    def createOrReplaceTempView(self, name: str) -> None:
        """Give it a name for queries."""


class Reader(Protocol):
    """What reads files."""

    def parquet(self, path: str) -> Frame:
        """Return what the Parquet files in a folder hold, with the columns that its inner folders are named by."""


class Session(Protocol):
    """What is used of a session of Spark."""

    @property
    def read(self) -> Reader:
        """What reads files."""

    def sql(self, text: str) -> Frame:
        """Return what a query gives."""


def why_not() -> str:
    """Return why there can be no session here; "" where there can."""
    if shutil.which("java") is None and not os.environ.get("JAVA_HOME"):
        return NO_JAVA
    try:
        import pyspark  # noqa: F401
        import sqlglot  # noqa: F401
    except ImportError:
        return NO_SPARK
    return ""


@contextmanager
def spark_session(master: str) -> Iterator[Session]:
    """Open a session with this master, like local[2] or spark://HOST:7077; it ends with the body.

    Raises OutOfReach where Spark or Java is not there, the master does not
    answer, or none of its workers begins.
    """
    if reason := why_not():
        raise OutOfReach(reason)
    session = _begun(master, _settings(master))
    try:
        if not is_local(master):
            _await_worker(session, master)
        session.conf.set(PARTS, str(max(LEAST_PARTS, session.sparkContext.defaultParallelism)))
        yield session
    finally:
        session.stop()


def _settings(master: str) -> dict[str, str]:
    """What is set for this master. Where it leaves the driver's address open, SPARK_LOCAL_IP and Spark's own files do
    not.
    """
    if is_local(master):
        os.environ.setdefault("SPARK_LOCAL_IP", LOOPBACK)
        return {**SETTINGS, **_at(LOOPBACK), "spark.driver.memory": "1g"}
    address = own_address(master)
    return {**SETTINGS, **(_at(address) if address and "SPARK_LOCAL_IP" not in os.environ else {})}


def _at(address: str) -> dict[str, str]:
    return {"spark.driver.host": address, "spark.driver.bindAddress": address}


def _begun(master: str, settings: dict[str, str]) -> SparkSession:
    from py4j.protocol import Py4JError
    from pyspark.errors import PySparkException
    from pyspark.sql import SparkSession

    builder = SparkSession.builder.master(master).appName("gillbook")
    for name, value in settings.items():
        builder = builder.config(name, value)
    try:
        return builder.getOrCreate()
    except (PySparkException, Py4JError, RuntimeError, OSError) as problem:
        other = "" if is_local(master) else f" Look, too, whether that is a master of Spark {_version()}."
        raise OutOfReach(
            f"--master {master}: Spark does not begin there ({_in_short(problem)}). It runs on Java 8, 11 and 17: see "
            f"java -version, and let JAVA_HOME name such a one.{other}"
        ) from problem


def _version() -> str:
    import pyspark

    return ".".join(pyspark.__version__.split(".")[:2])


def _await_worker(session: SparkSession, master: str) -> None:
    """Let a worker work out one row, so that a cluster without a free one is told of and not waited for."""
    problems: list[Exception] = []

    def work() -> None:
        try:
            session.range(1).collect()
        except Exception as problem:
            problems.append(problem)

    waiting = Thread(target=work, daemon=True)
    waiting.start()
    waiting.join(PATIENCE_S)
    if waiting.is_alive():
        session.sparkContext.cancelAllJobs()
        raise OutOfReach(
            f"--master {master}: it answers, but none of its workers began within {PATIENCE_S} s. Look there whether "
            "one is free, with 1 GB of memory, and reaches this computer at "
            f"{session.conf.get('spark.driver.host')} (SPARK_LOCAL_IP sets another address)."
        )
    if problems:
        # A place that takes the connection and is no master ends so too, some seconds after the session has begun.
        raise OutOfReach(
            f"--master {master}: Spark does not begin there ({_in_short(problems[0])}). See whether that is a master "
            f"of Spark {_version()}, and what its workers say."
        ) from problems[0]


def _in_short(problem: Exception) -> str:
    """The line of a problem that says what it is: of one in Java, its first cause's."""
    java = getattr(problem, "java_exception", None)
    lines = (str(java.toString()) if java is not None else str(problem)).strip().splitlines()
    return lines[0] if lines else type(problem).__name__


def again_when_lost(work: Callable[[], T], begin_anew: Callable[[], None]) -> T:
    """Return what the work gives. Where tables are lost with the worker that they lay on, it is begun anew."""
    from py4j.protocol import Py4JError
    from pyspark.errors import PySparkException

    for _ in range(TRIES - 1):
        try:
            return work()
        except (PySparkException, Py4JError) as problem:
            if LOST not in str(problem):
                raise
            begin_anew()
    return work()


@contextmanager
def spark_problem(folder: str) -> Iterator[None]:
    """Say what Spark could not do as what is out of reach, in one line; folder: where it reads."""
    from py4j.protocol import Py4JError
    from pyspark.errors import PySparkException

    try:
        yield
    except (PySparkException, Py4JError) as problem:
        text = str(problem)
        if "FileNotFoundException" in text or "PATH_NOT_FOUND" in text or "FILE_NOT_EXIST" in text:
            raise OutOfReach(
                f"{folder}: Spark, or one of its workers, does not find all files there. Put the export where each of "
                "them reaches it by this very path: on a shared disk, or at an address like hdfs://HOST/network."
            ) from problem
        raise OutOfReach(f"Spark could not work it out: {_in_short(problem)}") from problem
