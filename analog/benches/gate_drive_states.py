"""What the scenes with a plainly conducting or blocking triac share: parts, rows, the mains' own
impedance."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from analog.benches.axes import AMBIENT
from analog.benches.gate_drive_space import MAINS, GateNetwork, load_row
from analog.circuits.space import Floats
from analog.circuits.triac_states import LoadShape, StateParts

SOURCE_OHM, SOURCE_H, DAMPING_OHM = 1e-3, 50e-6, 1e3
"""A hard mains: the inductance is that of the worked example in Fairchild AN-3004, page 6; the
resistance in series hardly counts beside any load, the one across the inductance keeps it from
ringing with the few picofarads of a triac (no source)."""

TRIAC_LEAKAGE_A = (5e-6, 1e-3)
"""Off-state current of a triac at V_DRM, at 25 °C and at 125 °C: from memory (sheets of ST)."""

TRIAC_CAPACITANCE_F = 10e-12
"""Off-state capacitance of a triac, as in its model: the less, the steeper and higher what it
must block."""


def state_parts(network: GateNetwork, cold: bool = False) -> StateParts:
    """Return which parts stand around the triac; with `cold` a filament has its own heat."""
    drive = network.drive
    kind = network.load.kind
    shape: LoadShape = "inductive" if network.inductive else "resistive"
    keys = (
        ("VMAINS", "mains.voltage"),
        ("RLOAD", "load.power"),
        ("BLOAD", "load.power"),
        ("LLOAD", "load.power_factor"),
        ("RLOSS", "load.parallel_resistance"),
        ("CWIND", "load.winding_capacitance"),
        ("RSNUB", "gate_drive.snubber_resistor"),
        ("CSNUB", "gate_drive.snubber_capacitor"),
        ("BMOV", "gate_drive.varistor"),
        ("RGATE", "gate_drive.gate_resistor"),
        ("COPTO", "gate_drive.opto_snubber_capacitor"),
        ("BTRIAC", "gate_drive.triac"),
    )
    return StateParts(
        "filament" if cold and kind == "filament" else shape,
        network.snubber,
        drive.varistor or "",
        drive.opto_snubber_capacitor is not None,
        keys,
    )


def source_rows(like: Floats) -> dict[str, Floats]:
    """Return the mains' own resistance (Ω), inductance (H) and its damping (Ω)."""
    shape = np.shape(like)
    fixed = {"r_source": SOURCE_OHM, "l_source": SOURCE_H, "r_damp": DAMPING_OHM}
    return {name: np.full(shape, value) for name, value in fixed.items()}


def state_rows(network: GateNetwork, values: Mapping[str, Floats]) -> dict[str, Floats]:
    """Return mains, load and on-state line at each point; shape (n,)."""
    mains = values[MAINS]
    triac = network.triac
    # The sheets' own dissipation curves are drawn with these figures.
    line = {name: triac.figure(figure).centre if triac.has(figure) else other
            for name, figure, other in (("v_t0", "V_T0", 0.85), ("r_on", "R_d", 0.05))}  # fmt: skip
    fixed = {"mains_hz": network.mains.frequency, "period": network.period_s} | line
    fixed["g_on"] = 1 / line["r_on"]
    return load_row(network.load, network.mains, values[network.load.power.key]) | {
        "mains_peak": math.sqrt(2) * mains,
        **{name: np.full(np.shape(mains), value) for name, value in fixed.items()},
    }


def leakage_ohm(network: GateNetwork, ambient_c: Floats) -> Floats:
    """Return the resistance (Ω) that stands for the largest leakage of triac and opto.

    The triac's current grows in proportion between its two figures, on a logarithmic scale; the
    opto's doubles every 10 K (from memory).
    """
    cold, hot = TRIAC_LEAKAGE_A
    triac_a = cold * (hot / cold) ** ((ambient_c - 25.0) / 100.0)
    opto = network.opto
    opto_a = opto.figure("I_DRM").high if opto.has("I_DRM") else 1e-6
    grown = opto_a * 2 ** (np.maximum(0.0, ambient_c - 25.0) / 10.0)
    triac_v, opto_v = (part.figure("V_DRM").high for part in (network.triac, opto))
    return np.asarray(1.0 / (triac_a / triac_v + grown / opto_v), np.float64)


def off_rows(network: GateNetwork, values: Mapping[str, Floats]) -> dict[str, Floats]:
    """Return what stands across a blocking triac at each point; shape (n,)."""
    drive, like = network.drive, values[MAINS]
    rows = {
        "r_off": leakage_ohm(network, values[AMBIENT]),
        "c_off": np.full(np.shape(like), TRIAC_CAPACITANCE_F),
    }
    if drive.snubber_resistor is not None and drive.snubber_capacitor is not None:
        rows["r_snubber"] = values[drive.snubber_resistor.key]
        rows["c_snubber"] = values[drive.snubber_capacitor.key]
    if drive.opto_snubber_capacitor is not None:
        rows["c_opto"] = np.full(np.shape(like), drive.opto_snubber_capacitor.nominal)
        rows["r_gate"] = np.full(np.shape(like), drive.gate_resistor.nominal)
    return rows
