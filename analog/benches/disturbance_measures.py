"""Edges under a disturbance, and the disturbance as it was delivered; run in the workers.

Nothing is judged unless the simulation shows the wave that was asked for. Slow disturbances are
measured in the winding's open-circuit voltage, fast ones at their generator.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from analog.benches.edge_counts import COUNTS, counts
from analog.engine import Run
from analog.measures import (
    crossings,
    front_time,
    fundamental,
    peak,
    rise_time,
    rms,
    window,
)

Floats = NDArray[np.float64]
Row = Mapping[str, float]

HARMONICS = (*COUNTS, "distortion", "spectrum_error")
SIGNAL = (*COUNTS, "signal_peak", "signal_hz")
NOTCHES = (*COUNTS, "notch_depth", "notch_count")
DIP = (*COUNTS, "left_share", "depth_share", "dip_length")
FREQUENCY = (*COUNTS, "hertz_after")
VOLTAGE = (*COUNTS, "emf_rms")
BURST = (*COUNTS, "wave_peak", "wave_count", "wave_rise")
SURGE = (*COUNTS, "wave_peak", "wave_front")
RING = (*COUNTS, "wave_peak", "wave_rise")

LOW_END = "v(far)"
REFERENCES = ("v(plane)", "v(neutral)")


def harmonics(run: Run, row: Row) -> dict[str, float]:
    """Add ``distortion`` (root sum of squares over the fundamental) and ``spectrum_error``, the
    largest error of an order's amplitude as a share of the fundamental's, by Fourier analysis."""
    time, emf = window(run.time, _emf(run), row["t_from"], row["t_to"])
    first = abs(fundamental(time, emf, row["f_mains"]))
    orders = range(2, 26)
    found = {order: abs(fundamental(time, emf, order * row["f_mains"])) for order in orders}
    error = max(abs(found[order] - row.get(f"v_h{order}", 0.0)) for order in orders)
    return {
        **counts(run, row),
        "distortion": math.hypot(*found.values()) / first,
        "spectrum_error": error / first,
    }


def signal(run: Run, row: Row) -> dict[str, float]:
    """Add peak (V) and frequency (Hz) of what stands on top of the sine."""
    time, rest = window(run.time, _beside_sine(run, row), row["t_from"], row["t_to"])
    zeros = crossings(time, rest, 0.0, rising=True)
    hertz = (zeros.size - 1) / (zeros[-1] - zeros[0]) if zeros.size > 1 else math.nan
    return {**counts(run, row), "signal_peak": peak(rest), "signal_hz": float(hertz)}


def notches(run: Run, row: Row) -> dict[str, float]:
    """Add the depth (V) of the notches and how many there are a cycle."""
    time, rest = window(run.time, np.abs(_beside_sine(run, row)), row["t_from"], row["t_to"])
    many = crossings(time, rest, 0.5 * row["v_notch"], rising=True).size
    cycles = (row["t_to"] - row["t_from"]) * row["f_mains"]
    return {**counts(run, row), "notch_depth": peak(rest), "notch_count": many / cycles}


def dip(run: Run, row: Row) -> dict[str, float]:
    """Add what is left of the voltage inside the dip (effective value), as a share, how deep it is
    as a share, and its length (s)."""
    time, emf = window(run.time, _emf(run), row["t_on"] + row["t_edge"], row["t_off"])
    depth = run.trace("v(depth)")
    half = 0.5 * float(depth.max())
    edges = [crossings(run.time, depth, half, rising=side) for side in (True, False)]
    whole = all(side.size == 1 for side in edges)
    length = float(edges[1][0] - edges[0][0]) if whole else math.nan
    left = rms(time, emf) * math.sqrt(2) / row["v_peak"]
    deep = {"left_share": left, "depth_share": float(depth.max())}
    return {**counts(run, row), **deep, "dip_length": length}


def frequency(run: Run, row: Row) -> dict[str, float]:
    """Add the mains' frequency (Hz) when it has changed."""
    zeros = crossings(run.time, _emf(run), 0.0, rising=True)
    after = zeros[zeros > row["t_changes"] + row["t_change"]]
    many = after.size - 1
    hertz = float(many / (after[-1] - after[0])) if many > 0 else math.nan
    return {**counts(run, row), "hertz_after": hertz}


def voltage(run: Run, row: Row) -> dict[str, float]:
    """Add the effective value (V) of the winding's open-circuit voltage over whole cycles."""
    time, emf = window(run.time, _emf(run), row["t_from"], row["t_to"])
    effective = abs(fundamental(time, emf, row["f_mains"])) / math.sqrt(2)
    return {**counts(run, row), "emf_rms": effective}


def burst(run: Run, row: Row) -> dict[str, float]:
    """Add the pulses of a burst: peak (V), number, and the first one's rise (s)."""
    time, wave = run.time, _wave(run, row)
    first = (time >= row["t_on"] - 1e-9) & (time < row["t_on"] + 1e-6)
    return {
        **counts(run, row),
        "wave_peak": float(wave.max()),
        "wave_count": float(crossings(time, wave, 0.5 * abs(row["v_wave"]), rising=True).size),
        "wave_rise": rise_time(time[first], wave[first]),
    }


def surge(run: Run, row: Row) -> dict[str, float]:
    """Add peak (V) and front time (s) of a surge."""
    wave = _wave(run, row)
    front = front_time(run.time, wave, "voltage")
    return {**counts(run, row), "wave_peak": float(wave.max()), "wave_front": front}


def ring(run: Run, row: Row) -> dict[str, float]:
    """Add peak (V) and rise (s) of a ring wave."""
    wave = _wave(run, row)
    return {
        **counts(run, row),
        "wave_peak": float(wave.max()),
        "wave_rise": rise_time(run.time, wave),
    }


def _emf(run: Run) -> Floats:
    """Return the winding's open-circuit voltage, V."""
    top = run.trace("v(open)")
    return top - run.trace(LOW_END) if LOW_END in run.traces else top


def _beside_sine(run: Run, row: Row) -> Floats:
    """Return the open-circuit voltage less the undisturbed mains', V."""
    angle = 2 * math.pi * row["f_mains"] * run.time + math.radians(row["start_deg"])
    return np.asarray(_emf(run) - row["v_peak"] * np.sin(angle))


def _wave(run: Run, row: Row) -> Floats:
    """Return the generator's voltage, upright whichever polarity it has."""
    reference = next((name for name in REFERENCES if name in run.traces), None)
    wave = run.trace("v(wave)")
    if reference is not None:
        wave = wave - run.trace(reference)
    return np.asarray(math.copysign(1.0, row["v_wave"]) * wave)
