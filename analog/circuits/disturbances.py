"""Test waveforms of the immunity standards as sources that the simulation cannot skip.

Each waveform is a published equation with unit peak. It becomes a `Pwl` whose corners lie so
that straight lines between them stay within `CHORD_ERROR` of the peak, with corners exactly at
the extremes and at the levels that the standards measure at (10, 30, 50 and 90 %). Expressions
of time would not do: they set no breakpoints, and the step control passes over whole pulses.

ngspice merges breakpoints that are very close together for the largest step allowed, so the
largest step of a run that holds a disturbance must not exceed `LARGEST_STEP_S`.

Which constants come from which document stands beside each waveform; the standards themselves
(IEC 61000-4-4, -4-5, -4-12, IEEE C62.41.2) were not open when this was written.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analog.circuits.record import Pwl, Value

Floats = NDArray[np.float64]
Points = tuple[tuple[float, float], ...]

CHORD_ERROR = 0.003
"""Largest distance of the straight lines from the equation, as a share of the peak."""

TAIL_LEVEL = 0.001
"""Where a waveform is ended, as a share of the peak."""

LARGEST_STEP_S = 100e-6
"""Largest step of a run with a disturbance. Tried on ngspice 39 with a second source whose
corners fall between those of a burst: at 200 µs all corners were kept, at 2 ms many were lost."""

_MEASURED = (0.1, 0.3, 0.5, 0.9)
_SAMPLES = 8_001
_LONGEST_DECAYS = 40.0


@dataclass(frozen=True, slots=True)
class DoubleExponential:
    """``a·(1 − e^(−t/t1))·e^(−t/t2)``, times ``cos(2π·f·t)`` with a frequency."""

    a: float
    t1_s: float
    t2_s: float
    frequency_hz: float = 0.0

    def level(self, time_s: Floats) -> Floats:
        """Return the level at each time since the start, 0 before it."""
        time = np.maximum(time_s, 0.0)
        envelope = -self.a * np.expm1(-time / self.t1_s) * np.exp(-time / self.t2_s)
        return np.asarray(envelope * np.cos(2 * math.pi * self.frequency_hz * time))

    @property
    def decay_s(self) -> float:
        return self.t2_s


@dataclass(frozen=True, slots=True)
class PowerExponential:
    """``a·t³·e^(−t/t1)``, `a` in 1/s³."""

    a: float
    t1_s: float

    def level(self, time_s: Floats) -> Floats:
        """Return the level at each time since the start, 0 before it."""
        time = np.maximum(time_s, 0.0)
        return np.asarray(self.a * time**3 * np.exp(-time / self.t1_s))

    @property
    def decay_s(self) -> float:
        return 2 * self.t1_s


@dataclass(frozen=True, slots=True)
class HillExponential:
    """``(a/k)·x^n/(1 + x^n)·e^(−t/t2)`` with x = t/t1, k = e^(−(t1/t2)·(n·t2/t1)^(1/n))."""

    a: float
    t1_s: float
    t2_s: float
    n: float

    @property
    def k(self) -> float:
        """Return the correction that brings the peak to `a` over its own nominal value."""
        return math.exp(-(self.t1_s / self.t2_s) * (self.n * self.t2_s / self.t1_s) ** (1 / self.n))

    def level(self, time_s: Floats) -> Floats:
        """Return the level at each time since the start, 0 before it."""
        time = np.maximum(time_s, 0.0)
        power = (time / self.t1_s) ** self.n
        return np.asarray(self.a / self.k * power / (1 + power) * np.exp(-time / self.t2_s))

    @property
    def decay_s(self) -> float:
        return self.t2_s


@dataclass(frozen=True, slots=True)
class Waveform:
    """A standard waveform: its equation, the peak of that equation and where it stands."""

    name: str
    equation: DoubleExponential | PowerExponential | HillExponential
    source: str

    def level(self, time_s: Floats) -> Floats:
        """Return the level at each time (s) since the start, for unit peak."""
        return self.equation.level(np.asarray(time_s, dtype=np.float64))


_NOTE = "note on burst and surge simulation models (amplitude, t2); t1 from memory"

FAST_BURST = Waveform("5/50 ns", DoubleExponential(1.270, 3.5e-9, 55.6e-9), _NOTE)
FAST_BURST_2012 = Waveform(
    "5/50 ns, model of 2012",
    HillExponential(0.92, 3.5e-9, 51e-9, 1.8),
    "IEC 61000-4-4:2012, from memory",
)
SURGE_VOLTAGE = Waveform("1.2/50 µs", DoubleExponential(1.037, 0.4074e-6, 68.22e-6), _NOTE)
SURGE_VOLTAGE_2014 = Waveform(
    "1.2/50 µs, model of 2014",
    HillExponential(0.94, 0.356e-6, 65.845e-6, 1.852),
    "IEC 61000-4-5:2014, from memory",
)
SURGE_CURRENT = Waveform(
    "8/20 µs", PowerExponential(0.01243e18, 3.911e-6), "common handbook equation, from memory"
)
SURGE_CURRENT_2014 = Waveform(
    "8/20 µs, model of 2014",
    HillExponential(0.939, 47.52e-6, 4.296e-6, 2.741),
    "IEC 61000-4-5:2014, from memory",
)
RING_WAVE = Waveform(
    "0.5 µs 100 kHz ring",
    DoubleExponential(1.590, 0.533e-6, 9.788e-6, 100e3),
    "IEEE C62.41.2, from memory",
)
WAVEFORMS = (
    FAST_BURST,
    FAST_BURST_2012,
    SURGE_VOLTAGE,
    SURGE_VOLTAGE_2014,
    SURGE_CURRENT,
    SURGE_CURRENT_2014,
    RING_WAVE,
)


@dataclass(frozen=True, slots=True)
class Generator:
    """What stands between a waveform and the circuit: source resistance, coupling capacitor."""

    name: str
    resistance_ohm: float
    coupling_f: float
    source: str


BURST_GENERATOR = Generator("burst", 50.0, 33e-9, "IEC 61000-4-4, from memory")
SURGE_BETWEEN_LINES = Generator("surge, line to line", 2.0, 18e-6, "IEC 61000-4-5, from memory")
SURGE_TO_EARTH = Generator("surge, line to earth", 12.0, 9e-6, "IEC 61000-4-5, from memory")
RING_GENERATOR = Generator("ring wave", 12.0, 18e-6, "IEC 61000-4-12, from memory")

LEVELS_V = {
    "burst, power port": (500.0, 1000.0, 2000.0, 4000.0),
    "burst, signal port": (250.0, 500.0, 1000.0, 2000.0),
    "surge": (500.0, 1000.0, 2000.0, 4000.0),
    "ring wave": (500.0, 1000.0, 2000.0, 4000.0),
}
"""Test levels 1 to 4, open-circuit peak in V: IEC 61000-4-4, -4-5 and -4-12, from memory."""

BURST_PULSES = 75
"""Pulses of one burst, at 5 kHz in 15 ms and at 100 kHz in 0.75 ms (IEC 61000-4-4)."""

BURST_INTERVAL_S = 0.3
"""From one burst to the next (IEC 61000-4-4)."""


def single(waveform: Waveform, peak: Value, start_s: Value) -> Pwl:
    """Return one impulse of height `peak` (V or A) that starts at `start_s`."""
    return Pwl(corners(waveform), start_s, peak)


def burst(
    peak: Value,
    start_s: Value,
    repetition_hz: Literal[5000, 100_000] = 5000,
    pulses: int = BURST_PULSES,
    waveform: Waveform = FAST_BURST,
) -> Pwl:
    """Return a burst of `pulses` impulses of height `peak` (V) that starts at `start_s`.

    Raises ValueError when the impulses overlap or when there is none.
    """
    if pulses < 1:
        raise ValueError(f"a burst of {pulses} pulses is none")
    shape = corners(waveform)
    period = 1 / repetition_hz
    if shape[-1][0] >= period:
        raise ValueError(f"{waveform.name} does not fit {repetition_hz} Hz")
    points = [(k * period + time, level) for k in range(pulses) for time, level in shape]
    return Pwl(tuple(points), start_s, peak)


@lru_cache(maxsize=32)
def corners(waveform: Waveform, error: float = CHORD_ERROR) -> Points:
    """Return (time in s, level) from the start to `TAIL_LEVEL`, both ends at level 0."""
    time = _sample_times(waveform)
    marks = _marks(time, waveform.level(time))
    time = np.unique(np.concatenate([time, marks]))
    level = waveform.level(time)
    level[0] = level[-1] = 0.0
    fixed = np.searchsorted(time, np.unique(np.concatenate([time[[0, -1]], marks]))).tolist()
    found = [0]
    for left, right in itertools.pairwise(fixed):
        found += _corners_between(time, level, left, right, error)
    return tuple(zip(time[found].tolist(), level[found].tolist(), strict=True))


def _sample_times(waveform: Waveform) -> Floats:
    """Return times, close together at the start, up to where the level stays in the tail."""
    coarse = np.linspace(0.0, _LONGEST_DECAYS * waveform.equation.decay_s, _SAMPLES)
    outside = np.abs(waveform.level(coarse)) > TAIL_LEVEL
    end = coarse[int(np.flatnonzero(outside)[-1]) + 1]
    return np.asarray(end * np.linspace(0.0, 1.0, _SAMPLES) ** 2)


def _marks(time: Floats, level: Floats) -> Floats:
    """Return the times of the extremes and of the measured levels on the first peak's flanks."""
    slope = np.sign(np.diff(level))
    turns = np.flatnonzero(slope[1:] * slope[:-1] < 0) + 1
    extremes = time[[k for k in turns if abs(level[k]) > 0.01]]
    top = int(np.argmax(level))
    wanted = level[top] * np.array(_MEASURED)
    rising = np.interp(wanted, level[: top + 1], time[: top + 1])
    after = level[top:]
    fallen = int(np.argmax(after < 0.5 * _MEASURED[0])) or len(after)
    falling = np.interp(wanted, after[:fallen][::-1], time[top : top + fallen][::-1])
    return np.concatenate([extremes, rising, falling])


