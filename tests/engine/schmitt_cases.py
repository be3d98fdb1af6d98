"""Circuits and reducers for the Schmitt model; importable in worker processes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analog.circuits.record import (
    Circuit,
    Dc,
    Element,
    Experiment,
    Param,
    Pulse,
    Pwl,
    Stimulus,
    Transient,
)
from analog.circuits.schmitt_stage import ARGUMENTS
from analog.engine import Run
from analog.measures import edge_time, first_crossing

RAIL = Dc(Param("v_rail"))


def part(rail: Stimulus, source: Stimulus, *more: Element) -> Circuit:
    """Return the sub-circuit between a rail, a source on its input and 50 pF on its output."""
    arguments = (("vnom", Param("v_nom")), *((name, Param(name)) for name in ARGUMENTS))
    return Circuit(
        "Schmitt input",
        (
            Element("VRAIL", "V", ("vdd", "0"), rail),
            Element("VIN", "V", ("in", "0"), source),
            Element("XPART", "X", ("in", "out", "vdd", "0"), model="schmitt", arguments=arguments),
            Element("CL", "C", ("out", "0"), 50e-12),
            *more,
        ),
        libraries=("schmitt",),
    )


def ramp() -> Experiment:
    """Return a ramp of one rail in 20 ms, up and down."""
    source = Pwl(((0.0, 0.0), (20e-3, Param("v_rail")), (40e-3, 0.0)))
    return Experiment(
        part(RAIL, source),
        Transient(40e-3, 2e-4, reltol=1e-5),
        ("v(in)", "v(out)"),
        "schmitt_cases:thresholds",
        ("v_p", "v_n"),
    )


def thresholds(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the input at the moments the output passes half the rail."""
    moments = (
        first_crossing(run.time, run.trace("v(out)"), row["v_rail"] / 2, rising)
        for rising in (False, True)
    )
    v_p, v_n = (float(np.interp(t, run.time, run.trace("v(in)"))) for t in moments)
    return {"v_p": v_p, "v_n": v_n}


def step() -> Experiment:
    """Return input steps of one rail; the edges take 10 ns."""
    source = Pulse(0.0, Param("v_rail"), Param("t_wait"), 1e-8, 1e-8, Param("t_on"), Param("t_off"))
    return Experiment(
        part(RAIL, source),
        Transient(Param("t_stop"), Param("t_step"), reltol=1e-5),
        ("v(in)", "v(out)"),
        "schmitt_cases:delays",
        ("t_phl", "t_plh", "t_thl", "t_tlh"),
    )


def delays(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return 50 % to 50 % delays and 10-90 % transitions of both output edges."""
    time, source, out, rail = run.time, run.trace("v(in)"), run.trace("v(out)"), row["v_rail"]
    up, down = (first_crossing(time, source, rail / 2, rising) for rising in (True, False))
    return {
        "t_phl": first_crossing(time, out, rail / 2, False) - up,
        "t_plh": first_crossing(time, out, rail / 2, True, down) - down,
        "t_thl": edge_time(time, out, 0.1 * rail, 0.9 * rail, False),
        "t_tlh": edge_time(time, out, 0.1 * rail, 0.9 * rail, True, down),
    }


def loaded() -> Experiment:
    """Return the output sinking ``i_sink`` with the input high, then sourcing ``i_source``."""
    source = Pwl(((0.0, Param("v_rail")), (1e-4, Param("v_rail")), (1.01e-4, 0.0), (2e-4, 0.0)))
    load = Pwl(
        (
            (0.0, Param("i_sink")),
            (1e-4, Param("i_sink")),
            (1.01e-4, Param("i_source")),
            (2e-4, Param("i_source")),
        )
    )
    return Experiment(
        part(RAIL, source, Element("ILOAD", "I", ("0", "out"), load)),
        Transient(2e-4, 1e-6, reltol=1e-5),
        ("v(out)",),
        "schmitt_cases:levels",
        ("low", "high"),
    )


def levels(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the output's settled low and high level."""
    del row
    out = run.trace("v(out)")
    return {"low": float(np.interp(0.9e-4, run.time, out)), "high": float(out[-1])}


def waking() -> Experiment:
    """Return a rail that comes up from 0 V in 50 ms; the input rises along to ``v_in``."""
    rail = Pwl(((0.0, 0.0), (50e-3, Param("v_rail")), (60e-3, Param("v_rail"))))
    return Experiment(
        part(rail, Pwl(((0.0, 0.0), (50e-3, Param("v_in")), (60e-3, Param("v_in"))))),
        Transient(60e-3, 2e-4, reltol=1e-5),
        ("v(in)", "v(out)", "v(vdd)"),
        "schmitt_cases:tracking",
        ("final", "largest_low", "largest_drop", "highest"),
    )


def tracking(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the final output and, once the rail is above 3 V, how far it strays from a rail."""
    del row
    rail, out = run.trace("v(vdd)"), run.trace("v(out)")
    alive = rail > 3.0
    return {
        "final": float(out[-1]),
        "largest_low": float(np.max(out[alive])),
        "largest_drop": float(np.max(rail[alive] - out[alive])),
        "highest": float(np.max(out - rail)),
    }
