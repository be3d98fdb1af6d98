"""The lowest level at which something happens, for many items at once, where more is not worse.

A disturbance that makes an extra edge at one height need not make it at a greater one. So each
item's levels are scanned from below in steps of a stated factor until it happens, and only
between the last level without and the first level with the event is the boundary halved. What
happens between two steps of the scan and at neither of them is not found.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from analog.circuits.space import Floats

Items = NDArray[np.int64]
Happens = Callable[[Items, Floats], NDArray[np.bool_]]
"""Takes item numbers (n,) and levels (n,), returns where it happens."""

AT_ONCE = 3
"""Levels of one item that are tried in one batch."""


def lowest_levels(
    happens: Happens, starts: Floats, ends: Floats, factor: float, halvings: int
) -> Floats:
    """Return the lowest level of each item at which it happens, NaN where none does.

    `starts` and `ends` (items,) bound the scan, which goes up by `factor`; each of `halvings`
    takes the root of the remaining ratio. Raises ValueError for bounds that are no range above 0.
    """
    low, high = np.asarray(starts, dtype=float), np.asarray(ends, dtype=float)
    if factor <= 1 or not (low > 0).all() or not (high >= low).all():
        raise ValueError("levels must rise from above zero by a factor above one")
    below, found = _scan(happens, low, high, factor)
    for _ in range(halvings):
        items = np.flatnonzero(~np.isnan(found) & ~np.isnan(below))
        if not items.size:
            break
        middle = np.sqrt(below[items] * found[items])
        hit = happens(items, middle)
        found[items[hit]], below[items[~hit]] = middle[hit], middle[~hit]
    return found


def _scan(happens: Happens, low: Floats, high: Floats, factor: float) -> tuple[Floats, Floats]:
    """Return the last level without and the first with the event; NaN where there is none."""
    below, found = np.full(low.shape, np.nan), np.full(low.shape, np.nan)
    following = low.copy()
    open_items = np.arange(low.size)
    while open_items.size:
        steps = factor ** np.arange(AT_ONCE)
        levels = np.minimum(following[open_items, None] * steps, high[open_items, None])
        fresh = np.diff(levels, axis=1, prepend=-np.inf) > 0
        hit = np.zeros(levels.shape, dtype=np.bool_)
        hit[fresh] = happens(np.repeat(open_items, AT_ONCE)[fresh.ravel()], levels[fresh])
        for item, own, tried in zip(open_items.tolist(), hit, levels, strict=True):
            first = int(np.argmax(own)) if own.any() else AT_ONCE
            if first:
                below[item] = tried[first - 1]
            if first < AT_ONCE:
                found[item] = tried[first]
        ended = hit.any(axis=1) | (levels[:, -1] >= high[open_items])
        following[open_items] = levels[:, -1] * factor
        open_items = open_items[~ended]
    return below, found
