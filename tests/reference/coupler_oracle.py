"""An optocoupler's line sense as equations written out by hand, for scipy.

LED: Shockley's law, N = 2, 2 Ω in series. Light makes a base current: the collector current of
the transfer ratio over h_FE + 1. Transistor: Ebers and Moll's equations with the stored charge
t_f·I_F and two capacitances (0.75 V, grading 0.01). The reverse gain follows from the saturation
voltage, V_CE = V_T·ln((1 + (1 + f)/b_r)/(1 − f/h_FE)) with the forced gain f, the transit time
from the 10-90 % rise, 2.2·(h_FE·t_f + (h_FE + 1)·C_CB·R_L). Of the circuit record and ngspice
nothing takes part; what the figures mean is documented in models/optocoupler.lib.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from line_oracle import CLAMP, INPUT_OHM, PROTECTION, Answer, Floats, Junction, solved
from scipy.constants import Boltzmann, elementary_charge
from scipy.optimize import brentq

V_T = Boltzmann * 298.15 / elementary_charge
SATURATION_A, EMITTER_F = 1e-14, 15e-12

Row = Mapping[str, float]


@dataclass(frozen=True)
class Sensor:
    """LED and phototransistor of one row; `fixed` are the figures no row changes."""

    fixed: Mapping[str, float]
    row: Row

    @property
    def led(self) -> Junction:
        test_a = self.fixed["i_f"]
        saturation = test_a * math.exp(-(self.row["led_v_f"] - 2 * test_a) / (2 * V_T))
        return Junction(saturation, 2 * V_T, 2.0)

    def light_to_current(self, led_a: float) -> float:
        """Return the collector current (A) that the light of `led_a` makes."""
        low, high, at = (self.row[name] for name in ("i_lo", "i_hi", "i_ctr"))
        level = 1 + low / at + at / high
        return self.row["ctr"] * level * led_a**2 / (led_a + low + led_a**2 / high)

    @property
    def reverse_gain(self) -> float:
        gain = self.fixed["h_fe"]
        base = self.light_to_current(self.fixed["i_fsat"]) / (gain + 1)
        forced = self.fixed["i_csat"] / base - 1
        depth = math.exp(self.fixed["v_sat"] / V_T) * (1 - forced / gain) - 1
        return (1 + forced) / max(0.01, depth)

    @property
    def transit_s(self) -> float:
        gain, rise = self.fixed["h_fe"], self.fixed["t_r"]
        left = 0.76 * rise / 2.2 - (gain + 1) * self.fixed["c_cb"] * self.fixed["r_l"]
        return max(0.02 * rise, left) / gain


def optocoupler(row: Row, fixed: Mapping[str, float], both_ways: bool, diode: bool) -> Answer:
    """Solve a winding of its own, LED, transistor, pull-up and capacitor.

    States: base and collector (the pin), the gate behind it. The sine starts where the LED is
    dark: at the negative crest of a single LED, at the zero of two.
    """
    sensor, inside = Sensor(fixed, row), PROTECTION.at(row["ambient_c"])
    led, across = sensor.led, CLAMP.at(row["ambient_c"])
    omega, gain, reverse = 2 * math.pi * row["f_mains"], fixed["h_fe"], sensor.reverse_gain
    ohm, photo_share = row["r_source"] + row["r_series"], 1 / (gain + 1)
    transit = sensor.transit_s

    def led_a(source: float) -> float:
        def excess(v: float) -> float:
            back = led.current(-v) if both_ways else across.current(-v) if diode else 0.0
            return led.current(v) - back - (source - v) / ohm

        v = float(brentq(excess, -abs(source) - 1, abs(source) + 1, xtol=1e-10))
        return max(led.current(v), 0.0) + max(led.current(-v), 0.0) * _second(row, both_ways)

    def slopes(t: float, state: Floats) -> list[float]:
        base, pin, gate = state
        wave = math.sin(omega * t) if both_ways else -math.cos(omega * t)
        photo = sensor.light_to_current(led_a(row["v_peak"] * wave)) * photo_share
        photo += row["dark_current"] * photo_share * math.tanh(10 * max(0.0, pin))
        forward = SATURATION_A * math.expm1(min(base / V_T, 60))
        backward = SATURATION_A * math.expm1(min((base - pin) / V_T, 60))
        into_base = photo - forward / gain - backward / reverse
        out = forward - backward - backward / reverse
        across_pin = (pin - gate) / INPUT_OHM
        into_pin = (row["v_rail"] - pin) / row["r_pull"] - photo - out - across_pin
        junction = depleted(EMITTER_F, base) + transit * (forward + SATURATION_A) / V_T
        between = depleted(fixed["c_cb"], base - pin)
        matrix = np.array([[junction + between, -between], [-between, row["c_filter"] + between]])
        ahead = np.linalg.solve(matrix, np.array([into_base, into_pin]))
        gates = across_pin + row["i_leak"] + inside.current(-gate)
        gates -= inside.current(gate - row["v_rail"])
        return [*ahead, gates / row["c_in"]]

    return solved(slopes, [0.0, row["pin_start"], row["pin_start"]], row, 1)


def depleted(zero_f: float, voltage: float) -> float:
    """Return a junction's capacitance (F), nearly constant; its tangent above half of 0.75 V."""
    grading, half_v = 0.01, 0.375
    if voltage < half_v:
        return float(zero_f * (1 - voltage / 0.75) ** -grading)
    slope = grading * (voltage - half_v) / half_v
    return float(zero_f * 0.5**-grading * (1 + slope))


def _second(row: Row, both_ways: bool) -> float:
    return 1 / row["ctr_symmetry"] if both_ways else 0.0
