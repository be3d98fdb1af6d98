"""A noisy ramp and a charging RC into the Schmitt model; importable in worker processes."""

from __future__ import annotations

from collections.abc import Mapping

from clock_input_cases import count_swings
from schmitt_cases import RAIL

from analog.circuits.record import Circuit, Element, Experiment, Param, Pwl, Sine, Transient
from analog.circuits.schmitt_stage import ARGUMENTS
from analog.engine import Run
from analog.measures import first_crossing

ARGUMENT_PARAMETERS = (("vnom", Param("v_nom")), *((name, Param(name)) for name in ARGUMENTS))


def schmitt(nodes: tuple[str, str, str, str]) -> Element:
    return Element("XPART", "X", nodes, model="schmitt", arguments=ARGUMENT_PARAMETERS)


def noisy_ramp() -> Experiment:
    """A ramp from ``level_0`` to ``level_1`` in ``stop`` with a sine of ``noise_pp`` on it."""
    ramp = Pwl(((0.0, Param("level_0")), (Param("stop"), Param("level_1"))))
    noise = Sine(Param("noise_peak"), Param("noise_hz"), Param("noise_deg"))
    elements = (
        Element("VRAIL", "V", ("vdd", "0"), RAIL),
        Element("VRAMP", "V", ("ramp", "0"), ramp),
        Element("VNOISE", "V", ("pin", "ramp"), noise),
        schmitt(("pin", "out", "vdd", "0")),
        Element("CL", "C", ("out", "0"), 50e-12),
    )
    return Experiment(
        Circuit("noisy ramp", elements, libraries=("schmitt",)),
        Transient(Param("stop"), Param("step"), reltol=1e-5),
        ("v(out)",),
        "schmitt_noise_cases:edges",
        ("edges",),
    )


def edges(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Count output swings between 20 % and 80 % of the rail."""
    return {"edges": count_swings(run.trace("v(out)") / row["v_rail"])}


def monostable() -> Experiment:
    """A capacitor that charges through R to the rail from 0 into the part."""
    elements = (
        Element("VRAIL", "V", ("vdd", "0"), RAIL),
        Element("RT", "R", ("vdd", "pin"), Param("r_timing")),
        Element("CT", "C", ("pin", "0"), Param("c_timing"), initial=0.0),
        schmitt(("pin", "out", "vdd", "0")),
        Element("CL", "C", ("out", "0"), 50e-12),
    )
    return Experiment(
        Circuit("monostable", elements, libraries=("schmitt",)),
        Transient(
            Param("stop"), Param("step"), reltol=1e-5, use_initial=True, initial=(("pin", 0.0),)
        ),
        ("v(out)", "v(pin)"),
        "schmitt_noise_cases:released",
        ("release",),
    )


def released(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Give when the output falls through half the rail."""
    out = run.trace("v(out)")
    return {"release": first_crossing(run.time, out, row["v_rail"] / 2, rising=False)}
