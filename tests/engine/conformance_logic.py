"""Conformance measures of logic inputs and outputs; importable in worker processes.

`schmitt`, `clock_input` and `gate` have the same ports and invert, so one set of circuits serves
them all.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from conformance_parts import Part
from model_rows import run_row, run_rows

from analog.circuits.part_models import tied_inputs
from analog.circuits.record import (
    Circuit,
    Dc,
    Element,
    Experiment,
    OperatingPoint,
    Param,
    Pulse,
    Pwl,
    Stimulus,
    Transient,
)
from analog.engine import Engine, Run
from analog.measures import edge_time, first_crossing

LOAD_F = 50e-12
"""The makers' test load for delays and edges."""


def bench(part: Part, source: Stimulus, into: float = 0.0, **changes: float) -> Circuit:
    """Return the part on its supply, `source` at its input, a current `into` its output (A)."""
    arguments = part.arguments | changes
    return Circuit(
        part.label,
        (
            Element("VRAIL", "V", ("vdd", "0"), Dc(part.supply)),
            Element("VIN", "V", ("in", "0"), source),
            Element(
                "XPART",
                "X",
                ("in", "out", "vdd", "0"),
                model=part.model.library,
                arguments=tuple(arguments.items()),
            ),
            Element("CL", "C", ("out", "0"), LOAD_F),
            Element("IL", "I", ("0", "out"), Dc(into)),
        ),
        libraries=(part.model.library,),
    )


def threshold(engine: Engine, part: Part, rising: bool, tied: bool = False) -> float:
    """Return the input (V) at which the output changes on a ramp of the rail in 20 ms."""
    ends = (0.0, part.supply) if rising else (part.supply, 0.0)
    ramp = Pwl(((0.0, ends[0]), (20e-3, ends[1])))
    changes = tied_inputs(part.column, part.supply) if tied else {}
    experiment = Experiment(
        bench(part, ramp, **changes),
        Transient(20e-3, 2e-4, reltol=1e-5),
        ("v(in)", "v(out)", "v(vdd)"),
        "conformance_logic:switching",
        ("level",),
    )
    return run_row(engine, experiment, {"vdd": part.supply})["level"]


def switching(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Give the input at the moment the output passes half the rail."""
    moment = first_crossing(run.time, run.trace("v(out)"), row["vdd"] / 2, None)
    return {"level": float(np.interp(moment, run.time, run.trace("v(in)")))}


def hysteresis(engine: Engine, part: Part, tied: bool = False) -> float:
    up, down = (threshold(engine, part, rising=rising, tied=tied) for rising in (True, False))
    return up - down


def low_level(engine: Engine, part: Part, loaded: bool = True) -> float:
    """Return the output (V) with the input high, sinking I_OL if `loaded`."""
    return _level(engine, part, part.supply, part.centre("I_OL") if loaded else 0.0)


def high_level(engine: Engine, part: Part, loaded: bool = True) -> float:
    """Return the output (V) with the input low, sourcing I_OH if `loaded`."""
    return _level(engine, part, 0.0, -part.centre("I_OH") if loaded else 0.0)


def _level(engine: Engine, part: Part, source: float, into: float) -> float:
    experiment = Experiment(
        bench(part, Dc(source), into),
        OperatingPoint(),
        ("v(out)",),
        "conformance_logic:output",
        ("level",),
    )
    return run_row(engine, experiment, {"vdd": part.supply})["level"]


def output(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {"level": float(run.trace("v(out)")[-1])}


def timing(engine: Engine, part: Part, name: str) -> float:
    """Return a delay (``t_plh``, ``t_phl``) or the longer transition (``t_transition``), s."""
    delay = (part.centre("t_plh") + part.centre("t_phl")) / 2
    pulse = Pulse(0.0, part.supply, 5 * delay, 1e-8, 1e-8, 20 * delay, 1e3 * delay)
    experiment = Experiment(
        bench(part, pulse),
        Transient(50 * delay, delay / 20, reltol=1e-5),
        ("v(in)", "v(out)"),
        "conformance_logic:edges",
        ("t_phl", "t_plh", "t_transition"),
    )
    return run_row(engine, experiment, {"vdd": part.supply})[name]


def edges(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Give 50 % to 50 % delays and the longer 10-90 % transition."""
    time, source, out, rail = run.time, run.trace("v(in)"), run.trace("v(out)"), row["vdd"]
    up, down = (first_crossing(time, source, rail / 2, rising) for rising in (True, False))
    fall = edge_time(time, out, 0.1 * rail, 0.9 * rail, False)
    rise = edge_time(time, out, 0.1 * rail, 0.9 * rail, True, down)
    return {
        "t_phl": first_crossing(time, out, rail / 2, False, up) - up,
        "t_plh": first_crossing(time, out, rail / 2, True, down) - down,
        "t_transition": max(fall, rise),
    }


def input_capacitance(engine: Engine, part: Part) -> float:
    """Return the current into the input over its slope, on a ramp inside the rails (F)."""
    share = part.supply / 4
    ramp = Pwl(((0.0, share), (1e-6, 2 * share)))
    experiment = Experiment(
        bench(part, ramp),
        Transient(1e-6, 1e-8, reltol=1e-5),
        ("v(in)", "i(vin)"),
        "conformance_logic:charging",
        ("farads",),
    )
    return run_row(engine, experiment, {"slope": share / 1e-6})["farads"]


def charging(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    late = run.time > 0.3e-6
    current = np.interp(0.35e-6, run.time[late], -run.trace("i(vin)")[late])
    return {"farads": float(current / row["slope"])}


def input_reads(engine: Engine, part: Part, name: str) -> float:
    """Return the output (V) with the input at the guaranteed level `name`."""
    return _level(engine, part, part.centre(name), 0.0)


def gain(engine: Engine, part: Part) -> float:
    """Return the steepest slope of the transfer characteristic near its threshold."""
    around = part.supply / part.centre("gain")
    inputs = part.arguments["f_th"] * part.supply + around * np.linspace(-2, 2, 81)
    experiment = Experiment(
        bench(part, Dc(Param("level_in"))),
        OperatingPoint(),
        ("v(out)",),
        "conformance_logic:output",
        ("level",),
    )
    found = run_rows(engine, experiment, [{"level_in": level} for level in inputs.tolist()])
    return float(-np.gradient(found["level"], inputs).min())
