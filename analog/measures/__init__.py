"""Waveforms to values: pure functions of time and trace arrays, no simulator and no file.

`time` and `trace` are float arrays of one length, shape (n,), times rising (not evenly spaced).
"It never happened" is NaN, or an empty array where several answers are possible.
"""

from analog.measures.averages import fundamental, mean, peak, rms, window
from analog.measures.edges import (
    Crossed,
    crossings,
    edge_span,
    edge_time,
    first_crossing,
    slope_at,
)
from analog.measures.hysteresis import (
    SchmittEdges,
    largest_reversal,
    schmitt_edges,
    schmitt_edges_of,
)
from analog.measures.impulses import (
    front_time,
    half_value_time,
    half_width,
    rise_time,
    swing_ratios,
)

__all__ = [
    "Crossed",
    "SchmittEdges",
    "crossings",
    "edge_span",
    "edge_time",
    "first_crossing",
    "front_time",
    "fundamental",
    "half_value_time",
    "half_width",
    "largest_reversal",
    "mean",
    "peak",
    "rise_time",
    "rms",
    "schmitt_edges",
    "schmitt_edges_of",
    "slope_at",
    "swing_ratios",
    "window",
]
