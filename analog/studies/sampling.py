"""Random numbers that depend on what they are for and on nothing else.

A board's coordinate is a function of (seed, name of the coordinate, index of the board): the same
whatever the order, the number of processes, a restart, or which benches are swept with it.
"""

from __future__ import annotations

import hashlib
import inspect
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np

from analog.circuits.space import Floats

_PER_COUNTER = 4
"""Numbers that one step of the counter yields."""


def independent(seed: int, names: Sequence[str], start: int, count: int) -> Floats:
    """Return independent uniform numbers in (0, 1), shape (count, len(names)).

    Row k belongs to board `start` + k. Philox counts in steps of four numbers, so that any board
    is reached without drawing those before it.
    """
    columns = [_stream(seed, name, start, count) for name in names]
    return np.column_stack(columns) if columns else np.empty((count, 0))


def replicate(seed: int, number: int, names: Sequence[str], count: int) -> Floats:
    """Return scrambled Sobol' points in (0, 1), shape (count, len(names)).

    `count` is a power of two. Replicates of different `number` are scrambled independently, so
    that the scatter of their means measures the error of the mean (Owen's scrambling).
    """
    if count < 1 or count & (count - 1):
        raise ValueError(f"{count} points is no power of two, which the Sobol' sequence needs")
    if not names:
        return np.empty((count, 0))
    from scipy.stats import qmc

    generator = np.random.default_rng(np.random.SeedSequence([seed, number, _key("replicate")]))
    engine = qmc.Sobol(len(names), scramble=True, **{_sobol_word(): generator})
    points: Floats = engine.random(count)
    # Scrambled points are multiples of 2^-30 and may be 0, which a normal quantile cannot take.
    return np.clip(points, 2.0**-32, 1 - 2.0**-32)


def _stream(seed: int, name: str, start: int, count: int) -> Floats:
    bits = np.random.Philox(key=np.array([seed, _key(name)], dtype=np.uint64))
    bits.advance(start // _PER_COUNTER)
    skip = start % _PER_COUNTER
    numbers = np.random.Generator(bits).random(skip + count)[skip:]
    return np.maximum(numbers, 2.0**-54)  # 0 itself has no place in (0, 1)


def _key(name: str) -> int:
    return int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "little")


@lru_cache(maxsize=1)
def _sobol_word() -> str:
    """Return what this scipy calls the source of the scrambling."""
    from scipy.stats import qmc

    parameters: Any = inspect.signature(qmc.Sobol).parameters
    return "rng" if "rng" in parameters else "seed"
