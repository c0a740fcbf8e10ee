"""The only randomness of the demo farm: uniforms of a seeded PCG64 stream, turned into other distributions here.

numpy promises the uniform stream of a bit generator, not its normal or choice methods; with our own transforms
the same seed gives the same farm under every numpy version.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]


def dice(seed: int) -> np.random.Generator:
    """Return the stream of uniforms that belongs to this seed."""
    return np.random.Generator(np.random.PCG64(seed))


def normal(rng: np.random.Generator, *shape: int) -> Array:
    """Return standard normal draws of this shape (Box-Muller, cut at 2.5 so that no bucket is absurd)."""
    radius = np.sqrt(-2 * np.log1p(-rng.random(shape)))
    drawn: Array = np.clip(radius * np.cos(2 * np.pi * rng.random(shape)), -2.5, 2.5)
    return drawn


def words(rng: np.random.Generator, choices: Sequence[tuple[str, float]], n: int) -> Array:
    """Return n draws of the weighted words."""
    edges = np.cumsum([share for _, share in choices])
    drawn = np.minimum(np.searchsorted(edges, rng.random(n), side="right"), len(choices) - 1)
    return np.array([word for word, _ in choices])[drawn]


def whole(rng: np.random.Generator, least: int, most: int, *shape: int) -> Array:
    """Return whole numbers between these two (both included), each as likely as the others."""
    return least + np.floor(rng.random(shape) * (most - least + 1)).astype(np.int64)


def dealt(rng: np.random.Generator, group: Array) -> Array:
    """Return numbers of 0-1, dealt to each group like cards: of ten entries of a group one lies in each tenth."""
    order = np.lexsort((rng.random(len(group)), group))
    mine = group[order]
    dealt_to: Array = np.empty(len(group))
    place = np.arange(len(group)) - np.searchsorted(mine, mine) + rng.random(len(group))
    dealt_to[order] = place / np.bincount(group)[mine]
    return dealt_to
