"""The mains side of the gate-drive bench: its axes, and the rows made of their values."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.axes import AMBIENT, ambient_axis, part_axis, spread_axis
from analog.benches.gate_drive_parts import figure_axis, ratio_curve, trigger_axis
from analog.cards import Column
from analog.circuits.space import Axis, Floats, RangeAxis, Space
from analog.design.record import Environment, GateDrive, Load, Mains

MAINS = "mains.voltage"
V_GT, V_TM, V_INH = "gate_drive.triac.V_GT", "gate_drive.opto.V_TM", "gate_drive.opto.V_INH"

NEVER_A = 1e3
"""Trigger current (A) of a quadrant in which the triac does not trigger."""

NO_SHUNT_OHM = 1e12
RANDOM_PHASE_V = 1e6
PULSE_EDGE_S = 1e-6

IRON_LOSS_SHARE = 0.25
"""Share of an inductive load's power that its parallel loss resistance takes when the design
does not state one: common practice, no source."""

SETTLING_TIME_CONSTANTS = 7.0
"""L/R time constants before counting starts: e^-7 leaves 0.1 % of the switch-on offset."""


@dataclass(frozen=True, slots=True)
class GateNetwork:
    """What the scenes on the mains side of one design have in common."""

    mains: Mains
    environment: Environment
    drive: GateDrive
    load: Load
    opto: Column
    triac: Column
    led_current_a: float
    """The least current the LED is guaranteed to get."""

    @property
    def inductive(self) -> bool:
        return self.load.kind == "inductive"

    @property
    def snubber(self) -> bool:
        drive = self.drive
        return drive.snubber_resistor is not None and drive.snubber_capacitor is not None

    @property
    def load_current_a(self) -> float:
        """The load's nominal current, A rms."""
        load = self.load
        return load.power.nominal / load.power_factor / (load.voltage or self.mains.voltage)

    @property
    def period_s(self) -> float:
        return 1.0 / self.mains.frequency

    @property
    def lag_s(self) -> float:
        """How long after the mains' zero the load's steady current passes zero."""
        angle = math.acos(self.load.power_factor) if self.inductive else 0.0
        return angle / (2 * math.pi) * self.period_s

    @property
    def settling_cycles(self) -> int:
        """Whole cycles before counting.

        A resistive load and the parts forget within microseconds what the half-cycle before
        did, so the first cycle is already the steady one; an inductive load keeps the offset of
        its switch-on for some L/R.
        """
        if not self.inductive:
            return 0
        row = load_row(self.load, self.mains, np.array([self.load.power.nominal]))
        constant = float(row["l_load"][0] / row["r_load"][0])
        return math.ceil(SETTLING_TIME_CONSTANTS * constant / self.period_s)

    def space(self, held: bool) -> Space:
        """Return the axes: those that matter with the triac held off, or all of them."""
        drive = self.drive
        axes: list[Axis] = [
            mains_axis(self.mains),
            ambient_axis(self.environment),
            spread_axis(self.load.power, "W"),
            part_axis(drive.gate_resistor),
        ]
        if drive.gate_shunt_resistor is not None:
            axes.append(part_axis(drive.gate_shunt_resistor))
        curve = ratio_curve(self.triac, "V_GT_ratio")
        axes.append(figure_axis(V_GT, self.triac.figure("V_GT"), curve))
        axes.append(figure_axis(V_TM, self.opto.figure("V_TM")))
        if not held:
            axes += [trigger_axis(self.triac, 1), trigger_axis(self.triac, 3)]
            if self.opto.has("V_INH"):
                axes.append(figure_axis(V_INH, self.opto.figure("V_INH")))
        return Space(tuple(axes))

    def held_off(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows with the main path held off, one cycle counted after one to settle."""
        rows = self._common(values)
        start = rows["period"] if self.inductive else 0.0 * rows["period"]
        most = {q: self.triac.figure(f"I_GT_{q}").high for q in (1, 3)}
        return rows | {
            "i_gt_1": most[1] + 0.0 * start,
            "i_gt_3": most[3] + 0.0 * start,
            "held": 1.0 + 0.0 * start,
            "start": start,
            "stop": start + rows["period"],
            "step": rows["period"] / 200,
        }

    def firing(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows with the triac at work, one cycle counted after settling."""
        rows = self._common(values)
        period = rows["period"]
        start = self.settling_cycles * period + self.lag_s
        return rows | {
            "i_gt_1": values["gate_drive.triac.I_GT_1"],
            "i_gt_3": values["gate_drive.triac.I_GT_3"],
            "held": 0.0 * start,
            "lag": self.lag_s + 0.0 * start,
            "start": start,
            "stop": start + period,
            # Commutation needs 20 µs; a resistive load stops by itself at the zero.
            "step": np.minimum(20e-6, period) if self.inductive else period / 200,
            "pulse_end": (self.drive.pulse_width or -1.0) + 0.0 * start,
        }

    def _common(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        mains = values[MAINS]
        rows = load_row(self.load, self.mains, values[self.load.power.key])
        rows |= self._triac(values[AMBIENT]) | self._opto(values[AMBIENT])
        rows |= {
            "ambient_c": values[AMBIENT],
            "mains_peak": math.sqrt(2) * mains,
            "r_gate": values[self.drive.gate_resistor.key],
            "v_gt": values[V_GT],
            "v_tm": values[V_TM],
        }
        shunt = self.drive.gate_shunt_resistor
        rows["r_gk"] = values[shunt.key] if shunt else np.full(np.shape(mains), NO_SHUNT_OHM)
        if V_INH in values:
            rows["v_inh"] = values[V_INH]
        if self.drive.led_drive == "pulsed" and self.drive.pulse_width is not None:
            width = self.drive.pulse_width
            pulse = {"pulse_width": width, "pulse_edge": PULSE_EDGE_S}
            rows |= _filled(mains, pulse | {"half_period": self.period_s / 2})
        if self.drive.snubber_resistor and self.drive.snubber_capacitor:
            snubber = (self.drive.snubber_resistor, self.drive.snubber_capacitor)
            names = ("r_snubber", "c_snubber")
            rows |= _filled(mains, {n: p.nominal for n, p in zip(names, snubber, strict=True)})
        own = (self.drive.opto_snubber_resistor, self.drive.opto_snubber_capacitor)
        if own[0] is not None and own[1] is not None:
            rows |= _filled(mains, {"r_opto_snubber": own[0].nominal, "c_opto": own[1].nominal})
        fixed = {"mains_hz": self.mains.frequency, "period": self.period_s}
        return rows | _filled(mains, fixed)

    def _triac(self, ambient: Floats) -> dict[str, Floats]:
        """Return the triac's fixed parameters: I_L and I_H at their guaranteed worst."""
        column = self.triac
        ratio = np.interp(ambient, *ratio_curve(column, "I_H_ratio"))
        latching = column.figure("I_L").high
        holding = min(column.figure("I_H").high, latching)
        others = {f"i_gt_{q}": _most(column, f"I_GT_{q}", NEVER_A) for q in (2, 4)}
        fixed = others | {
            "v_t0": _or(column, "V_T0", 0.85),
            "r_on": _or(column, "R_d", 0.05),
            "dvdt": _least(column, "dvdt_static", 100e6) / 1e6,
            "didt_c": _least(column, "didt_c", 5e3) / 1e3,
        }
        return _filled(ambient, fixed) | {"i_l": latching * ratio, "i_h": holding * ratio}

    def _opto(self, ambient: Floats) -> dict[str, Floats]:
        """Return the opto's fixed parameters; the LED needs its most, aged and cold."""
        column = self.opto
        ageing = _most(column, "led_ageing_factor", 1.0)
        ratio = np.interp(ambient, *ratio_curve(column, "I_FT_ratio"))
        fixed = {
            "i_led": self.led_current_a,
            "v_f": column.figure("V_F").centre,
            "i_f_test": _or(column, "I_F_test", 10e-3),
            "i_tm_test": _or(column, "I_TM_test", 0.1),
            "r_opto": _or(column, "R_d", 6.0),
            "i_h_opto": column.figure("I_H").centre,
            "i_l_opto": _or(column, "I_L", 1.5 * column.figure("I_H").centre),
            "v_inh": RANDOM_PHASE_V,
        }
        return _filled(ambient, fixed) | {"i_ft": column.figure("I_FT").high * ageing * ratio}


def mains_axis(mains: Mains) -> RangeAxis:
    """Return the mains voltage (V rms): function counts at its low end, stress at its high."""
    return RangeAxis(MAINS, "V", mains.voltage_minimum, mains.voltage, mains.voltage_maximum)


def load_row(load: Load, mains: Mains, power_w: Floats) -> dict[str, Floats]:
    """Return the load's elements (Ω, H, F) at each power, shape (n,).

    Power and power factor are those at the terminals at the load's rated voltage. The loss
    resistance takes its part of the power, the series branch of R and L the rest and all of the
    reactive power.
    """
    rated = load.voltage or mains.voltage
    impedance = rated**2 * load.power_factor / power_w
    if load.kind != "inductive":
        return {"r_load": rated**2 / power_w, "load_impedance": rated**2 / power_w}
    loss_ohm = load.parallel_resistance or rated**2 / (IRON_LOSS_SHARE * load.power.nominal)
    # A branch without any resistance of its own would never settle.
    active = np.maximum(power_w - rated**2 / loss_ohm, 0.05 * power_w)
    reactive = power_w * math.tan(math.acos(load.power_factor))
    square = active**2 + reactive**2
    omega = 2 * math.pi * mains.frequency
    return {
        "r_load": rated**2 * active / square,
        "l_load": np.maximum(rated**2 * reactive / square / omega, 1e-6),
        "load_impedance": impedance,
    } | _filled(power_w, {"r_loss": loss_ohm, "c_wind": max(load.winding_capacitance, 1e-12)})


def _filled(like: Floats, fixed: Mapping[str, float]) -> dict[str, Floats]:
    return {name: np.full(np.shape(like), value) for name, value in fixed.items()}


def _or(column: Column, name: str, otherwise: float) -> float:
    return column.figure(name).centre if column.has(name) else otherwise


def _most(column: Column, name: str, otherwise: float) -> float:
    return column.figure(name).high if column.has(name) else otherwise


def _least(column: Column, name: str, otherwise: float) -> float:
    return column.figure(name).low if column.has(name) else otherwise
