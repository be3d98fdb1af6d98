"""The line-sense circuits as differential equations written out by hand, for scipy.

Nothing of the circuit record, of ngspice or of the bench's measuring code takes part. Diodes
follow Shockley's law with series resistance, solved with Wright's ω function, and the SPICE laws
of junction capacitance and temperature (saturation current: I_S(T) = I_S·(T/T0)^(X/N)·
exp[(T/T0 − 1)·E_G/(N·V_T)], X = 3, E_G = 1.11 eV, T0 = 25 °C). Parameters of 1N4007 and 1N4148:
widely circulated sets; the second from the diode example in the ngspice manual. The 1N4007's
capacitance is Vishay's 15 pF at 4 V, taken back to 0 V: 15 pF·(1 + 4)^½.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.constants import Boltzmann, elementary_charge
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import wrightomega

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Junction:
    """IS (A), N, RS (Ω), zero-bias capacitance (F) with grading at a potential of 1 V."""

    saturation_a: float
    emission: float
    series_ohm: float
    c0_f: float = 0.0
    grading: float = 0.5

    def at(self, ambient_c: float) -> Junction:
        """Return the junction at a temperature."""
        ratio = (ambient_c + 273.15) / 298.15
        thermal_v = Boltzmann * (ambient_c + 273.15) / elementary_charge
        growth = ratio ** (3 / self.emission) * math.exp(
            (ratio - 1) * 1.11 / (self.emission * thermal_v)
        )
        return Junction(
            self.saturation_a * growth,
            self.emission * thermal_v,  # from here on the slope in volts
            self.series_ohm,
            self.c0_f,
            self.grading,
        )

    def current(self, voltage: float) -> float:
        """Return the current (A) of a junction that `at` gave, at a terminal voltage (V)."""
        drop = self.saturation_a * self.series_ohm / self.emission
        argument = math.log(drop) + drop + voltage / self.emission
        omega = float(wrightomega(argument).real)
        return self.emission / self.series_ohm * omega - self.saturation_a

    def capacitance(self, voltage: float) -> float:
        """Return the junction capacitance (F); its tangent above half the potential."""
        if voltage < 0.5:
            return float(self.c0_f * (1 - voltage) ** -self.grading)
        tangent = 1 - 0.5 * (1 + self.grading) + self.grading * voltage
        return float(self.c0_f * 0.5 ** -(1 + self.grading) * tangent)


RECTIFIER = Junction(7.03e-9, 1.808, 0.034, 33.5e-12, 0.5)
CLAMP = Junction(2.495e-9, 1.679, 0.4755, 1.7e-12, 0.1959)
PROTECTION = Junction(1e-14, 1.05, 20.0)
INPUT_OHM = 1000.0


class Answer:
    """A solved run: `pin(t)` in V over the simulated time, and the measures taken from it."""

    def __init__(self, pin: Callable[[Floats], Floats], row: Mapping[str, float]) -> None:
        self.pin = pin
        self.row = row

    def crossing(self, level: float, rising: bool, after: float) -> float:
        """Return the first time (s) not before `after` at which the pin passes `level`."""
        grid = np.linspace(after, self.row["t_stop"], 6001)
        above = self.pin(grid) >= level
        steps = np.flatnonzero(~above[:-1] & above[1:] if rising else above[:-1] & ~above[1:])
        if not steps.size:
            return math.nan
        start, stop = grid[steps[0]], grid[steps[0] + 1]
        return float(brentq(lambda t: float(self.pin(np.array([t]))[0]) - level, start, stop))

    def measures(self) -> dict[str, float]:
        """Return what the bench's outputs of the same names must be."""
        row, low, high = self.row, 0.1 * self.row["v_rail"], 0.9 * self.row["v_rail"]
        cycle = self.pin(np.linspace(row["t_quarter"], row["t_end"], 20001))
        risen = self.crossing(high, True, row["t_quarter"])
        fallen = self.crossing(low, False, row["t_start"])
        return {
            "pin_peak": float(cycle.max()),
            "pin_trough": float(cycle.min()),
            "t_high": self.crossing(row["v_high"], True, row["t_quarter"]),
            "t_low": self.crossing(row["v_low"], False, row["t_start"]),
            "rise_time": risen - self.crossing(low, True, row["t_quarter"]),
            "fall_time": fallen - self.crossing(high, False, row["t_start"]),
        }


