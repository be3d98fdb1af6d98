"""The logic side of the gate-drive bench: how much current the opto's LED gets, at an operating
point, from the real output of the logic through the real driver."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from analog.benches.axes import AMBIENT, ambient_axis, part_axis, spread_axis
from analog.benches.base import Scene
from analog.benches.gate_drive_parts import LED_VOLTAGE_RATIO, figure_axis
from analog.cards import Column
from analog.circuits.led_drive import DriverParts, led_side, strength
from analog.circuits.record import Circuit, Experiment, OperatingPoint
from analog.circuits.space import Axis, Floats, RangeAxis, Space
from analog.design.record import Environment, GateDrive, Supply

_REDUCERS = "analog.benches.gate_drive_measures"

GAIN = "gate_drive.driver_part.h_FE"
THRESHOLD, FORWARD = "gate_drive.driver_part.V_GS_th", "gate_drive.opto.V_F"

_READING: Final = {
    "npn": ("led_switched", ("i(vled)", "v(out)", "v(low)")),
    "nmos": ("led_switched", ("i(vled)", "v(out)", "v(low)")),
    "pnp": ("led_sourced", ("i(vled)", "v(out)", "v(high)")),
    "logic": ("led_direct", ("i(vled)", "v(out)")),
}
"""The reducer of the lit LED and the traces it reads, by driver."""

GAIN_CURRENT_A = 10e-3
"""Collector current (A) at which the cards give h_FE."""


@dataclass(frozen=True, slots=True)
class LedNetwork:
    """What the LED scenes of one design have in common; `transistor` is None for logic drive."""

    drive: GateDrive
    supply: Supply
    environment: Environment
    opto: Column
    source: Column
    transistor: Column | None

    def space(self) -> Space:
        """Return ambient, rail, resistors, LED, logic output and transistor."""
        rail = self.supply.rail
        axes: list[Axis] = [
            ambient_axis(self.environment),
            spread_axis(rail, "V"),
            part_axis(self.drive.led_resistor),
        ]
        if self.drive.base_resistor is not None:
            axes.append(part_axis(self.drive.base_resistor))
        axes.append(figure_axis(FORWARD, self.opto.figure("V_F"), LED_VOLTAGE_RATIO))
        axes.append(output_axis(self.source, rail.nominal, self.level))
        if self.transistor is not None:
            name, key = ("h_FE", GAIN) if self.bipolar else ("V_GS_th", THRESHOLD)
            axes.append(figure_axis(key, self.transistor.figure(name)))
        return Space(tuple(axes))

    @property
    def bipolar(self) -> bool:
        return self.drive.driver in ("npn", "pnp")

    @property
    def level(self) -> str:
        """Which of the logic's outputs lights the LED: ``OH``, or ``OL`` for a PNP switch."""
        return "OL" if self.drive.driver == "pnp" and self.source.has("I_OL") else "OH"

    def lit(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows with the LED on."""
        rail = values[self.supply.rail.key]
        rows = {
            "ambient_c": values[AMBIENT],
            "rail": rail,
            "v_in": rail if self.drive.driver == "pnp" else np.zeros(np.shape(rail)),
            "r_led": values[self.drive.led_resistor.key],
            "v_f": values[FORWARD],
        } | self._outputs(values, np.shape(rail))
        if self.drive.base_resistor is not None:
            rows["r_base"] = values[self.drive.base_resistor.key]
        if self.transistor is not None and self.bipolar:
            spice = self.transistor.spice
            # Both parts of the base current are scaled alike, so that h_FE is met exactly.
            scale = values[GAIN] / model_gain(spice)
            rows["beta"] = scale * spice.get("BF", 100.0)
            rows["base_leak"] = spice.get("ISE", 0.0) / scale
        elif self.transistor is not None:
            rows["v_gs_th"] = values[THRESHOLD]
        return rows | self._opto(np.shape(rail))

    def dark(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows with the LED off, the transistor leaking what its card allows."""
        rows = self.lit(values)
        leakage = leakage_a(self.transistor, self.environment.ambient_maximum)
        off = rows["rail"] - rows["v_in"]
        return rows | {"v_in": off, "leakage": np.full(np.shape(rows["rail"]), leakage)}

    def _outputs(self, values: Mapping[str, Floats], shape: tuple[int, ...]) -> dict[str, Floats]:
        """Return the strength of both output transistors; the one in use is an axis."""
        axis, rail = values[output_key(self.level)], self.supply.rail.nominal
        if self.level == "OL":
            high = self._strength(np.array([self.source.figure("I_OH", rail).low]), "OH")[0]
            return {"kp_high": np.full(shape, high), "kp_low": self._strength(axis, "OL")}
        low = np.full(shape, self._strength_low())
        return {"kp_high": self._strength(axis, "OH"), "kp_low": low}

    def least_current_a(self) -> float:
        """Return the least LED current (A): rail low, resistor and forward voltage high.

        A switching transistor is taken to lose 0.3 V; the simulation of this scene judges that.
        """
        rail = self.supply.rail.low
        resistor = self._largest_resistor()
        forward = self.opto.figure("V_F").high
        forward *= float(np.interp(self.environment.ambient_minimum, *LED_VOLTAGE_RATIO))
        if self.transistor is not None:
            return max(0.0, (rail - forward - 0.3) / resistor)
        least = output_axis(self.source, self.supply.rail.nominal, "OH").low
        conductance = float(self._strength(np.array([least]), "OH")[0])
        return _through_output(conductance, rail, forward, resistor)

    def _largest_resistor(self) -> float:
        axis = part_axis(self.drive.led_resistor)
        ends = (self.environment.ambient_minimum, self.environment.ambient_maximum)
        return float(np.max(axis.decode(np.ones(2), {AMBIENT: np.array(ends)})))

    def _strength(self, current: Floats, level: str) -> Floats:
        rail = self.supply.rail.nominal
        drop = _test_drop(self.source, level, rail)
        return np.array([strength(float(each), drop, rail) for each in current])

    def _strength_low(self) -> float:
        rail = self.supply.rail.nominal
        name = "I_OL" if self.source.has("I_OL") else "I_OH"
        current = self.source.figure(name, rail).low
        return strength(current, _test_drop(self.source, name[2:], rail), rail)

    def _opto(self, shape: tuple[int, ...]) -> dict[str, Floats]:
        """Return what the sub-circuit needs besides its LED: the output side is not used."""
        fixed = {
            "i_ft": self.opto.figure("I_FT").high,
            "i_f_test": self.opto.figure("I_F_test").centre,
            "v_tm": self.opto.figure("V_TM").centre,
            "i_tm_test": 0.1,
            "r_opto": 6.0,
            "i_l_opto": 1e-3,
            "i_h_opto": 1e-3,
            "v_inh": 1e6,
        }
        return {name: np.full(shape, value) for name, value in fixed.items()}


def led_scenes(network: LedNetwork, suffix: str) -> tuple[Scene, Scene]:
    """Return the LED on and off; identifiers end in `suffix` where there are several makers."""
    parts = driver_parts(network)
    elements, models = led_side(parts)
    reducer, saves = _READING[network.drive.driver]
    measures = ("led_current", "led_current_maximum", "driver_saturation")

    def experiment(title: str, reducer: str, outputs: tuple[str, ...]) -> Experiment:
        circuit = Circuit(title, elements, models, ("opto_triac",))
        return Experiment(circuit, OperatingPoint(), saves, f"{_REDUCERS}:{reducer}", outputs)

    on = experiment("Gate drive: LED on", reducer, measures)
    off = experiment("Gate drive: LED off", "led_off", ("led_current_off",))
    space = network.space()
    return (
        Scene(f"led-on{suffix}", "LED on", on, space, network.lit, measures),
        Scene(f"led-off{suffix}", "LED off", off, space, network.dark, ("led_current_off",)),
    )


def driver_parts(network: LedNetwork) -> DriverParts:
    """Return the circuit's view of the driver."""
    drive = network.drive
    spice = tuple(network.transistor.spice.items()) if network.transistor else ()
    keys = [("RLED", drive.led_resistor.key), ("XOPTO", "gate_drive.opto")]
    if drive.base_resistor is not None:
        keys.append(("RBASE", drive.base_resistor.key))
    return DriverParts(
        drive.driver,
        drive.base_resistor is not None,
        drive.opto,
        drive.driver_part or "",
        spice,
        (*keys, ("QDRIVE", "gate_drive.driver_part"), ("MDRIVE", "gate_drive.driver_part")),
    )


def output_key(level: str) -> str:
    """Return the key of the logic's output current at the level ``OH`` or ``OL``."""
    return f"gate_drive.source.I_{level}"


def output_axis(source: Column, rail_v: float, level: str) -> RangeAxis:
    """Return the current (A) the logic's output gives at the card's test level ``OH`` or ``OL``.

    From the guaranteed minimum, that of the hot table where the card has one, to the typical
    figure and its spread.
    """
    name = f"I_{level}"
    figure = source.figure(name, rail_v)
    low = figure.low
    if source.has(f"{name}_hot"):
        low = min(low, source.figure(f"{name}_hot", rail_v).low)
    return RangeAxis(output_key(level), "A", low, figure.centre, max(figure.high, figure.centre))


def model_gain(spice: Mapping[str, float]) -> float:
    """Return the current gain of a Gummel-Poon transistor at `GAIN_CURRENT_A`, Early effect out.

    With q = (1 + √(1 + 4·I/IKF))/2 and I = IS·e^(v/V_t): I_C = I/q, hence I = I_C + I_C²/IKF, and
    I_B = I/BF + ISE·(I/IS)^(1/NE).
    """
    collector = GAIN_CURRENT_A
    ideal = collector + collector**2 / spice.get("IKF", math.inf)
    junction = (ideal / spice.get("IS", 1e-16)) ** (1 / spice.get("NE", 1.5))
    return float(collector / (ideal / spice.get("BF", 100.0) + spice.get("ISE", 0.0) * junction))


def leakage_a(transistor: Column | None, hot_c: float) -> float:
    """Return the largest leakage (A) of the switched-off transistor at `hot_c`.

    Silicon leakage doubles every 10 K (from memory); MOSFETs with a hot figure use it.
    """
    if transistor is None:
        return 0.0
    if transistor.has("I_DSS_hot"):
        return float(transistor.figure("I_DSS_hot").high)
    name = "I_C_off" if transistor.has("I_C_off") else "I_DSS"
    cold = transistor.figure(name).high if transistor.has(name) else 0.0
    return float(cold * 2 ** (max(0.0, hot_c - 25.0) / 10.0))


def _test_drop(source: Column, level: str, rail_v: float) -> float:
    """Return how far (V) the output is from its rail at the card's test current."""
    test = source.figure(f"V_{level}_test", rail_v).centre
    return rail_v - test if level == "OH" else test


def _through_output(conductance: float, rail_v: float, forward_v: float, resistor: float) -> float:
    """Return the LED current (A) out of a level-1 output, by bisection on its drop."""
    from analog.circuits.led_drive import LOGIC_THRESHOLD_V

    drive = rail_v - LOGIC_THRESHOLD_V
    low, high = 0.0, max(0.0, rail_v - forward_v)
    for _ in range(60):
        drop = (low + high) / 2
        triode = min(drop, drive)
        delivered = conductance * (drive * triode - triode**2 / 2)
        if delivered < (rail_v - forward_v - drop) / resistor:
            low = drop
        else:
            high = drop
    return max(0.0, (rail_v - forward_v - high) / resistor)
