"""Circuits and reducers for the clock-input model; importable in worker processes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from analog.circuits.record import Circuit, Dc, Element, Experiment, Param, Pwl, Sine, Transient
from analog.engine import Run
from analog.measures import crossings

INPUT_NAMES = ("f_th", "gain", "tau", "vnom", "i_ol", "v_ol", "i_oh", "v_oh")
RAMP_NAMES = ("vdd", "level_0", "level_1", "stop", "step")
NOISE_NAMES = ("noise", "noise_hz", "noise_deg")
LEAD_NAMES = ("lead_r", "lead_l", "load")

FROM_4000B = {"vnom": 10.0, "i_ol": 2.6e-3, "v_ol": 0.5, "i_oh": 2.6e-3, "v_oh": 0.5}
FROM_HC = {"vnom": 5.0, "i_ol": 6e-3, "v_ol": 0.26, "i_oh": 6e-3, "v_oh": 0.26}


def noisy_edge() -> Experiment:
    """A rising ramp with a sine on it into the input; 50 pF load, ideal supply leads."""
    elements = (
        Element("V1", "V", ("vdd", "0"), Dc(Param("vdd"))),
        Element("V2", "V", ("ramp", "0"), ramp()),
        Element(
            "V3",
            "V",
            ("pin", "ramp"),
            Sine(Param("noise"), Param("noise_hz"), Param("noise_deg")),
        ),
        clock_input(("pin", "out", "vdd", "0")),
        Element("C1", "C", ("out", "0"), 50e-12),
    )
    return experiment(elements, "swings", ("edges", "level"))


def common_lead() -> Experiment:
    """A clean ramp into an input whose vss pin and load share a lead of R and L to ground."""
    elements = (
        Element("V1", "V", ("vdd", "0"), Dc(Param("vdd"))),
        Element("V2", "V", ("pin", "0"), ramp()),
        Element("R1", "R", ("vss", "lead"), Param("lead_r")),
        Element("L1", "L", ("lead", "0"), Param("lead_l")),
        clock_input(("pin", "out", "vdd", "vss")),
        Element("C1", "C", ("out", "0"), Param("load")),
    )
    return experiment(elements, "swings", ("edges", "level"))


def ramp() -> Pwl:
    return Pwl(((0.0, Param("level_0")), (Param("stop"), Param("level_1"))))


def clock_input(nodes: tuple[str, ...]) -> Element:
    arguments = tuple((name, Param(name)) for name in INPUT_NAMES)
    return Element("X1", "X", nodes, model="clock_input", arguments=arguments)


def experiment(elements: tuple[Element, ...], reducer: str, outputs: tuple[str, ...]) -> Experiment:
    return Experiment(
        Circuit("clock input", elements, (), ("clock_input",)),
        Transient(Param("stop"), Param("step"), method="gear", reltol=1e-4, trtol=1.0),
        ("v(pin)", "v(out)"),
        f"clock_input_cases:{reducer}",
        outputs,
    )


def swings(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Count output swings between 20 % and 80 %; give the input level at the first half-swing."""
    half = crossings(run.time, run.trace("v(out)"), 0.5 * row["vdd"])
    level = np.interp(half[0], run.time, run.trace("v(pin)")) if half.size else np.nan
    return {"edges": count_swings(run.trace("v(out)") / row["vdd"]), "level": float(level)}


def count_swings(share: NDArray[np.float64]) -> float:
    """Return how often a trace goes from below 0.2 to above 0.8 or back."""
    state = np.where(share < 0.2, -1, np.where(share > 0.8, 1, 0))
    settled = state[state != 0]
    return float(np.count_nonzero(np.diff(settled)))


def settled(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    """Give the output voltage of an operating point."""
    return {"out": float(run.trace("v(out)")[-1])}
