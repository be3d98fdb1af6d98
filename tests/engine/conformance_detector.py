"""Conformance measures of voltage detectors: a slow ramp up and down, and sink currents.

The reducers are importable in worker processes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from conformance_parts import Part
from model_rows import run_row

from analog.circuits.record import (
    GROUND,
    Circuit,
    Dc,
    Element,
    Experiment,
    Param,
    Pwl,
    Transient,
)
from analog.circuits.reset_topologies import DETECTOR_ARGUMENTS
from analog.engine import Engine, Run
from analog.measures import first_crossing

DELAY_F = 10e-9
RAMP_S = 1.0


def _unit() -> Element:
    arguments = tuple((name, Param(name)) for name in DETECTOR_ARGUMENTS)
    return Element("XDET", "X", ("out", "vdd", GROUND, "cd"), model="detector", arguments=arguments)


def passage(engine: Engine, part: Part, name: str) -> float:
    """Return the supply (V) at which the output goes low, ``v_fall``, or high, ``v_rise``."""
    top = 2 * part.centre("V_DET")
    supply = Pwl(((0.0, 0.0), (RAMP_S, Param("top")), (2 * RAMP_S, 0.0)))
    circuit = Circuit(
        "detector",
        (
            Element("VDD", "V", ("vdd", GROUND), supply),
            Element("RPULL", "R", ("vdd", "out"), 1e6),
            _unit(),
        ),
        (),
        ("detector",),
    )
    experiment = Experiment(
        circuit,
        Transient(2 * RAMP_S, 1e-3, reltol=1e-4),
        ("v(vdd)", "v(out)"),
        "conformance_detector:ramped",
        ("v_rise", "v_fall"),
    )
    return run_row(engine, experiment, part.arguments | {"top": top})[name]


def hysteresis(engine: Engine, part: Part) -> float:
    """Return the difference (V) of both passages, over a ramp too slow for any delay."""
    return passage(engine, part, "v_rise") - passage(engine, part, "v_fall")


def ramped(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    time, supply, out = run.time, run.trace("v(vdd)"), run.trace("v(out)")
    share = out / np.maximum(supply, 1e-3)
    fallen = first_crossing(time, share, 0.5, False, after=RAMP_S)
    # Below its least supply the output floats: the last rise on the way up is the release.
    way_up = time <= RAMP_S
    low = np.flatnonzero(way_up & (share < 0.5) & (supply > 1.0))
    risen = float(time[low[-1]]) if low.size else math.nan
    return {
        "v_fall": float(np.interp(fallen, time, supply)),
        "v_rise": float(np.interp(risen, time, supply)),
    }


def sink(engine: Engine, part: Part, save: str, across: str) -> float:
    """Return what the output or the delay pin sinks (A) at the test level and supply."""
    level = part.centre(across)
    circuit = Circuit(
        "sink",
        (
            Element("VDD", "V", ("vdd", GROUND), Dc(Param("supply"))),
            Element("VLEVEL", "V", ("level", GROUND), Dc(Param("level"))),
            Element("VOUT", "V", ("level", "out"), Dc(0.0)),
            Element("VCD", "V", ("level", "cd"), Dc(0.0)),
            _unit(),
        ),
        (),
        ("detector",),
    )
    experiment = Experiment(
        circuit, Transient(1e-3, 1e-5, reltol=1e-5), (save,), "conformance_detector:last", ("end",)
    )
    row = part.arguments | {"supply": part.centre("V_IN_test"), "level": level}
    return run_row(engine, experiment, row)["end"]


def last(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {"end": float(next(iter(run.traces.values()))[-1])}


def delay_resistance(engine: Engine, part: Part) -> float:
    """Return t/(C·ln(1/(1 − share))) with t from a step of the supply to the release (Ω)."""
    supply = Pwl(((0.0, 0.0), (1e-3, 0.0), (1.01e-3, Param("top"))))
    circuit = Circuit(
        "delay",
        (
            Element("VDD", "V", ("vdd", GROUND), supply),
            Element("RPULL", "R", ("vdd", "out"), 1e6),
            Element("CDELAY", "C", ("cd", GROUND), DELAY_F),
            _unit(),
        ),
        (),
        ("detector",),
    )
    constant = part.arguments["r_delay"] * DELAY_F
    experiment = Experiment(
        circuit,
        Transient(4 * constant, constant / 400, reltol=1e-5),
        ("v(vdd)", "v(out)"),
        "conformance_detector:released",
        ("delay",),
    )
    time = run_row(engine, experiment, part.arguments | {"top": 2 * part.centre("V_DET")})["delay"]
    return time / (DELAY_F * math.log(1 / (1 - part.arguments["share"])))


def released(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    share = run.trace("v(out)") / np.maximum(run.trace("v(vdd)"), 1e-3)
    return {"delay": first_crossing(run.time, share, 0.5, True, after=1.2e-3) - 1.005e-3}
