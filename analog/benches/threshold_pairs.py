"""Which thresholds a receiver may have, as pairs (rising, falling) read off one trace.

Thresholds are data here, so that one run tells the edges of every part that may be fitted. Of
each maker's column: the typical pair, the widest pair, and the narrowest hysteresis at several
heights of the guaranteed range, which is what noise and reversals meet. A plain input switches
somewhere between V_IL and V_IH and has no hysteresis.

Rows: ``typ{k}_p``, ``typ{k}_n`` for typical and ``part{k}_p``, ``part{k}_n`` for guaranteed
pairs, in V.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analog.benches.line_receiver import Receiver
from analog.cards import Column
from analog.circuits.space import Floats

HEIGHTS = (0.0, 1 / 3, 2 / 3, 1.0)
"""Where in the range of the rising threshold the narrowest hysteresis is tried."""

Pair = tuple[Floats, Floats]


def pair_rows(receiver: Receiver, rail: Floats) -> dict[str, Floats]:
    """Return the thresholds (V) of every pair at the supplies `rail`, shape (n,)."""
    rows: dict[str, Floats] = {}
    count = 0
    for number, column in enumerate(receiver.columns):
        typical, guaranteed = _pairs(receiver, column, rail)
        rows |= _named("typ", number, typical)
        for pair in guaranteed:
            rows |= _named("part", count, pair)
            count += 1
    return rows


def pair_labels(receiver: Receiver) -> tuple[str, ...]:
    """Return the words for each guaranteed pair, in the order of the rows."""
    if receiver.schmitt:
        kinds = ("widest", *(f"narrowest at {100 * h:.0f} % of V_P's range" for h in HEIGHTS))
    else:
        kinds = tuple(f"{100 * h:.0f} % from V_IL to V_IH" for h in HEIGHTS)
    return tuple(f"{column.maker}, {kind}" for column in receiver.columns for kind in kinds)


def pairs_of(row: Mapping[str, float], kind: str) -> list[tuple[float, float]]:
    """Return the pairs (rising, falling) of one row, `kind` being ``typ`` or ``part``."""
    found: list[tuple[float, float]] = []
    while f"{kind}{len(found)}_p" in row:
        prefix = f"{kind}{len(found)}"
        found.append((row[f"{prefix}_p"], row[f"{prefix}_n"]))
    return found


def _named(kind: str, number: int, pair: Pair) -> dict[str, Floats]:
    return {f"{kind}{number}_p": pair[0], f"{kind}{number}_n": pair[1]}


def _pairs(receiver: Receiver, column: Column, rail: Floats) -> tuple[Pair, list[Pair]]:
    if receiver.schmitt:
        return _schmitt_pairs(receiver, column, rail)
    low, high = receiver.plain_ends(column, rail)
    levels = [low + share * (high - low) for share in (0.5, *HEIGHTS)]
    typical, *guaranteed = [(level, level) for level in levels]
    return typical, guaranteed


def _schmitt_pairs(receiver: Receiver, column: Column, rail: Floats) -> tuple[Pair, list[Pair]]:
    lines = receiver.thresholds(column)
    low, typical, high = lines.rising_bounds(rail)
    widest = (high, lines.falling_bounds(rail, high)[0])
    narrow = []
    for share in HEIGHTS:
        v_p = np.asarray(low + share * (high - low))
        narrow.append((v_p, np.minimum(lines.falling_bounds(rail, v_p)[2], v_p)))
    return (typical, lines.falling_bounds(rail, typical)[1]), [widest, *narrow]