def _corners_between(time: Floats, level: Floats, left: int, right: int, error: float) -> list[int]:
    """Return corner indices after `left` up to `right`: as few as `error` allows, the largest
    error among them then made small, which spreads them evenly."""
    found = _walk(time, level, left, right, error)
    low, high = 0.0, error
    for _ in range(12):
        middle = (low + high) / 2
        closer = _walk(time, level, left, right, middle)
        if len(closer) == len(found):
            found, high = closer, middle
        else:
            low = middle
    return found


def _walk(time: Floats, level: Floats, left: int, right: int, error: float) -> list[int]:
    found = [left]
    while found[-1] < right:
        found.append(_farthest(time, level, found[-1], right, error))
    return found[1:]


def _farthest(time: Floats, level: Floats, start: int, limit: int, error: float) -> int:
    """Return the last index up to `limit` that a straight line from `start` reaches."""
    low, high = start + 1, limit
    while low < high:
        middle = (low + high + 1) // 2
        if _chord_error(time, level, start, middle) <= error:
            low = middle
        else:
            high = middle - 1
    return low


def _chord_error(time: Floats, level: Floats, start: int, end: int) -> float:
    inside = slice(start, end + 1)
    chord = np.interp(time[inside], time[[start, end]], level[[start, end]])
    return float(np.abs(chord - level[inside]).max())
