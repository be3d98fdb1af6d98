"""Circuits that measure the opto-triac model alone, and what is read off them."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from triac_cases import experiment

from analog.circuits.record import (
    Circuit,
    Dc,
    Element,
    Experiment,
    OperatingPoint,
    Param,
    Pulse,
    Pwl,
    Sine,
)
from analog.circuits.triac_output import OPTO_PARAMETERS
from analog.engine import Run

OPTO = {
    "i_ft": 5e-3,
    "v_f": 1.2,
    "i_f_test": 10e-3,
    "v_tm": 1.8,
    "i_tm_test": 0.1,
    "r_opto": 6.0,
    "i_l_opto": 0.3e-3,
    "i_h_opto": 0.2e-3,
    "v_inh": 1e6,
}


def opto(anode: str, t2: str, t1: str) -> Element:
    arguments = tuple((name, Param(value)) for name, value in OPTO_PARAMETERS)
    return Element("XO", "X", (anode, "0", t2, t1), model="opto_triac", arguments=arguments)


def led_ramp() -> Experiment:
    """The LED current rises in 100 ms to `i_end`; `supply` across the output through 1 kΩ."""
    return experiment(
        (
            Element("IL", "I", ("0", "an"), Pwl(((0.0, 0.0), (0.1, Param("i_end"))))),
            Element("VS", "V", ("a", "0"), Dc(Param("supply"))),
            Element("RS", "R", ("a", "m"), 1e3),
            opto("an", "m", "0"),
        ),
        "opto_cases:lit",
        ("i_led",),
        ("v(m)",),
        stop_s=0.1,
        step_s=1e-4,
    )


def lit(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    low = np.flatnonzero(np.abs(run.trace("v(m)")) < 0.5 * abs(row["supply"]))
    current = run.time[low[0]] / 0.1 * row["i_end"] if low.size else math.nan
    return {"i_led": float(current)}


def led_point() -> Experiment:
    """The LED at a fixed current; its output between two nodes held at 0."""
    return Experiment(
        Circuit(
            "led",
            (
                Element("IL", "I", ("0", "an"), Dc(Param("i_led"))),
                Element("RS", "R", ("m", "0"), 1e3),
                opto("an", "m", "0"),
            ),
            (),
            ("opto_triac",),
        ),
        OperatingPoint(),
        ("v(an)",),
        "opto_cases:forward",
        ("v_forward",),
    )


def forward(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    del row
    return {"v_forward": float(run.trace("v(an)")[0])}


def opto_conducting() -> Experiment:
    """The LED on; the output carries a current that rises in 1 ms to `i_main`."""
    return experiment(
        (
            Element("IL", "I", ("0", "an"), Dc(Param("i_led"))),
            Element("IM", "I", ("0", "m"), Pwl(((0.0, 0.0), (1e-3, Param("i_main"))))),
            Element("RP", "R", ("m", "0"), 1e6),
            opto("an", "m", "0"),
        ),
        "last_voltage",
        ("v_on",),
        ("v(m)",),
        stop_s=2e-3,
        step_s=2e-5,
    )


def lit_at_crest() -> Experiment:
    """A 50 Hz mains of 325 V peak over 1 kΩ and the output; the LED comes on at `t_on`."""
    step = Pulse(0.0, Param("i_led"), Param("t_on"), 1e-6, 1e-6, 1.0, 2.0)
    return experiment(
        (
            Element("IL", "I", ("0", "an"), step),
            Element("VS", "V", ("a", "0"), Sine(325.0, 50.0)),
            Element("RS", "R", ("a", "m"), 1e3),
            opto("an", "m", "0"),
        ),
        "opto_cases:first_conduction",
        ("t_conducts",),
        ("v(a)", "v(m)"),
        stop_s=0.03,
        step_s=1e-4,
    )


def first_conduction(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """When the voltage over the resistor first exceeds 5 V after the LED came on."""
    over = np.abs(run.trace("v(a)") - run.trace("v(m)")) > 5.0
    at = np.flatnonzero(over & (run.time > row["t_on"]))
    return {"t_conducts": float(run.time[at[0]]) if at.size else math.nan}


def inhibit() -> Experiment:
    """The LED on from the start, the output voltage jumping at 1 ms to `supply`."""
    jump = Pwl(((0.0, 0.0), (1e-3, 0.0), (1.1e-3, Param("supply"))))
    step = Pulse(0.0, Param("i_led"), 2e-3, 1e-6, 1e-6, 1.0, 2.0)
    return experiment(
        (
            Element("IL", "I", ("0", "an"), step),
            Element("VS", "V", ("a", "0"), jump),
            Element("RS", "R", ("a", "m"), 1e3),
            opto("an", "m", "0"),
        ),
        "still_on",
        ("on",),
        ("v(m)",),
        stop_s=4e-3,
        step_s=5e-5,
    )
