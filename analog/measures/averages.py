"""Means, effective values and the fundamental of a trace sampled at uneven times.

All integrals are those of the straight lines between samples, exact for that polygon.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def window(time: Floats, trace: Floats, start: float, stop: float) -> tuple[Floats, Floats]:
    """Return the part of the trace from `start` to `stop` (s), its ends interpolated.

    Raises ValueError when the record does not cover the window.
    """
    if not time[0] <= start < stop <= time[-1]:
        raise ValueError(f"{start} s to {stop} s is not inside {time[0]} s to {time[-1]} s")
    first, last = time.searchsorted(start, "right"), time.searchsorted(stop, "left")
    moments, levels = np.empty(last - first + 2), np.empty(last - first + 2)
    moments[0], moments[1:-1], moments[-1] = start, time[first:last], stop
    levels[0] = np.interp(start, time[first - 1 : first + 1], trace[first - 1 : first + 1])
    levels[1:-1] = trace[first:last]
    levels[-1] = np.interp(stop, time[last - 1 : last + 1], trace[last - 1 : last + 1])
    return moments, levels


def mean(time: Floats, trace: Floats) -> float:
    """Return the time average over the whole record, in the trace's unit."""
    span = _span(time)
    return float((time[1:] - time[:-1]) @ (trace[:-1] + trace[1:]) / 2 / span)


def rms(time: Floats, trace: Floats) -> float:
    """Return the root mean square over the whole record, in the trace's unit."""
    left, right = trace[:-1], trace[1:]
    squares = left * left + left * right + right * right
    return float(np.sqrt((time[1:] - time[:-1]) @ squares / 3 / _span(time)))


def peak(trace: Floats) -> float:
    """Return the largest magnitude in the trace, in its unit."""
    return float(max(trace.max(), -trace.min()))


def fundamental(time: Floats, trace: Floats, frequency_hz: float) -> complex:
    """Return the complex amplitude A of the component A·sin(2π·f·t + arg A) at `frequency_hz`.

    Taken over the last whole number of cycles in the record, by correlation with the sine and
    the cosine of that frequency, first interpolating to 4 096 even samples. The magnitude is a
    peak value in the trace's unit, the angle is in radians relative to a sine that starts at
    t = 0. Raises ValueError when the record is shorter than one cycle.
    """
    cycles = int((_span(time) * frequency_hz) * (1 + 1e-9))
    if cycles < 1:
        raise ValueError(f"the record is shorter than one cycle of {frequency_hz} Hz")
    start = time[-1] - cycles / frequency_hz
    moments = start + np.arange(4096) / 4096 * (time[-1] - start)
    turned = np.exp(-2j * np.pi * frequency_hz * moments)
    return complex(2j * np.mean(np.interp(moments, time, trace) * turned))


def _span(time: Floats) -> float:
    span = float(time[-1] - time[0])
    if not span > 0:
        raise ValueError("a mean needs a record longer than one moment")
    return span
