"""Conformance measures of diodes, Zeners, bipolar transistors and MOSFETs (built-in models)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Literal

import card_device_cases as cases
import numpy as np
from conformance_parts import Part
from model_rows import run_row, run_rows

from analog.circuits.record import (
    Circuit,
    Dc,
    Element,
    Experiment,
    Model,
    OperatingPoint,
    Param,
    Pwl,
    Transient,
)
from analog.engine import Engine, Run

_POLARITY: dict[str, tuple[Literal["NPN", "PNP"], float]] = {
    "npn": ("NPN", 1.0),
    "pnp": ("PNP", -1.0),
}
RAMP_S = 1e-7
"""Duration of the ramp that measures a capacitance: its current is far above any leakage."""

_AT = {"0mA1": 0.1e-3, "1mA": 1e-3, "50mA": 50e-3, "100mA": 100e-3}


def forward_voltage(engine: Engine, part: Part, name: str) -> float:
    """Return the drop (V) at the figure's current: that of its name, or `I_F_test`."""
    current = _AT.get(name.removeprefix("V_F_")) or part.centre("I_F_test")
    return run_row(engine, cases.diode(part.column), {"current": current})["voltage"]


def zener_voltage(engine: Engine, part: Part) -> float:
    row = {"current": part.centre("I_Z_test")}
    return run_row(engine, cases.diode(part.column, reverse=True), row)["voltage"]


def zener_resistance(engine: Engine, part: Part) -> float:
    """Return the slope (Ω) over 5 % of the test current."""
    test = part.centre("I_Z_test")
    rows = [{"current": share * test} for share in (1.0, 1.05)]
    low, high = run_rows(engine, cases.diode(part.column, reverse=True), rows)["voltage"]
    return float((high - low) / (0.05 * test))


def saturation(engine: Engine, part: Part, name: str) -> float:
    """Return |V_CE| or |V_BE| (V) at the currents the figure states."""
    polarity, sign = _POLARITY[part.card.kind]
    collector = _AT.get(name.rpartition("_")[2], 10e-3)
    stated = re.search(r"base ([0-9.]+) mA", part.figure(name).conditions)
    usual = {10e-3: 1e-3}.get(collector, 5e-3)
    base = float(stated.group(1)) * 1e-3 if stated else usual
    row = {"collector": sign * collector, "base": sign * base}
    output = "v_be" if "BE" in name else "v_ce"
    return run_row(engine, cases.saturated(part.column, polarity), row)[output]


def current_gain(engine: Engine, part: Part, name: str) -> float:
    """Return I_C/I_B at the collector current of the figure."""
    polarity, sign = _POLARITY[part.card.kind]
    conditions = part.figure(name).conditions
    at_2ma = name == "h_FE" and "2 mA" in conditions
    collector = _AT.get(name.removeprefix("h_FE_"), 2e-3 if at_2ma else 10e-3)
    bases = np.geomspace(collector / 1000, collector / 5, 60)
    volts = 5.0 if at_2ma else 1.0
    rows = [{"collector": sign * volts, "base": sign * base} for base in bases.tolist()]
    found = run_rows(engine, cases.gain(part.column, polarity), rows)["current"]
    base = np.exp(np.interp(np.log(collector), np.log(found), np.log(bases)))
    return float(collector / base)


def gate_threshold(engine: Engine, part: Part) -> float:
    """Return V_GS (V) with gate and drain tied at 1 mA."""
    levels = np.linspace(0.2, 5.0, 97)
    rows = [{"drain": level, "level": level} for level in levels.tolist()]
    found = run_rows(engine, cases.mosfet(part.column), rows)["current"]
    return float(np.interp(1e-3, found, levels))


def on_resistance(engine: Engine, part: Part, gate_v: float) -> float:
    """Return V_DS/I_D (Ω) with 0.1 V across it."""
    row = {"drain": 0.1, "level": gate_v}
    return 0.1 / run_row(engine, cases.mosfet(part.column), row)["current"]


def on_current(engine: Engine, part: Part) -> float:
    row = {"drain": 10.0, "level": 4.5}
    return run_row(engine, cases.mosfet(part.column), row)["current"]


def base_voltage(engine: Engine, part: Part) -> float:
    """Return |V_BE| (V) at 2 mA and |V_CE| 5 V, found among base currents."""
    polarity, sign = _POLARITY[part.card.kind]
    elements = (
        Element("V1", "V", ("out", "0"), Dc(sign * 5.0)),
        Element("I2", "I", ("0", "base"), Dc(Param("base"))),
        Element("Q1", "Q", ("out", "base", "0"), model="part"),
    )
    model = Model("part", polarity, tuple(part.column.spice.items()))
    experiment = Experiment(
        Circuit("base", elements, (model,)),
        OperatingPoint(),
        ("v(base)", "i(v1)"),
        "conformance_devices:working_point",
        ("v_be", "i_c"),
    )
    bases = np.geomspace(1e-6, 100e-6, 60)
    found = run_rows(engine, experiment, [{"base": sign * base} for base in bases.tolist()])
    return float(np.interp(2e-3, found["i_c"], found["v_be"]))


def working_point(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {
        "v_be": abs(float(run.trace("v(base)")[-1])),
        "i_c": abs(float(run.trace("i(v1)")[-1])),
    }


def junction_capacitance(engine: Engine, part: Part) -> float:
    """Return the current over its slope (F) around the reverse voltage the figure states."""
    stated = re.search(r"([0-9.]+) V", part.figure("C_D").conditions)
    volts = float(stated.group(1)) if stated else 0.0
    elements = (
        Element("V1", "V", ("0", "out"), ramp(volts)),
        Element("D1", "D", ("out", "0"), model="part"),
    )
    return charging(engine, part, elements, "D")


def input_capacitance(engine: Engine, part: Part) -> float:
    """Return the gate's current over its slope (F), gate near 0 V, V_DS as the figure states."""
    stated = re.search(r"V_DS ([0-9.]+) V", part.figure("C_iss").conditions)
    elements = (
        Element("V1", "V", ("0", "gate"), ramp(0.0)),
        Element("V2", "V", ("drain", "0"), Dc(float(stated.group(1)) if stated else 25.0)),
        Element("M1", "M", ("drain", "gate", "0", "0"), model="part"),
    )
    return charging(engine, part, elements, "NMOS")


def ramp(volts: float) -> Pwl:
    return Pwl(((0.0, volts - 0.05), (RAMP_S, volts + 0.05)))


def charging(
    engine: Engine, part: Part, elements: tuple[Element, ...], kind: Literal["D", "NMOS"]
) -> float:
    model = Model("part", kind, tuple(part.column.spice.items()))
    experiment = Experiment(
        Circuit("charging", elements, (model,)),
        Transient(RAMP_S, RAMP_S / 200, reltol=1e-5),
        ("i(v1)",),
        "conformance_devices:charged",
        ("farads",),
    )
    return run_row(engine, experiment, {"slope": 0.1 / RAMP_S})["farads"]


def charged(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Give the current in the middle of the ramp over the ramp's slope."""
    current = float(np.interp(RAMP_S / 2, run.time, run.trace("i(v1)")))
    return {"farads": abs(current) / row["slope"]}
