"""What a two-threshold input makes of a trace, and how far the trace turns back on its way."""

from __future__ import annotations

from operator import itemgetter
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analog.measures.edges import Crossed

Floats = NDArray[np.float64]


class SchmittEdges(NamedTuple):
    """Times (s), ascending, at which a two-threshold input changes to high and to low."""

    rising: Floats
    falling: Floats


def schmitt_edges(time: Floats, trace: Floats, v_p: float, v_n: float) -> SchmittEdges:
    """Return when an input with thresholds `v_p` (rising) and `v_n` (falling) changes state.

    The state goes high when the trace reaches `v_p` and low when it falls below `v_n`. A trace
    that starts between the two has no known state: the first threshold it reaches sets the
    state and is not counted as an edge. Raises ValueError unless v_p >= v_n.
    """
    return schmitt_edges_of(Crossed(time, trace, (v_p, v_n)), v_p, v_n)


def schmitt_edges_of(
    crossed: Crossed, v_p: float, v_n: float, smooth: bool = False
) -> SchmittEdges:
    """Return the same of a trace whose crossings of both levels are known."""
    if v_p < v_n:
        raise ValueError(f"rising threshold {v_p} lies below falling threshold {v_n}")
    edges: tuple[list[float], list[float]] = ([], [])
    start = crossed.trace[0]
    state = 1 if start >= v_p else 0 if start < v_n else None
    for moment, side in _threshold_events(crossed, v_p, v_n, smooth):
        if state is not None and side != state:
            edges[side].append(moment)
        state = side
    falling, rising = edges
    return SchmittEdges(np.array(rising, dtype=np.float64), np.array(falling, dtype=np.float64))


def largest_reversal(trace: Floats, low: float, high: float) -> float:
    """Return how far the trace turns back while it is between `low` and `high`, in its unit.

    A reversal is a local maximum to the following minimum on the way up, or a local minimum to
    the following maximum on the way down; the parts outside low..high are cut off. A monotone
    passage gives 0. A crest that ends inside the band counts with its whole way back to `low`,
    and a trough inside it with the way back to `high`: an input whose thresholds lie just
    there sees them as edges.
    """
    inside = (trace > low) & (trace < high)
    steps = np.diff(inside.astype(np.int8), prepend=0, append=0)
    starts, stops = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
    clipped = np.clip(trace, low, high)
    turns = [
        _reversal_of_passage(clipped, int(start), int(stop), low, high)
        for start, stop in zip(starts, stops, strict=True)
    ]
    return max(turns, default=0.0)


def _threshold_events(
    crossed: Crossed, v_p: float, v_n: float, smooth: bool
) -> list[tuple[float, int]]:
    """Return the times of reaching either threshold, in order, and the state each one sets."""
    events = [(moment, 1) for moment in crossed.moments(v_p, True, smooth)]
    events += [(moment, 0) for moment in crossed.moments(v_n, False, smooth)]
    events.sort(key=itemgetter(0))
    return events


def _reversal_of_passage(clipped: Floats, start: int, stop: int, low: float, high: float) -> float:
    """Return the largest turn back in clipped[start:stop], all of it strictly inside the band.

    The passage goes up when it came from below or leaves above; one that neither comes nor
    leaves within the record may be either, so both turns count.
    """
    passage = clipped[max(start - 1, 0) : stop + 1]
    came_from, leaves_to = passage[0], passage[-1]
    fall_back = float(np.max(np.maximum.accumulate(passage) - passage))
    rise_back = float(np.max(passage - np.minimum.accumulate(passage)))
    if came_from <= low or (came_from < high and leaves_to >= high):
        return fall_back
    if came_from >= high or leaves_to <= low:
        return rise_back
    return max(fall_back, rise_back)
