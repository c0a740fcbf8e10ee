"""What variables of a process differ after other farms: run by tests/test_many_workers, as a process of its own.

It reads two lists of requests as JSON, and prints what is another after the second than after the first.
"""

from __future__ import annotations

import csv
import decimal
import gc
import importlib
import json
import locale
import os
import pkgutil
import sys
import threading
import types
import warnings
from collections.abc import Sequence

import numpy as np

import pipeline
import reports
import schemas
from pipeline.cli.farm_child import answer_of_many, forget

NOT_IMPORTED = ("pipeline.spark", "pipeline.web", "pipeline.files.workbook_child")


def house() -> None:
    """Imports all modules, so that one which a farm needs first is no difference."""
    for package in (pipeline, reports, schemas):
        for each in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if not each.name.startswith(NOT_IMPORTED):
                importlib.import_module(each.name)


def shape(value: object) -> str:
    return repr(vars(value)) if hasattr(value, "__dict__") else repr(value)


def open_files() -> str:
    """What is open; not what a library waits for its own threads with, which has no name."""
    folder = "/proc/self/fd"
    found = [os.path.realpath(f"{folder}/{each}") for each in os.listdir(folder)]
    return repr(sorted(each for each in found if "anon_inode:" not in each))


def rules_of(context: decimal.Context) -> dict[str, object]:
    """What sums in decimals follow; not its flags, which tell what sums met: a refresh with prices, and nobody asks."""
    return {"precision": context.prec, "rounding": context.rounding, "traps": repr(context.traps)}


def state() -> dict[str, str]:
    """Every variable of our modules, and what a process has one of."""
    found = {
        f"{name}.{key}": shape(value)
        for name, module in sorted(sys.modules.items())
        if name.partition(".")[0] in ("pipeline", "reports", "schemas")
        for key, value in vars(module).items()
        if not isinstance(value, type | types.ModuleType | types.FunctionType)
        and not hasattr(value, "cache_info")
        and not key.startswith("__")
    }
    mask = os.umask(0o022)
    os.umask(mask)
    return found | {
        "environment": repr(sorted(os.environ.items())),
        "folder": os.getcwd(),
        "cells": repr(csv.field_size_limit()),
        "decimal": repr(rules_of(decimal.getcontext())),
        "numpy": repr(np.geterr()),
        "warnings": repr(warnings.filters),
        "locale": repr(locale.setlocale(locale.LC_ALL)),
        "threads": repr([each.name for each in threading.enumerate()]),
        "path": repr(sys.path),
        "gc": repr(gc.get_threshold()),
        "mask": repr(mask),
        "streams": repr((sys.stdin, sys.stdout, sys.stderr, sys.unraisablehook)),
        "files": open_files() if os.path.isdir("/proc/self/fd") else "",
    }


def after(requests: Sequence[Sequence[str]]) -> dict[str, str]:
    for words in requests:
        sys.argv = ["gillbook", *words]
        answer_of_many()
        forget()
    return state()


def main() -> None:
    house()
    first, others = json.load(sys.stdin)
    # What libraries keep once they have begun is there by then; what a farm leaves beside it is looked for.
    before = after(first)
    now = after(others)
    differ = {key for key in {*before, *now} if before.get(key) != now.get(key)}
    print(json.dumps({key: [before.get(key), now.get(key)] for key in differ}))


if __name__ == "__main__":
    main()
