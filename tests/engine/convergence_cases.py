"""Each model in a typical circuit, every figure a parameter; importable in worker processes."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from schmitt_noise_cases import ARGUMENT_PARAMETERS

from analog.cards import find_card
from analog.circuits.disturbances import BURST_GENERATOR, burst
from analog.circuits.record import Circuit, Dc, Element, Experiment, Model, Param, Sine, Transient
from analog.circuits.triac_output import (
    OutputParts,
    led_current,
    mains_side,
)
from analog.engine import Run
from analog.measures import crossings


def sensed_mains() -> Experiment:
    """Two mains cycles with harmonic-like noise and a burst through RC and clamps into a Schmitt.

    The supply is stiff; the burst comes through a stray capacitance of 10 pF.
    """
    diode = Model("clamp", "D", tuple(find_card("1N4148").columns[0].spice.items()))
    elements = (
        Element("VRAIL", "V", ("vdd", "0"), Dc(Param("v_rail"))),
        Element("VMAINS", "V", ("clean", "0"), Sine(Param("peak"), Param("mains_hz"), 90.0)),
        Element("VNOISE", "V", ("noisy", "clean"), Sine(Param("noise"), Param("noise_hz"))),
        Element("VBURST", "V", ("spark", "0"), burst(Param("height"), Param("burst_start"))),
        Element("RBURST", "R", ("spark", "stray"), BURST_GENERATOR.resistance_ohm),
        Element("CSTRAY", "C", ("stray", "pin"), Param("c_stray")),
        Element("RFILTER", "R", ("noisy", "pin"), Param("r_filter")),
        Element("CFILTER", "C", ("pin", "0"), Param("c_filter")),
        Element("D1", "D", ("pin", "vdd"), model="clamp"),
        Element("D2", "D", ("0", "pin"), model="clamp"),
        Element(
            "XPART", "X", ("pin", "out", "vdd", "0"), model="schmitt", arguments=ARGUMENT_PARAMETERS
        ),
        Element("CL", "C", ("out", "0"), Param("c_load")),
    )
    return Experiment(
        Circuit("sensed mains", elements, (diode,), ("schmitt",)),
        Transient(Param("stop"), 50e-6, reltol=1e-4, trtol=3.0),
        ("v(pin)", "v(out)"),
        "convergence_cases:switched",
        ("edges", "lowest", "highest"),
    )


def switched(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    out = run.trace("v(out)")
    return {
        "edges": float(crossings(run.time, out, row["v_rail"] / 2).size),
        "lowest": float(out.min()),
        "highest": float(out.max() - row["v_rail"]),
    }


def triac_output(inductive: bool, snubber: bool, pulsed: bool) -> Experiment:
    """Load, triac, gate resistor and opto-triac."""
    parts = OutputParts(inductive, True, snubber, "triac", "opto")
    circuit = Circuit(
        "triac output", mains_side(parts, led_current(pulsed)), (), ("triac", "opto_triac")
    )
    return Experiment(
        circuit,
        Transient(Param("stop"), 20e-6, reltol=1e-4),
        ("i(vload)", "v(mt2)", "v(live)"),
        "convergence_cases:driven",
        ("rms", "highest"),
    )


def driven(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Give the load's rms over the last cycle (A) and the largest voltage on the triac (V)."""
    inside = run.time > run.time[-1] - 1 / row["mains_hz"]
    time, current = run.time[inside], run.trace("i(vload)")[inside]
    mean = np.trapezoid(current * current, time) / (time[-1] - time[0])
    return {"rms": math.sqrt(mean), "highest": float(np.abs(run.trace("v(mt2)")).max())}
