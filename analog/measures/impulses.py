"""Peak, front, duration and ringing of impulses, as the test standards define them.

Voltage fronts run from 30 to 90 % of the peak, extrapolated by 1/0.6; current fronts from 10 to
90 % by 1/0.8 (IEC 60060-1, as IEC 61000-4-5 uses it). Traces are of one impulse that starts at
or after the first sample.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analog.measures.edges import crossings, edge_time, first_crossing

Floats = NDArray[np.float64]
Quantity = Literal["voltage", "current"]

_FRONT_START = {"voltage": 0.3, "current": 0.1}
_FRONT_END = 0.9


def rise_time(time: Floats, trace: Floats) -> float:
    """Return the time (s) from 10 to 90 % of the peak, as bursts and ring waves are rated."""
    top = float(np.max(trace))
    return edge_time(time, trace, 0.1 * top, 0.9 * top)


def front_time(time: Floats, trace: Floats, quantity: Quantity) -> float:
    """Return the virtual front time T1 (s) of a surge."""
    top, start = float(np.max(trace)), _FRONT_START[quantity]
    return edge_time(time, trace, start * top, _FRONT_END * top) / (_FRONT_END - start)


def half_width(time: Floats, trace: Floats) -> float:
    """Return the time (s) between the two passages of half the peak (bursts; surges from the
    2014 edition of IEC 61000-4-5 on); NaN when it does not come down that far."""
    half = float(np.max(trace)) / 2
    rise = first_crossing(time, trace, half)
    return first_crossing(time, trace, half, rising=False, after=rise) - rise


def half_value_time(time: Floats, trace: Floats, quantity: Quantity) -> float:
    """Return the virtual time to half value T2 (s), from the virtual origin to half the peak on
    the tail (IEC 60060-1, and IEC 61000-4-5 before 2014)."""
    top, start = float(np.max(trace)), _FRONT_START[quantity]
    base = first_crossing(time, trace, start * top)
    origin = base - start * front_time(time, trace, quantity)
    return first_crossing(time, trace, top / 2, rising=False, after=base) - origin


def swing_ratios(time: Floats, trace: Floats, count: int = 3) -> Floats:
    """Return the magnitudes of successive peaks of a ring wave, each over the one before.

    A peak is the largest magnitude between two zeros. NaN where there are fewer peaks.
    """
    zeros = np.concatenate([time[:1], crossings(time, trace, 0.0), time[-1:]])
    heights = [
        float(np.max(np.abs(trace[inside])))
        for first, last in pairwise(zeros)
        if (inside := (time > first) & (time <= last)).any()
    ]
    floor = 1e-6 * max(heights, default=math.nan)
    peaks = np.array([height for height in heights if height > floor])
    ratios = np.full(count, math.nan)
    found = peaks[1 : count + 1] / peaks[: min(count, max(len(peaks) - 1, 0))]
    ratios[: len(found)] = found
    return ratios
