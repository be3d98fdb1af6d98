"""Circuits that measure the triac model alone, and what is read off them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from analog.circuits.record import (
    Circuit,
    Dc,
    Element,
    Experiment,
    Param,
    Pwl,
    Transient,
)
from analog.circuits.triac_output import TRIAC_PARAMETERS
from analog.engine import Run

TRIAC = {
    "i_gt_1": 10e-3,
    "i_gt_2": 12e-3,
    "i_gt_3": 14e-3,
    "i_gt_4": 35e-3,
    "v_gt": 0.9,
    "i_l": 20e-3,
    "i_h": 10e-3,
    "v_t0": 0.85,
    "r_on": 60e-3,
    "dvdt": 100.0,
    "didt_c": 5.0,
    "held": 0.0,
}


def triac(mt2: str, gate: str, *extra: tuple[str, float | Param]) -> Element:
    """Return the triac with MT1 at node 0."""
    arguments = tuple((name, Param(value)) for name, value in TRIAC_PARAMETERS)
    return Element("XT", "X", (mt2, "0", gate), model="triac", arguments=(*arguments, *extra))


def experiment(
    elements: Sequence[Element],
    reducer: str,
    outputs: tuple[str, ...],
    saves: tuple[str, ...],
    **analysis: Any,
) -> Experiment:
    settings = {"stop_s": Param("stop"), "step_s": Param("step"), "reltol": 1e-4} | analysis
    settings = {"abstol": 1e-9, "vntol": 1e-5} | settings
    return Experiment(
        Circuit(reducer, tuple(elements), (), ("triac", "opto_triac")),
        Transient(**settings),
        saves,
        reducer if ":" in reducer else f"triac_cases:{reducer}",
        outputs,
    )


# --- the gate -----------------------------------------------------------------------------------


def gate_ramp() -> Experiment:
    """MT2 fed from `supply` through `r_main`; the gate current rises in 100 ms to `i_end`."""
    return experiment(
        (
            Element("VS", "V", ("a", "0"), Dc(Param("supply"))),
            Element("RS", "R", ("a", "m"), Param("r_main")),
            Element("IG", "I", ("0", "g"), Pwl(((0.0, 0.0), (0.1, Param("i_end"))))),
            triac("m", "g"),
        ),
        "fired",
        ("i_gate", "v_gate"),
        ("v(m)", "v(g)"),
    )


def fired(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Gate current and voltage at which MT2 falls below half of the supply; NaN when never."""
    low = np.flatnonzero(np.abs(run.trace("v(m)")) < 0.5 * abs(row["supply"]))
    if not low.size:
        return {"i_gate": math.nan, "v_gate": math.nan}
    at = low[0]
    return {
        "i_gate": float(run.time[at] / 0.1 * row["i_end"]),
        "v_gate": float(run.trace("v(g)")[at - 1]),
    }


def gate_ramp_row(quadrant: int, **changes: float) -> dict[str, float]:
    sign_main = 1.0 if quadrant in (1, 2) else -1.0
    sign_gate = 1.0 if quadrant in (1, 4) else -1.0
    row = TRIAC | {"r_main": 30.0, "stop": 0.1, "step": 1e-4} | changes
    row |= {"supply": sign_main * changes.get("supply", 12.0)}
    return row | {"i_end": sign_gate * 1.3 * row[f"i_gt_{quadrant}"]}


# --- latching and holding -----------------------------------------------------------------------


def gate_pulse() -> Experiment:
    """A gate pulse of 200 µs and four times I_GT, MT2 fed with `i_main` through a resistor."""
    pulse = Pwl(
        (
            (0.0, 0.0),
            (10e-6, Param("i_pulse")),
            (200e-6, Param("i_pulse")),
            (202e-6, 0.0),
            (1.0, 0.0),
        )
    )
    return experiment(
        (
            Element("VS", "V", ("a", "0"), Dc(Param("supply"))),
            Element("RS", "R", ("a", "m"), Param("r_main")),
            Element("IG", "I", ("0", "g"), pulse),
            triac("m", "g"),
        ),
        "still_on",
        ("on",),
        ("v(m)",),
        stop_s=1e-3,
        step_s=2e-5,
    )


