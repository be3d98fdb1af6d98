"""Counts the edges that a disturbance adds or takes away; called in the engine's workers.

An undisturbed run of the same row tells how many rising edges a mains cycle has and where in it
the first one lies. Every edge of a disturbed run belongs to the nearest of these places: a place
with two edges has one too many, a place without an edge misses one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analog.benches.threshold_pairs import pairs_of
from analog.engine import Run
from analog.measures import Crossed, schmitt_edges_of

Floats = NDArray[np.float64]

COUNTS = (
    "extra_typical",
    "missing_typical",
    "extra",
    "missing",
    "t_extra",
    "t_missing",
    "part_extra",
    "part_missing",
    "t_extra_typical",
    "edges_per_cycle",
    "edge_phase",
)
"""``extra`` and ``missing`` are the most of any guaranteed part, ``part_…`` which one it is,
``t_…`` (s) when it first happens; ``edges_per_cycle`` and ``edge_phase`` (share of the cycle)
are what an undisturbed run shows of the first typical part."""


class Strays(NamedTuple):
    """Edges too many and too few, and when the first of each is (s; NaN for none)."""

    extra: int
    missing: int
    t_extra: float
    t_missing: float


def counts(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the edges of every pair from ``t_from`` to ``t_to`` against what the row expects."""
    typical, parts = pairs_of(row, "typ"), pairs_of(row, "part")
    levels = {level for pair in (*typical, *parts) for level in pair}
    crossed = Crossed(run.time, run.trace("v(pin)"), levels)
    usual = [strays(_rising(crossed, pair, row), row) for pair in typical]
    worst = [strays(_rising(crossed, pair, row), row) for pair in parts]
    most_extra = max(range(len(worst)), key=lambda k: worst[k].extra)
    most_missing = max(range(len(worst)), key=lambda k: worst[k].missing)
    per_cycle, phase = _rhythm(_rising(crossed, typical[0], row), row)
    return {
        "extra_typical": float(max(one.extra for one in usual)),
        "missing_typical": float(max(one.missing for one in usual)),
        "extra": float(worst[most_extra].extra),
        "missing": float(worst[most_missing].missing),
        "t_extra": worst[most_extra].t_extra,
        "t_missing": worst[most_missing].t_missing,
        "part_extra": float(most_extra),
        "part_missing": float(most_missing),
        "t_extra_typical": max(usual, key=lambda one: one.extra).t_extra,
        "edges_per_cycle": per_cycle,
        "edge_phase": phase,
    }


def cycles(time_s: Floats, row: Mapping[str, float]) -> Floats:
    """Return how many mains cycles have passed at each time.

    The frequency is ``f_mains``, to which ``f_change`` (Hz) is added linearly over ``t_change``
    (s) from ``t_changes`` (s) on; without these keys it stays.
    """
    time = np.asarray(time_s, dtype=np.float64)
    passed = row["f_mains"] * time
    if "f_change" in row:
        since = np.maximum(time - row["t_changes"], 0.0)
        ramp = np.minimum(since, row["t_change"])
        passed = passed + row["f_change"] * (0.5 * ramp**2 / row["t_change"] + since - ramp)
    return np.asarray(passed)


def strays(rising_s: Sequence[float], row: Mapping[str, float]) -> Strays:
    """Return the edges that do not stand alone at their place.

    ``wanted`` is the number of edges in a mains cycle, ``phase`` the place of the first one; the
    places judged are those from ``t_from`` to ``t_to``. Raises ValueError when there is none.
    """
    wanted, phase = row["wanted"], row["phase"]
    ends = wanted * (cycles(np.array([row["t_from"], row["t_to"]]), row) - phase)
    first, last = math.ceil(ends[0]), math.floor(ends[1])
    if last < first:
        raise ValueError("the judged span holds no place of an edge: it is shorter than a cycle")
    edges = np.array(rising_s, dtype=np.float64)
    places = np.rint(wanted * (cycles(edges, row) - phase)).astype(np.int64)
    inside = (places >= first) & (places <= last)
    held = np.bincount(places[inside] - first, minlength=last - first + 1)
    extra, missing = int(np.maximum(held - 1, 0).sum()), int((held == 0).sum())
    return Strays(extra, missing, _first_extra(edges, places, inside), _lost(held, first, row))


def _first_extra(edges: Floats, places: NDArray[np.int64], inside: NDArray[np.bool_]) -> float:
    """Return when the first place gets an edge that comes farther from it than another."""
    own, where = edges[inside], places[inside]
    doubled = np.flatnonzero(where[1:] == where[:-1])
    return float(own[doubled[0] + 1]) if doubled.size else math.nan


def _lost(held: NDArray[np.int64], first: int, row: Mapping[str, float]) -> float:
    """Return about when the first missing edge was due, by the unchanged frequency."""
    empty = np.flatnonzero(held == 0)
    if not empty.size:
        return math.nan
    return float(((first + int(empty[0])) / row["wanted"] + row["phase"]) / row["f_mains"])


def _rising(crossed: Crossed, pair: tuple[float, float], row: Mapping[str, float]) -> list[float]:
    """Return the rising edges (s), with those half a place before and behind the judged span."""
    more = 0.6 / (row["wanted"] * row["f_mains"])
    rising = schmitt_edges_of(crossed, *pair).rising.tolist()
    return [moment for moment in rising if row["t_from"] - more <= moment <= row["t_to"] + more]


def _rhythm(rising_s: Sequence[float], row: Mapping[str, float]) -> tuple[float, float]:
    """Return edges per cycle, a whole number, and the first one's share of the cycle; NaN for
    none."""
    inside = [t for t in rising_s if row["t_from"] <= t < row["t_to"]]
    length = (row["t_to"] - row["t_from"]) * row["f_mains"]
    per_cycle = float(round(len(inside) / length))
    if not inside or not per_cycle:
        return math.nan, math.nan
    return per_cycle, math.fmod(inside[0] * row["f_mains"], 1 / per_cycle)
