"""What a two-threshold input makes of a trace, and how far the trace turns back on its way."""

from __future__ import annotations

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
    start = crossed.trace[0]
    state = 1 if start >= v_p else 0 if start < v_n else None
    edges: tuple[list[float], list[float]] = ([], [])
    # A segment goes up or down, so that the order of segments is the order of moments.
    events = [(segment, 1) for segment in crossed.segments(v_p, True)]
    events += [(segment, 0) for segment in crossed.segments(v_n, False)]
    for segment, side in sorted(events):
        if state is not None and side != state:
            edges[side].append(crossed.moment(v_p if side else v_n, segment, smooth))
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
    places = ((trace > low) & (trace < high)).nonzero()[0]
    if not places.size:
        return 0.0
    gaps = (places[1:] - places[:-1] > 1).nonzero()[0].tolist()
    firsts, lasts = [0, *(gap + 1 for gap in gaps)], [*gaps, places.size - 1]
    return max(
        _reversal_of_passage(trace, places.item(first), places.item(last) + 1, low, high)
        for first, last in zip(firsts, lasts, strict=True)
    )


def _reversal_of_passage(trace: Floats, start: int, stop: int, low: float, high: float) -> float:
    """Return the largest turn back in trace[start:stop], all of it strictly inside the band.

    The passage goes up when it came from below or leaves above; one that neither comes nor
    leaves within the record may be either, so both turns count.
    """
    passage = np.minimum(np.maximum(trace[max(start - 1, 0) : stop + 1], low), high)
    came_from, leaves_to = passage.item(0), passage.item(-1)
    if came_from <= low or (came_from < high and leaves_to >= high):
        return _fall_back(passage)
    if came_from >= high or leaves_to <= low:
        return _fall_back(-passage)
    return max(_fall_back(passage), _fall_back(-passage))


def _fall_back(passage: Floats) -> float:
    """Return the largest fall below what has been reached before."""
    return float((np.maximum.accumulate(passage) - passage).max())
