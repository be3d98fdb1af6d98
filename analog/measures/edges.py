"""When a trace crosses a level, how long an edge takes, how steep it is."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def crossings(
    time: Floats,
    trace: Floats,
    level: float,
    rising: bool | None = None,
    smooth: bool = False,
) -> Floats:
    """Return the times (s), ascending, at which `trace` crosses `level`.

    `rising` True keeps the upward crossings, False the downward ones, None both. A trace that
    touches the level counts as being above it, so that a flat stretch on the level is crossed
    once and not many times. Between samples the trace is a straight line; with `smooth`, for
    traces without jumps, a cubic through the two samples before and the two behind.
    """
    segments = _crossing_segments(trace, level, rising)
    before, after = trace[segments], trace[segments + 1]
    share = (level - before) / (after - before)
    if smooth:
        share = np.array([_cubic_share(time, trace, level, int(k)) for k in segments])
    start, stop = time[segments], time[segments + 1]
    return np.asarray(start + share * (stop - start), dtype=np.float64)


def first_crossing(
    time: Floats,
    trace: Floats,
    level: float,
    rising: bool | None = True,
    after: float = -math.inf,
    smooth: bool = False,
) -> float:
    """Return the first crossing time (s) not before `after`; NaN when there is none."""
    found = crossings(time, trace, level, rising, smooth)
    found = found[found >= after]
    return float(found[0]) if found.size else math.nan


def edge_time(
    time: Floats,
    trace: Floats,
    low: float,
    high: float,
    rising: bool = True,
    after: float = -math.inf,
    smooth: bool = False,
) -> float:
    """Return how long (s) the first complete edge between `low` and `high` takes; NaN for none.

    A rising edge runs from the last upward crossing of `low` to the next upward crossing of
    `high` (a falling one the other way round), so that a trace which turns back half-way and
    tries again is timed on the attempt that succeeds. `after` (s) bounds the start of the edge;
    `smooth` is that of `crossings`.
    """
    first, last = (low, high) if rising else (high, low)
    starts = crossings(time, trace, first, rising, smooth)
    starts = starts[starts >= after]
    ends = crossings(time, trace, last, rising, smooth)
    if not starts.size:
        return math.nan
    ends = ends[ends >= starts[0]]
    if not ends.size:
        return math.nan
    return float(ends[0] - starts[starts <= ends[0]][-1])


def slope_at(
    time: Floats,
    trace: Floats,
    level: float,
    rising: bool | None = True,
    after: float = -math.inf,
) -> float:
    """Return d(trace)/dt (per second, signed) at the first crossing not before `after`, or NaN.

    The derivative is that of the parabolas through three neighbouring samples, interpolated to
    the crossing: exact for a parabola, where the slope of the one segment would be half a step
    off.
    """
    segments = _crossing_segments(trace, level, rising)
    times = crossings(time, trace, level, rising)
    late = np.flatnonzero(times >= after)
    if not late.size:
        return math.nan
    segment, moment = int(segments[late[0]]), float(times[late[0]])
    low, high = max(segment - 1, 0), min(segment + 3, len(time))
    derivative = np.gradient(trace[low:high], time[low:high])
    return float(np.interp(moment, time[low:high], derivative))


def _crossing_segments(trace: Floats, level: float, rising: bool | None) -> NDArray[np.intp]:
    above = (np.asarray(trace) >= level).astype(np.int8)
    change = np.diff(above)
    if rising is None:
        return np.flatnonzero(change)
    return np.flatnonzero(change == (1 if rising else -1))


def _cubic_share(time: Floats, trace: Floats, level: float, segment: int) -> float:
    """Return where in the segment (0..1) the cubic through its neighbourhood meets `level`.

    The cubic (Newton's divided differences) passes through the segment's ends, so that there
    always is such a place; found by halving, which a wiggly cubic cannot lead astray.
    """
    low, high = max(segment - 1, 0), min(segment + 3, len(time))
    span = time[segment + 1] - time[segment]
    places = [float(moment) for moment in (time[low:high] - time[segment]) / span]
    differences = [float(value) - level for value in trace[low:high]]
    falls = differences[segment - low] >= 0
    for order in range(1, len(places)):
        for k in range(len(places) - 1, order - 1, -1):
            step = places[k] - places[k - order]
            differences[k] = (differences[k] - differences[k - 1]) / step
    left, right = 0.0, 1.0
    for _ in range(32):
        middle = (left + right) / 2
        height = differences[-1]
        for place, difference in zip(places[-2::-1], differences[-2::-1], strict=True):
            height = height * (middle - place) + difference
        if (height >= 0) == falls:
            left = middle
        else:
            right = middle
    return (left + right) / 2
