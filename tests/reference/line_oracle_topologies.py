"""Full-wave, two-stage and Zener-clamped line sense as equations written out by hand, for scipy.

The diode laws, their documents and the measures are those of `line_oracle`. The sensed point of a
full-wave sense has no capacitance worth a time constant (picofarads at kilohms): its voltage is
the root of the currents into it. A Zener diode's breakdown grows e-fold per s = r_Z·I_Z (BZX79C
sheet: r_zjK at 1 mA), anchored at V_Z and 5 mA; the row gives it as saturation current,
emission and offset.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np
from line_oracle import (
    CLAMP,
    INPUT_OHM,
    PROTECTION,
    RECTIFIER,
    Answer,
    Floats,
    Junction,
    solved,
)
from scipy.constants import Boltzmann, elementary_charge
from scipy.optimize import brentq

ZENER = Junction(1e-14, 1.1, 1e-3, 80e-12, 0.5)
"""The BZX79's junction; the milliohm stands for none, Wright's function needs one."""

Row = Mapping[str, float]


def joined(
    ends: tuple[float, float], source_ohm: float, diode: Junction, row: Row
) -> Callable[[float], float]:
    """Return the sensed point's voltage (V) over the pin's, with diodes from both `ends`."""
    path = Junction(
        diode.saturation_a, diode.emission, diode.series_ohm + source_ohm, diode.c0_f, diode.grading
    )

    def at(pin: float) -> float:
        def excess(v: float) -> float:
            into = path.current(ends[0] - v) + path.current(ends[1] - v)
            return into - v / row["r_bleed"] - (v - pin) / row["r_series"]

        return float(brentq(excess, -5.0, max(*ends, pin) + 5.0, xtol=1e-9))

    return at


def full_wave(row: Row) -> Answer:
    """Solve a centre-tapped winding of its own, two diodes, bleed and filter."""
    inside, outside = PROTECTION.at(row["ambient_c"]), CLAMP.at(row["ambient_c"])
    omega = 2 * math.pi * row["f_mains"]

    def slopes(t: float, state: Floats) -> list[float]:
        pin, gate = state
        wave = row["v_peak"] * math.cos(omega * t)
        sense = joined((wave, -wave), row["r_source"], outside, row)(pin)
        return _pin_slopes(row, inside, (sense - pin) / row["r_series"], pin, gate)

    return solved(slopes, _start(row), row, 0)


def full_wave_bridge(row: Row) -> Answer:
    """Solve the same on both legs of the supply's bridge, reservoir and load included."""
    inside, outside = PROTECTION.at(row["ambient_c"]), CLAMP.at(row["ambient_c"])
    bridge, omega = RECTIFIER.at(row["ambient_c"]), 2 * math.pi * row["f_mains"]

    def slopes(t: float, state: Floats) -> list[float]:
        leg, far, raw, pin, gate = state
        wave = row["v_peak"] * math.cos(omega * t)
        winding = (far + wave - leg) / row["r_source"]
        drops = (leg - raw, far - raw, -leg, -far)
        i1, i2, i3, i4 = (bridge.current(drop) for drop in drops)
        c1, c2, c3, c4 = (bridge.capacitance(drop) for drop in drops)
        sense = joined((leg, far), 0.0, outside, row)(pin)
        i7, i8 = outside.current(leg - sense), outside.current(far - sense)
        currents = np.array(
            [
                winding - i1 + i3 - i7,
                -winding - i2 + i4 - i8,
                i1 + i2 - row["i_load"] * math.tanh(2 * raw),
            ]
        )
        matrix = np.array(
            [
                [c1 + c3, 0.0, -c1],
                [0.0, c2 + c4, -c2],
                [-c1, -c2, c1 + c2 + row["c_reservoir"]],
            ]
        )
        onward = (sense - pin) / row["r_series"]
        return [*np.linalg.solve(matrix, currents), *_pin_slopes(row, inside, onward, pin, gate)]

    start = [row["raw_start"] + 0.7, -0.7, row["raw_start"], *_start(row)]
    return solved(slopes, start, row, 3)


def two_stage(row: Row) -> Answer:
    """Solve winding and two filter stages; states: joint, pin, gate."""
    inside, omega = PROTECTION.at(row["ambient_c"]), 2 * math.pi * row["f_mains"]

    def slopes(t: float, state: Floats) -> list[float]:
        joint, pin, gate = state
        source = row["v_peak"] * math.cos(omega * t)
        first = (source - joint) / (row["r_source"] + row["r_series"])
        second = (joint - pin) / row["r_second"]
        behind = _pin_slopes({**row, "c_filter": row["c_second"]}, inside, second, pin, gate)
        return [(first - second) / row["c_filter"], *behind]

    return solved(slopes, [row["joint_start"], *_start(row)], row, 1)


def zener_clamped(row: Row) -> Answer:
    """Solve winding, resistor, capacitor and a Zener diode at the pin."""
    inside, omega = PROTECTION.at(row["ambient_c"]), 2 * math.pi * row["f_mains"]
    junction = ZENER.at(row["ambient_c"])
    knee_v = row["n_zener"] * Boltzmann * 298.15 / elementary_charge

    def slopes(t: float, state: Floats) -> list[float]:
        pin, gate = state
        source = row["v_peak"] * math.cos(omega * t)
        into = (source - pin) / (row["r_source"] + row["r_series"])
        into += junction.current(-pin)
        into -= row["i_zener"] * math.expm1((pin - row["v_zener"]) / knee_v)
        loaded = {**row, "c_filter": row["c_filter"] + junction.capacitance(-pin)}
        return _pin_slopes(loaded, inside, into, pin, gate)

    return solved(slopes, _start(row), row, 0)


def _pin_slopes(row: Row, inside: Junction, into: float, pin: float, gate: float) -> list[float]:
    """Return dV/dt of the pin, that `into` amperes flow to, and of the gate behind it."""
    across = (pin - gate) / INPUT_OHM
    gates = across + row["i_leak"] + inside.current(-gate) - inside.current(gate - row["v_rail"])
    return [(into - across) / row["c_filter"], gates / row["c_in"]]


def _start(row: Row) -> list[float]:
    return [row["pin_start"], min(row["pin_start"], row["v_rail"] + 0.6)]
