"""A session of Spark: the one place that knows its library."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Protocol, Self

from schemas.finding import OutOfReach

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
}
# On one machine a few parts are quicker than the hundreds that Spark takes for a cluster.
ON_ONE_MACHINE = {
    "spark.sql.shuffle.partitions": "2",
    "spark.driver.host": "127.0.0.1",
    "spark.driver.bindAddress": "127.0.0.1",
    "spark.driver.memory": "1g",
}
LOCAL = "local"
NO_JAVA = "--engine spark: Spark runs on Java, and there is none here. Install Java 17, or leave --engine away."
NO_SPARK = "--engine spark: Spark is not installed. Install gillbook[spark], or leave --engine away."


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

    Raises OutOfReach where Spark or Java is not there, or the master does not answer.
    """
    if reason := why_not():
        raise OutOfReach(reason)
    from pyspark.errors import PySparkException
    from pyspark.sql import SparkSession

    local = master.startswith(LOCAL)
    if local:
        os.environ.setdefault("SPARK_LOCAL_IP", "127.0.0.1")
    builder = SparkSession.builder.master(master).appName("gillbook")
    for name, value in {**SETTINGS, **(ON_ONE_MACHINE if local else {})}.items():
        builder = builder.config(name, value)
    try:
        session = builder.getOrCreate()
    except (PySparkException, RuntimeError, OSError) as problem:
        raise OutOfReach(f"--master {master}: Spark does not begin there ({problem}).") from problem
    try:
        yield session
    finally:
        session.stop()


@contextmanager
def spark_problem() -> Iterator[None]:
    """Say what Spark could not do as what is out of reach, in its own first line."""
    from py4j.protocol import Py4JError
    from pyspark.errors import PySparkException

    try:
        yield
    except (PySparkException, Py4JError) as problem:
        first = str(problem).strip().splitlines()[0]
        raise OutOfReach(f"Spark could not work it out: {first}") from problem
