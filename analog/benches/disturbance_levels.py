"""What the mains may bring: levels of the standards, each with where it comes from.

EN 50160, IEC 61000-2-2, -4-4, -4-5, -4-11, -4-12, -4-28, IEC 60146-1-1, IEC 60038 and ANSI C84.1
were not open when this was written: their figures are from memory unless a table is named.
Shares are of the mains' nominal voltage.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analog.circuits.disturbances import RING_WAVE, SURGE_VOLTAGE, Waveform

EN_50160 = "EN 50160, from memory"

HARMONICS = {
    2: 0.02,
    3: 0.05,
    4: 0.01,
    5: 0.06,
    7: 0.05,
    9: 0.015,
    11: 0.035,
    13: 0.03,
    15: 0.005,
    17: 0.02,
    19: 0.015,
    21: 0.005,
    23: 0.015,
    25: 0.015,
}
"""Largest harmonic voltages of a public supply, by order (EN 50160, from memory)."""

THD_LIMIT = 0.08
"""Limit of their root sum of squares up to order 40 (EN 50160, from memory)."""

SIGNAL_POINTS = ((100.0, 0.09), (500.0, 0.09), (1000.0, 0.05), (3000.0, 0.05))
"""Frequency (Hz) and share of signals on the mains, straight on logarithmic scales between
(EN 50160, figure of signal voltages, from memory)."""

NOTCH_DEPTH = 0.4
NOTCH_AREA_DEG = 2.5
"""Depth as a share of the crest, and depth times width in degrees: immunity class B of converters,
40 % and 250 %·deg (IEC 60146-1-1, from memory)."""

SURGE_V = 1000.0
SURGE_TO_EARTH_V = 2000.0
"""Open-circuit peaks between the lines and to earth asked of the mains input of household
equipment (IEC 61000-6-1: levels 2 and 3 of IEC 61000-4-5, from memory)."""

RING_V = 1000.0
"""Open-circuit peak between the lines: level 3 of IEC 61000-4-12, from memory."""

BURST_V = 1000.0
"""Open-circuit peak of each pulse on a mains port (IEC 61000-6-1: level 2 of IEC 61000-4-4,
from memory)."""


def scaled_harmonics(orders: tuple[int, ...]) -> dict[int, float]:
    """Return the levels of these orders, all scaled alike so that their THD is the limit.

    At their single limits together they would exceed it.
    """
    total = math.hypot(*(HARMONICS[order] for order in orders))
    return {order: HARMONICS[order] * THD_LIMIT / total for order in orders}


def signal_share(hertz: float) -> float:
    """Return the largest share of a signal voltage at a frequency; ends are held outside."""
    at, level = (np.log([pair[k] for pair in SIGNAL_POINTS]) for k in (0, 1))
    return float(np.exp(np.interp(math.log(hertz), at, level)))


def notch_width_s(mains_hz: float) -> float:
    """Return the width (s) of a notch of the full depth and area."""
    return NOTCH_AREA_DEG / NOTCH_DEPTH / 360.0 / mains_hz


@dataclass(frozen=True, slots=True)
class Landmark:
    """A standard disturbance seen as one pulse at the mains: peak (V) and width (s).

    The width is that of the rectangle of the same peak and net area, which is what a slower
    filter makes of it.
    """

    words: str
    width_s: float
    peak_v: float
    source: str


def landmarks(mains_v: float, mains_hz: float) -> tuple[Landmark, ...]:
    """Return the standard pulses between the lines of a mains of `mains_v` (rms)."""
    crest = math.sqrt(2) * mains_v
    surge, ring = (net_width_s(wave) for wave in (SURGE_VOLTAGE, RING_WAVE))
    return (
        Landmark("surge 1 kV", surge, SURGE_V, f"{SURGE_VOLTAGE.name}, IEC 61000-4-5"),
        Landmark("ring wave 1 kV", ring, RING_V, f"{RING_WAVE.name}, IEC 61000-4-12"),
        Landmark(
            "notch", notch_width_s(mains_hz), NOTCH_DEPTH * crest, "IEC 60146-1-1, from memory"
        ),
    )


def net_width_s(wave: Waveform) -> float:
    """Return the net area of a waveform of unit peak, as a width (s)."""
    time = np.linspace(0.0, 20 * wave.equation.decay_s, 200_001)
    level = wave.level(time)
    return abs(float(np.sum((level[1:] + level[:-1]) / 2 * np.diff(time))))
