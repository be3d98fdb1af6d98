"""Where a reservoir stands in the steady state: a start value that spares settling cycles.

Only a start value: the simulation goes on from it with the real diodes until it has settled.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_STEPS = 120
_ITERATIONS = 5
_THERMAL_V = 0.0257


@dataclass(frozen=True, slots=True)
class Charging:
    """A winding that charges a reservoir through diodes; arrays have shape (n,).

    `v_peak` (V) is the open-circuit peak, `r_source` in Ω, `c_reservoir` in F, `i_load` (A) is
    drawn constantly, `f_mains` in Hz. `diodes` in series carry each of the `pulses` (1 or 2)
    charging pulses per cycle; `saturation_a` and `emission` are their I_S and N.
    """

    v_peak: Floats
    r_source: Floats
    c_reservoir: Floats
    i_load: Floats
    f_mains: Floats
    diodes: int
    pulses: int
    saturation_a: float
    emission: float

    def drop(self, current: Floats) -> Floats:
        """Return the diodes' forward voltage N·V_T·ln(1 + I/I_S), V."""
        slope = self.diodes * self.emission * _THERMAL_V
        return np.asarray(slope * np.log1p(current / self.saturation_a))

    def pulse(self, start: Floats, drop: Floats) -> tuple[Floats, Floats]:
        """Return the change of the reservoir (V) from crest to crest, from `start` on, and the
        share of the time in which the diodes conduct."""
        angles = 2 * math.pi * np.arange(1, _STEPS + 1) / _STEPS / self.pulses
        waves = np.abs(np.cos(angles)) if self.pulses == 2 else np.cos(angles)
        step = 1 / (self.f_mains * self.pulses * _STEPS)
        voltage, conducting = start, np.zeros_like(start)
        for wave in waves:
            drive = self.v_peak * wave - drop
            # Backward Euler, so that a small source resistance cannot make it swing.
            charged = (
                voltage + step * (drive / self.r_source - self.i_load) / self.c_reservoir
            ) / (1 + step / (self.r_source * self.c_reservoir))
            on = charged < drive
            voltage = np.where(on, charged, voltage - step * self.i_load / self.c_reservoir)
            conducting = conducting + on
        return voltage - start, conducting / _STEPS


def reservoir_at_crest(charging: Charging) -> Floats:
    """Return the reservoir voltage (V), shape (n,), at the crest of the settled rectifier.

    The charge balance of one pulse is solved by secant steps, with a constant diode drop: first
    that at four times the load current, then that at the mean current of the conduction time.
    """
    share = np.full_like(charging.v_peak, 0.25)
    settled = charging.v_peak
    for _ in range(2):
        drop = charging.drop(charging.i_load / share)
        settled = _root(_balance(charging, drop), charging.v_peak - drop)
        share = np.maximum(charging.pulse(settled, drop)[1], 1 / _STEPS)
    return settled


def _balance(charging: Charging, drop: Floats) -> Callable[[Floats], Floats]:
    return lambda start: charging.pulse(start, drop)[0]


def _root(change: Callable[[Floats], Floats], top: Floats) -> Floats:
    """Return where `change` vanishes between 0 and `top`, by secant steps."""
    top = np.maximum(top, 0.0)
    older, old = top, change(top)
    newer = np.maximum(top + old, 0.0)
    for _ in range(_ITERATIONS):
        new = change(newer)
        moved = np.where(new == old, 0.0, new * (newer - older))
        better = newer - moved / np.where(new == old, 1.0, new - old)
        older, old, newer = newer, new, np.clip(better, 0.0, top)
    return newer