def still_on(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    return {"on": float(abs(run.trace("v(m)")[-1]) < 0.5 * abs(row["supply"]))}


def gate_pulse_row(
    current: float, supply: float, sign: float, **changes: float
) -> dict[str, float]:
    # Switched off at the full supply, the voltage would jump: the dv/dt is not what is measured.
    row = TRIAC | changes | {"dvdt": 1e4}
    resistance = (supply - row["v_t0"] - current * row["r_on"]) / current
    trigger = max(row["i_gt_1"], row["i_gt_3"])
    return row | {"supply": sign * supply, "r_main": resistance, "i_pulse": sign * 4 * trigger}


def falling_current() -> Experiment:
    """Fired at the start; the supply falls to 1.3 times the holding current, then to nothing.

    Slowly near the end: where a latch loses its hold it is slow to fall, the slower the nearer,
    and the current at which it drops is read too low by the two-thirds power of the slope.
    """
    near = Param("supply_near")
    fall = Pwl(((0.0, Param("supply")), (1e-3, Param("supply")), (0.021, near), (0.121, 0.0)))
    pulse = Pwl(((0.0, 0.0), (1e-5, Param("i_pulse")), (2e-4, Param("i_pulse")), (2.1e-4, 0.0)))
    return experiment(
        (
            Element("VS", "V", ("a", "0"), fall),
            Element("RS", "R", ("a", "m"), Param("r_main")),
            Element("VM", "V", ("m", "m2"), Dc(0.0)),
            Element("IG", "I", ("0", "g"), pulse),
            triac("m2", "g"),
        ),
        "dropped",
        ("i_hold",),
        ("v(m)", "i(vm)"),
        stop_s=0.121,
        step_s=5e-5,
    )


def falling_row(current: float, supply: float, sign: float, **changes: float) -> dict[str, float]:
    row = gate_pulse_row(current, supply, sign, **changes)
    return row | {"supply_near": row["supply"] * 1.3 * row["i_h"] / current}


def dropped(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """The current at which the voltage, which falls with it, begins to rise for good.

    Not where it has risen: at a few milliamperes the supply is down to a few volts, and what the
    collapse takes of it is missing from the current.
    """
    volts, amperes = np.abs(run.trace("v(m)")), np.abs(run.trace("i(vm)"))
    later = np.flatnonzero(run.time > 1e-3)[0]
    left = later + np.flatnonzero(volts[later:] > row["v_t0"] + 0.2)[0]
    return {"i_hold": float(amperes[later + np.argmin(volts[later:left])])}


# --- on-state, dv/dt, commutation ---------------------------------------------------------------


def on_state() -> Experiment:
    """A steady gate current of ten times I_GT and a main current of `i_main`."""
    return experiment(
        (
            Element("IM", "I", ("0", "m"), Pwl(((0.0, 0.0), (1e-3, Param("i_main"))))),
            Element("RP", "R", ("m", "0"), 1e6),
            Element("IG", "I", ("0", "g"), Pwl(((0.0, 0.0), (1e-5, Param("i_pulse"))))),
            triac("m", "g"),
        ),
        "last_voltage",
        ("v_on",),
        ("v(m)",),
        stop_s=2e-3,
        step_s=2e-5,
    )


def last_voltage(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    del row
    return {"v_on": float(run.trace("v(m)")[-1])}


def steep_rise(constant_s: float) -> Experiment:
    """The main voltage rises from 0 to `supply` in `t_rise`, the gate left to itself."""
    rise = Pwl(((0.0, 0.0), (1e-5, 0.0), (Param("t_end"), Param("supply"))))
    return experiment(
        (
            Element("VS", "V", ("a", "0"), rise),
            Element("RS", "R", ("a", "m"), 50.0),
            Element("RG", "R", ("g", "0"), 1e5),
            triac("m", "g", ("TON", constant_s)),
        ),
        "still_on",
        ("on",),
        ("v(m)",),
        stop_s=3e-4,
        step_s=2e-6,
    )


def steep_rise_row(rate_v_per_us: float, supply: float, dvdt: float) -> dict[str, float]:
    end = 1e-5 + supply / rate_v_per_us * 1e-6
    return TRIAC | {"supply": supply, "dvdt": dvdt, "t_end": end}


def commutation(snubber: tuple[float, float | Param] | None) -> Experiment:
    """An inductor's current falls in a straight line through zero, after a fired start.

    It is driven up to 20 A by ten times the supply, then falls at supply/L, long enough for the
    stored charge to settle.
    """
    drive = Pwl(
        (
            (0.0, 0.0),
            (5e-6, 0.0),
            (6e-6, Param("up")),
            (Param("t_up"), Param("up")),
            (Param("t_down"), Param("supply")),
        )
    )
    elements = [
        Element("VS", "V", ("a", "0"), drive),
        Element("LS", "L", ("a", "m"), Param("inductance")),
        Element("RP", "R", ("a", "m"), 1e4),
        Element("CP", "C", ("a", "m"), 1e-10),
        Element("VL", "V", ("m", "m2"), Dc(0.0)),
        Element("IG", "I", ("0", "g"), Pwl(((0.0, 0.2), (5e-5, 0.2), (6e-5, 0.0)))),
        triac("m2", "g"),
    ]
    if snubber is not None:
        elements += [
            Element("RN", "R", ("m", "n"), snubber[0]),
            Element("CN", "C", ("n", "0"), snubber[1]),
        ]
    return experiment(
        elements,
        "conducts_back",
        ("on",),
        ("i(vl)",),
        step_s=5e-6,
    )


def conducts_back(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Whether the current has grown to half of what conduction would make it, after the zero."""
    full = abs(row["supply"]) / row["inductance"] * 0.4e-3
    return {"on": float(abs(run.trace("i(vl)")[-1]) > 0.5 * full)}


def commutation_row(rate_a_per_ms: float, supply: float, **changes: float) -> dict[str, float]:
    rate = rate_a_per_ms * 1e3
    return TRIAC | changes | {
        "supply": -supply,
        "inductance": supply / rate,
        "up": 10 * supply,
        "t_up": 6e-6 + 2.0 / rate,
        "t_down": 7e-6 + 2.0 / rate,
        "stop": 22.0 / rate + 0.4e-3,
    }  # fmt: skip
