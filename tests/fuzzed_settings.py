"""How many cases the fuzz tests look at, and which: told by the environment.

GILLBOOK_FUZZ: cases of all fuzz tests together (`make fuzz`: 10,000). GILLBOOK_FUZZ_SEED: the number that the cases are
drawn from; without it they are the same in every run.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from typing import Any

from hypothesis import HealthCheck, Phase, given, seed, settings

CASES = int(os.environ.get("GILLBOOK_FUZZ", "250"))
SEED = os.environ.get("GILLBOOK_FUZZ_SEED")

Test = Callable[..., None]


def fuzzed(share: float, shrink: bool = True, **strategies: Any) -> Callable[[Test], Test]:
    """Runs a test on this share of all cases. What fails is printed with the words that repeat it. `shrink`: a smaller
    case that fails is looked for, which takes many times as long.
    """

    def made(test: Test) -> Test:
        bounds = settings(
            max_examples=math.ceil(share * CASES),
            deadline=None,
            database=None,
            derandomize=SEED is None,
            print_blob=True,
            phases=(Phase.generate, Phase.shrink) if shrink else (Phase.generate,),
            suppress_health_check=list(HealthCheck),
        )
        found = bounds(given(**strategies)(test))
        return seed(int(SEED))(found) if SEED is not None else found

    return made