def half_wave(row: Mapping[str, float], clamped: bool, bleed: bool) -> Answer:
    """Solve winding, resistor, capacitor and clamps; states: pin, gate behind the pin."""
    inside, outside = PROTECTION.at(row["ambient_c"]), CLAMP.at(row["ambient_c"])
    omega, rail = 2 * math.pi * row["f_mains"], row["v_rail"]
    share = row["r_bleed"] / (row["r_bleed"] + row["r_source"]) if bleed else 1.0
    resistance = row["r_source"] * share + row["r_series"]

    def slopes(t: float, state: Floats) -> list[float]:
        pin, gate = state
        into = (row["v_peak"] * share * math.cos(omega * t) - pin) / resistance
        into -= (pin - gate) / INPUT_OHM
        capacitance = row["c_filter"]
        if clamped:
            into += outside.current(-pin) - outside.current(pin - rail)
            capacitance += outside.capacitance(-pin) + outside.capacitance(pin - rail)
        through = (pin - gate) / INPUT_OHM + row["i_leak"]
        through += inside.current(-gate) - inside.current(gate - rail)
        return [into / capacitance, through / row["c_in"]]

    start = [row["pin_start"], min(row["pin_start"], rail + 0.6)]
    return solved(slopes, start, row, 0)


def bridge_leg(row: Mapping[str, float], bleed: bool) -> Answer:
    """Solve the bridge, its reservoir and load, and the filter on one leg.

    States: the sensed leg, the other leg, the reservoir, the pin, the gate behind it. Each
    diode's junction capacitance couples two of the first three, hence a matrix.
    """
    inside, bridge = PROTECTION.at(row["ambient_c"]), RECTIFIER.at(row["ambient_c"])
    omega, rail = 2 * math.pi * row["f_mains"], row["v_rail"]

    def slopes(t: float, state: Floats) -> list[float]:
        leg, far, raw, pin, gate = state
        wave = row["v_peak"] * math.cos(omega * t)
        winding = (far + wave - leg) / row["r_source"]
        drops = (leg - raw, far - raw, -leg, -far)
        i1, i2, i3, i4 = (bridge.current(drop) for drop in drops)
        c1, c2, c3, c4 = (bridge.capacitance(drop) for drop in drops)
        onward = (leg - pin) / row["r_series"]
        currents = np.array(
            [
                winding - i1 + i3 - onward - (leg / row["r_bleed"] if bleed else 0.0),
                -winding - i2 + i4,
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
        legs = np.linalg.solve(matrix, currents)
        across = (pin - gate) / INPUT_OHM
        gates = across + row["i_leak"] + inside.current(-gate) - inside.current(gate - rail)
        return [*legs, (onward - across) / row["c_filter"], gates / row["c_in"]]

    pin = row["pin_start"]
    start = [row["raw_start"] + 0.7, -0.7, row["raw_start"], pin, min(pin, rail + 0.6)]
    return solved(slopes, start, row, 3)


def solved(
    slopes: Callable[[float, Floats], list[float]],
    start: list[float],
    row: Mapping[str, float],
    index: int,
) -> Answer:
    answer = solve_ivp(
        slopes,
        (0.0, row["t_stop"]),
        start,
        method="BDF",
        rtol=1e-7,
        atol=1e-8,
        max_step=1 / row["f_mains"] / 200,
        dense_output=True,
    )
    if not answer.success:
        raise RuntimeError(answer.message)
    return Answer(lambda t: np.asarray(answer.sol(t)[index]), row)
