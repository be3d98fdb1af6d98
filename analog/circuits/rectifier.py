"""Where a reservoir stands in the steady state: the start value that spares settling cycles."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_STEPS = 120
_ITERATIONS = 5
_NEWTON_STEPS = 4

# More than the highest charging current over the load's in common rectifiers.
_PEAK_OVER_MEAN = 12.0

# Boltzmann constant over elementary charge (V/K, exact SI values).
_THERMAL_V_PER_K = 1.380649e-23 / 1.602176634e-19
_ZERO_C_IN_K = 273.15

# SPICE's law of a diode's saturation current: energy gap (eV), exponent, reference (25 °C).
_GAP_V, _EXPONENT, _REFERENCE_K = 1.11, 3.0, 298.15


@dataclass(frozen=True, slots=True)
class Charging:
    """A winding that charges a reservoir through diodes; arrays have shape (n,).

    `v_peak` (V) is the open-circuit peak, `r_source` in Ω, `c_reservoir` in F, `i_load` (A) is
    drawn constantly, `f_mains` in Hz. `diodes` in series carry each of the `pulses` (1 or 2)
    charging pulses per cycle; `saturation_a` and `emission` are their I_S and N, at 25 °C,
    `ambient_c` is the diodes' temperature, and `r_bleed` (Ω) loads the winding besides.
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
    ambient_c: Floats = field(default_factory=lambda: np.full(1, 25.0))
    r_bleed: Floats = field(default_factory=lambda: np.full(1, np.inf))

    @property
    def slope_v(self) -> Floats:
        """Return N·V_T of all diodes in series, V."""
        kelvin = self.ambient_c + _ZERO_C_IN_K
        return np.asarray(self.diodes * self.emission * _THERMAL_V_PER_K * kelvin)

    @property
    def saturation(self) -> Floats:
        """Return I_S at the ambient temperature, A."""
        ratio = (self.ambient_c + _ZERO_C_IN_K) / _REFERENCE_K
        gap = _GAP_V * self.diodes / self.slope_v
        power = ratio ** (_EXPONENT / self.emission)
        return np.asarray(self.saturation_a * power * np.exp((ratio - 1) * gap))

    def change(self, start: Floats) -> Floats:
        """Return the change of the reservoir (V) from crest to crest, from `start` on."""
        angles = 2 * math.pi * np.arange(1, _STEPS + 1) / _STEPS / self.pulses
        waves = np.abs(np.cos(angles)) if self.pulses == 2 else np.cos(angles)
        step = 1 / (self.f_mains * self.pulses * _STEPS)
        stepped, voltage = self.stepper(step), start
        for wave in waves:
            voltage, _ = stepped(voltage, wave, self.i_load)
        return voltage - start

    def stepper(
        self, step_s: Floats, r_esr: Floats | float = 0.0
    ) -> Callable[[Floats, Floats, Floats], tuple[Floats, Floats]]:
        """Return the function that takes the reservoir (V) one step of `step_s` on.

        Its arguments are the reservoir's charge (V), the rectified open-circuit voltage then as
        a share of its peak, and the current (A) that flows out; it gives the charge after the
        step and the voltage at the terminals, `r_esr` (Ω) being in series with the charge.
        """
        # A bleed across the winding is there in every half-cycle, in a bridge in every other.
        bleed = self.r_bleed * (2 if self.diodes == 2 else 1)
        share = 1 / (1 + self.r_source / bleed)
        # Backward Euler, so that a small source resistance cannot make it swing.
        total_ohm = self.r_source * share + step_s / self.c_reservoir + r_esr
        slope_v, saturation_a = self.slope_v, self.saturation

        def stepped(voltage: Floats, wave: Floats, drawn_a: Floats) -> tuple[Floats, Floats]:
            idle = voltage - step_s * drawn_a / self.c_reservoir
            drive = self.v_peak * share * wave - idle + r_esr * drawn_a
            current = _diode_current(drive, total_ohm, slope_v, saturation_a)
            charged = np.asarray(idle + step_s * current / self.c_reservoir)
            return charged, np.asarray(charged + r_esr * (current - drawn_a))

        return stepped


def reservoir_at_crest(charging: Charging) -> Floats:
    """Return the reservoir voltage (V), shape (n,), at the crest of the settled rectifier.

    The charge balance of one pulse, with the diodes' own law, is solved by secant steps. The
    change falls with the start and is convex, so that steps from below never pass the solution.
    """
    most_a = _PEAK_OVER_MEAN * charging.i_load
    drop_v = charging.slope_v * np.log1p(most_a / charging.saturation)
    older = np.maximum(charging.v_peak - drop_v - most_a * charging.r_source, 0.0)
    old = charging.change(older)
    newer = np.maximum(older + old, 0.0)
    for _ in range(_ITERATIONS):
        new = charging.change(newer)
        fall = old - new
        moved = np.where(fall > 0, new * (newer - older) / np.where(fall > 0, fall, 1.0), 0.0)
        older, old, newer = newer, new, np.clip(newer + moved, 0.0, charging.v_peak)
    return newer


def _diode_current(drive: Floats, ohm: Floats, slope_v: Floats, saturation_a: Floats) -> Floats:
    """Return the current (A) at `drive` (V) over a diode and a resistance; 0 without drive.

    ohm·i + slope·ln(1 + i/I_S) = drive in the logarithm's unknown: convex, so that Newton's
    steps from above, where one of both terms takes all, come down without overshoot.
    """
    if not (drive > 0).any():
        return np.zeros(np.shape(drive))
    driven = np.maximum(drive, 0.0)
    unknown = np.minimum(driven / slope_v, np.log1p(driven / ohm / saturation_a))
    for _ in range(_NEWTON_STEPS):
        grown = ohm * saturation_a * np.exp(unknown)
        excess = grown - ohm * saturation_a + slope_v * unknown - driven
        unknown = unknown - excess / (grown + slope_v)
    return np.asarray(saturation_a * np.expm1(unknown))
