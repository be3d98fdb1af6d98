"""Where the mains side stands at a moment of its steady state: what a run may start from.

Mains, load and everything across a blocking triac are linear but for a volt of on-state drop, so
phasors give the currents and voltages at any moment, and no cycles need simulating to get there.
Rows are arrays by parameter name, shape (n,); phases are those of the mains' sine, in radians.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analog.circuits.space import Floats

Complex = NDArray[np.complex128]
Rows = Mapping[str, Floats]


@dataclass(frozen=True, slots=True)
class Steady:
    """Phasors over a mains of 1·e^j0 times its peak: load current, its inductance's, its voltage,
    the triac's voltage and the snubber capacitor's; each shape (n,)."""

    current: Complex
    inductance_current: Complex
    load_voltage: Complex
    triac_voltage: Complex
    snubber_voltage: Complex

    def start(self, phase: Floats) -> dict[str, Floats]:
        """Return the start values of the circuits of `analog.circuits.triac_states`."""
        found = {
            "i_source_start": self.current,
            "i_load_start": self.inductance_current,
            "v_wind_start": self.load_voltage,
            "v_triac_start": self.triac_voltage,
            "v_snubber_start": self.snubber_voltage,
        }
        turn = np.exp(1j * phase)
        return {name: np.asarray((turn * value).imag, np.float64) for name, value in found.items()}


def conducting(rows: Rows) -> Steady:
    """Return the steady state with the triac as a short."""
    return _steady(rows, np.zeros(np.shape(rows["mains_peak"]), np.complex128))


def blocking(rows: Rows) -> Steady:
    """Return the steady state with the triac off: leakage, capacitance, snubber, opto's capacitor.

    A varistor draws nothing at the voltages of the mains.
    """
    omega = 2 * np.pi * rows["mains_hz"]
    admittance = 1 / rows["r_off"] + 1j * omega * rows["c_off"]
    if "r_snubber" in rows:
        admittance = admittance + 1 / (rows["r_snubber"] + 1 / (1j * omega * rows["c_snubber"]))
    if "c_opto" in rows:
        admittance = admittance + 1 / (rows["r_gate"] + 1 / (1j * omega * rows["c_opto"]))
    return _steady(rows, np.asarray(1 / admittance, np.complex128))


def load_impedance(rows: Rows) -> Complex:
    """Return the load's impedance (Ω)."""
    return 1 / (1 / _winding(rows) + _parallel(rows))


def _winding(rows: Rows) -> Complex:
    omega = 2 * np.pi * rows["mains_hz"]
    reactance = omega * rows["l_load"] if "l_load" in rows else np.zeros(np.shape(omega))
    return np.asarray(rows["r_load"] + 1j * reactance, np.complex128)


def _parallel(rows: Rows) -> Complex:
    """Return what the loss resistance and the winding's capacitance add to the admittance (S)."""
    if "l_load" not in rows:
        return np.zeros(np.shape(rows["r_load"]), np.complex128)
    omega = 2 * np.pi * rows["mains_hz"]
    return np.asarray(1 / rows["r_loss"] + 1j * omega * rows["c_wind"], np.complex128)


def _steady(rows: Rows, triac_ohm: Complex) -> Steady:
    omega, peak = 2 * np.pi * rows["mains_hz"], rows["mains_peak"]
    source = rows["r_source"] + 1j * omega * rows["l_source"]
    load = load_impedance(rows)
    current = peak / (source + load + triac_ohm)
    across = current * load
    blocked: Complex = np.asarray(current * triac_ohm, np.complex128)
    stored: Complex = blocked
    if "r_snubber" in rows:
        capacitor = 1 / (1j * omega * rows["c_snubber"])
        share = capacitor / (rows["r_snubber"] + capacitor)
        stored = np.asarray(blocked * share, np.complex128)
    return Steady(current, across / _winding(rows), across, blocked, stored)
