"""Where a reservoir stands in the steady state: a start value that spares settling cycles.

Only a start value: the simulation goes on from it with the real diodes until it has settled.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_STEPS = 120
_ITERATIONS = 5
_THERMAL_V = 0.0257


def reservoir_at_crest(
    v_peak: Floats,
    r_source: Floats,
    c_reservoir: Floats,
    i_load: Floats,
    f_mains: Floats,
    diodes: int,
    pulses: int,
    saturation_a: float,
    emission: float,
) -> Floats:
    """Return the reservoir voltage (V), shape (n,), at the crest of a settled rectifier.

    `v_peak` is the open-circuit peak, `diodes` in series carry each of the `pulses` charging
    pulses per cycle, `i_load` is drawn constantly. The charge balance of one pulse period is
    solved by secant steps on the voltage at its ends, with a constant diode drop
    N·V_T·ln(1 + I/I_S): first at four times the load current, then at the mean current of the
    conduction time found.
    """
    period = 1 / (f_mains * pulses)
    wave = np.cos(2 * math.pi * np.arange(1, _STEPS + 1) / _STEPS / pulses)
    wave = np.abs(wave) if pulses == 2 else wave
    step = period / _STEPS

    def passed(start: Floats, drop: Floats) -> tuple[Floats, Floats]:
        """Return the change from one crest to the next and the conducting share of the time."""
        voltage, conducting = start, np.zeros_like(start)
        for value in wave:
            drive = v_peak * value - drop
            charged = (voltage + step * (drive / r_source - i_load) / c_reservoir) / (
                1 + step / (r_source * c_reservoir)
            )
            on = charged < drive
            voltage = np.where(on, charged, voltage - step * i_load / c_reservoir)
            conducting = conducting + on
        return voltage - start, conducting / _STEPS

    share = np.full_like(v_peak, 0.25)
    for _ in range(2):
        drop = diodes * emission * _THERMAL_V * np.log1p(i_load / share / saturation_a)
        settled = _root(partial(passed, drop=drop), v_peak - drop)
        share = np.maximum(passed(settled, drop)[1], 1 / _STEPS)
    return settled


def _root(passed: Callable[[Floats], tuple[Floats, Floats]], top: Floats) -> Floats:
    """Return where the change that `passed` gives vanishes between 0 and `top`, by secants."""
    top = np.maximum(top, 0.0)
    older, old = top, passed(top)[0]
    newer = np.maximum(top + old, 0.0)
    for _ in range(_ITERATIONS):
        new = passed(newer)[0]
        moved = np.where(new == old, 0.0, new * (newer - older))
        better = newer - moved / np.where(new == old, 1.0, new - old)
        older, old, newer = newer, new, np.clip(better, 0.0, top)
    return newer
