"""The Schmitt oscillator and its reducer; importable in worker processes."""

from __future__ import annotations

from collections.abc import Mapping

from analog.circuits.record import Circuit, Dc, Element, Experiment, Param, Transient
from analog.circuits.schmitt_stage import ARGUMENTS
from analog.engine import Run
from analog.measures import crossings


def oscillator() -> Experiment:
    """Return the RC oscillator: R from output to input, C from input to ground."""
    arguments = (("vnom", Param("v_rail")), *((name, Param(name)) for name in ARGUMENTS))
    return Experiment(
        Circuit(
            "Schmitt oscillator",
            (
                Element("VRAIL", "V", ("vdd", "0"), Dc(Param("v_rail"))),
                Element(
                    "XPART", "X", ("in", "out", "vdd", "0"), model="schmitt", arguments=arguments
                ),
                Element("RF", "R", ("out", "in"), Param("r_feedback")),
                Element("CT", "C", ("in", "0"), Param("c_timing")),
            ),
            libraries=("schmitt",),
        ),
        Transient(Param("t_stop"), Param("t_step"), reltol=1e-5),
        ("v(in)", "v(out)"),
        "oscillator_cases:period",
        ("period", "swing_high", "swing_low"),
    )


def period(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the period after the first cycle (s) and the input's turning points (V)."""
    falls = crossings(run.time, run.trace("v(out)"), row["v_rail"] / 2, rising=False)
    pin = run.trace("v(in)")[run.time > falls[1]]
    return {
        "period": float(falls[2] - falls[1]),
        "swing_high": float(pin.max()),
        "swing_low": float(pin.min()),
    }
