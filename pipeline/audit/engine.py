"""The engine: Great Expectations, and how it is kept quiet, offline and without a trace. The only module that knows it.

Checked against 1.24: an ephemeral context and a pandas frame reach no network, write no file and start no database.
"""

from __future__ import annotations

import logging
import os
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from pipeline.audit.expected import Expected, Tested

if TYPE_CHECKING:
    import pandas as pd  # type: ignore[import-untyped]
    from great_expectations.core.expectation_suite import ExpectationSuite
    from great_expectations.core.expectation_validation_result import ExpectationValidationResult
    from great_expectations.data_context.data_context.abstract_data_context import AbstractDataContext

LIBRARY = "great_expectations"


@contextmanager
def _quiet() -> Iterator[None]:
    """Keeps the library's warnings and log messages from the grower's screen: they are about the library itself.

    One that matters is its import of a module that Python has deprecated (sre_constants), in 1.24.
    """
    log = logging.getLogger(LIBRARY)
    level = log.level
    log.setLevel(logging.CRITICAL + 1)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        log.setLevel(level)


def _context() -> AbstractDataContext:
    """A context in memory alone, without the library's statistics, progress bars and pages."""
    # Set before the import, which is when the library may read them.
    os.environ["GX_ANALYTICS_ENABLED"] = "False"
    import great_expectations
    from great_expectations.data_context.types.base import (
        DataContextConfig,
        InMemoryStoreBackendDefaults,
        ProgressBarsConfig,
    )

    config = DataContextConfig(
        store_backend_defaults=InMemoryStoreBackendDefaults(init_temp_docs_sites=False),
        analytics_enabled=False,
        progress_bars=ProgressBarsConfig(globally=False, metric_calculations=False),
    )
    return great_expectations.get_context(mode="ephemeral", project_config=config)


def load_engine() -> None:
    """Import the engine, which takes most of an audit's time."""
    with _quiet():
        _context()


def verdicts(frame: pd.DataFrame, expected: Sequence[Expected]) -> list[Tested]:
    """Return which of these expectations the frame (pandas, one row per row of its table) meets. One verdict for each.

    Raises RuntimeError where the engine could not run one: that is a mistake of gillbook's, never of the data.
    """
    if not expected:
        return []
    with _quiet():
        context = _context()
        asset = context.data_sources.add_pandas("ledger").add_dataframe_asset("table")
        batch = asset.add_batch_definition_whole_dataframe("rows").get_batch({"dataframe": frame})
        # Every faulty row is asked for, not the library's usual twenty.
        wanted = {"result_format": "SUMMARY", "partial_unexpected_count": max(1, len(frame))}
        whole = batch.validate(_suite(expected), result_format=wanted)
        found = {each.expectation_config.meta["at"]: each for each in whole.results if each.expectation_config}
        return [_verdict(found[at], len(frame), each) for at, each in enumerate(expected)]


def _suite(expected: Sequence[Expected]) -> ExpectationSuite:
    import great_expectations
    import great_expectations.expectations as known

    severities = {"error": "critical", "warning": "warning"}
    suite = great_expectations.ExpectationSuite(name="expected")
    for at, each in enumerate(expected):
        # The library returns the results in an order of its own: `meta` tells which is which.
        suite.add_expectation(
            getattr(known, each.test)(**each.arguments, severity=severities[each.severity], meta={"at": at})
        )
    return suite


def _verdict(answer: ExpectationValidationResult, rows: int, expected: Expected) -> Tested:
    if _raised(answer.exception_info):
        raise RuntimeError(f"the audit could not test {expected.table}, {expected.column}, {expected.rule}: {answer}")
    result = answer.result
    observed = result.get("observed_value")
    looked_at = int(result.get("element_count", rows)) - int(result.get("missing_count", 0) or 0)
    return Tested(
        held=bool(answer.success),
        looked_at=looked_at,
        faulty=tuple(sorted(int(at) for at in result.get("partial_unexpected_index_list") or ())),
        observed=None if observed is None else float(observed),
    )


def _raised(info: object) -> bool:
    """Whether any of the metrics behind a result failed. The library nests what it tells of them."""
    if not isinstance(info, dict):
        return False
    return bool(info.get("raised_exception")) or any(_raised(part) for part in info.values())
