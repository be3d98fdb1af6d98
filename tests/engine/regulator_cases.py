"""Circuits and reducers for the regulator model; importable in worker processes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analog.cards import find_card
from analog.circuits.record import (
    Circuit,
    Dc,
    DcSweep,
    Element,
    Experiment,
    Model,
    OperatingPoint,
    Param,
    Pwl,
    Sine,
    Stimulus,
    Transient,
)
from analog.engine import Run
from analog.measures import first_crossing

ARGUMENTS = ("v_o", "i_o", "v_drop", "i_drop", "v_d0", "i_lim", "i_q", "r_out", "line")
RATINGS = ("v_pri", "v_sec", "va", "reg", "freq", "leak", "mag", "iron", "c_iw")

DROPPED_V = 0.1
"""Fall of the output (V) at which makers read the dropout: common practice of their sheets."""


def regulator(nodes: tuple[str, str, str]) -> Element:
    arguments = tuple((name, Param(name)) for name in ARGUMENTS)
    return Element("XREG", "X", nodes, model="regulator", arguments=arguments)


def settled() -> Experiment:
    """Return output, ground-pin and input current with ``v_in`` and a load current ``i_load``."""
    load = Element("ILOAD", "I", ("out", "0"), Dc(Param("i_load")))
    return _bench(Dc(Param("v_in")), load, OperatingPoint(), "levels", ("out", "ground", "input"))


def loaded() -> Experiment:
    """Return the same with a resistor ``r_load`` at the output."""
    load = Element("RLOAD", "R", ("out", "0"), Param("r_load"))
    return _bench(Dc(Param("v_in")), load, OperatingPoint(), "levels", ("out", "ground", "input"))


def reversed_supply() -> Experiment:
    """Return the output with ``i_load`` pushed into it while the input is shorted."""
    load = Element("ILOAD", "I", ("0", "out"), Dc(Param("i_load")))
    return _bench(Dc(0.0), load, OperatingPoint(), "levels", ("out", "ground", "input"))


def dropping() -> Experiment:
    """Return input less output where the output has lost `DROPPED_V`, at ``i_load``."""
    load = Element("ILOAD", "I", ("out", "0"), Dc(Param("i_load")))
    sweep = DcSweep("VIN", Param("v_in"), Param("v_low"), 0.01)
    return _bench(Dc(Param("v_in")), load, sweep, "dropout", ("dropout",))


def rippled() -> Experiment:
    """Return the output's swing over the input's, 1 V of amplitude at ``ripple_hz``."""
    load = Element("ILOAD", "I", ("out", "0"), Dc(Param("i_load")))
    wave = Sine(1.0, Param("ripple_hz"), offset=Param("v_in"))
    analysis = Transient(Param("stop"), Param("step"), reltol=1e-6, vntol=1e-9)
    return _bench(wave, load, analysis, "share", ("share",))


def waking() -> Experiment:
    """Return the output during an input that rises to ``v_in`` and falls again, 10 ms each."""
    source = Pwl(((0.0, 0.0), (10e-3, Param("v_in")), (20e-3, Param("v_in")), (30e-3, 0.0)))
    load = Element("RLOAD", "R", ("out", "0"), Param("r_load"))
    reservoir = Element("COUT", "C", ("out", "0"), Param("c_out"))
    analysis = Transient(35e-3, 5e-5, reltol=1e-5)
    return _bench(source, load, analysis, "tracking", ("top", "over", "lag", "end"), reservoir)


def chain() -> Experiment:
    """Return transformer, bridge of 1N4007, reservoir, regulator and a load current.

    From the mains switched on at its crest with everything empty; the load is a resistor.
    """
    mains = Sine(Param("peak"), Param("freq"), 90.0)
    diodes = (
        ("D1", ("s1", "plus")),
        ("D2", ("s2", "plus")),
        ("D3", ("0", "s1")),
        ("D4", ("0", "s2")),
    )
    ratings = tuple((name, Param(name)) for name in RATINGS)
    elements = (
        Element("VMAINS", "V", ("pri", "0"), mains),
        Element("XMAINS", "X", ("pri", "0", "s1", "s2"), model="transformer", arguments=ratings),
        *(Element(name, "D", nodes, model="rectifier") for name, nodes in diodes),
        Element("CRES", "C", ("plus", "0"), Param("reservoir"), initial=0.0),
        Element("VPLUS", "V", ("plus", "in"), Dc(0.0)),
        regulator(("in", "0", "out")),
        Element("COUT", "C", ("out", "0"), Param("c_out")),
        Element("RLOAD", "R", ("out", "0"), Param("r_load")),
    )
    model = Model("rectifier", "D", tuple(find_card("1N4007").columns[0].spice.items()))
    circuit = Circuit("supply", elements, (model,), ("transformer", "regulator"))
    return Experiment(
        circuit,
        Transient(Param("stop"), Param("step"), reltol=1e-4),
        ("v(plus)", "v(out)", "i(vplus)"),
        "regulator_cases:supplied",
        ("reservoir_mean", "ripple", "trough", "mean", "lowest", "highest", "input"),
    )


def _bench(
    source: Stimulus,
    load: Element,
    analysis: OperatingPoint | DcSweep | Transient,
    reducer: str,
    outputs: tuple[str, ...],
    *more: Element,
) -> Experiment:
    elements = (
        Element("VIN", "V", ("in", "0"), source),
        regulator(("in", "pin", "out")),
        Element("VPIN", "V", ("pin", "0"), Dc(0.0)),
        load,
        *more,
    )
    return Experiment(
        Circuit("regulator", elements, (), ("regulator",)),
        analysis,
        ("v(in)", "v(out)", "i(vpin)", "i(vin)"),
        f"regulator_cases:{reducer}",
        outputs,
    )


def levels(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    """Give output voltage, current out of the ground pin and into the input."""
    return {
        "out": float(run.trace("v(out)")[-1]),
        "ground": float(run.trace("i(vpin)")[-1]),
        "input": -float(run.trace("i(vin)")[-1]),
    }


def dropout(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    """Give input less output at the first point where the output lost `DROPPED_V`."""
    source, out = run.trace("v(in)"), run.trace("v(out)")
    lost = np.flatnonzero(out < out[0] - DROPPED_V)
    if not lost.size:
        return {"dropout": float("nan")}
    before = lost[0] - 1
    share = (out[before] - out[0] + DROPPED_V) / (out[before] - out[lost[0]])
    return {"dropout": float(np.interp(share, (0, 1), (source - out)[[before, lost[0]]]))}


def share(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Give the swing of the output over that of the input, over the second cycle."""
    late = run.time > 1 / row["ripple_hz"]
    return {"share": float(np.ptp(run.trace("v(out)")[late]) / np.ptp(run.trace("v(in)")[late]))}


def tracking(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    """Give the output's top, its most above the input, when it passes half, and its end."""
    out, source = run.trace("v(out)"), run.trace("v(in)")
    half = out.max() / 2
    up, down = (first_crossing(run.time, out, half, rising) for rising in (True, False))
    inside = (run.time > up) & (run.time < down)
    return {
        "top": float(out.max()),
        "over": float((out - source).max()),
        "lag": float((source - out)[inside].min()),
        "end": float(out[-1]),
    }


def supplied(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Give the last two cycles: reservoir mean, ripple and trough, output range, mean input."""
    cycles = 2 / row["freq"]
    time = run.time[-1] - cycles + cycles * np.arange(4000) / 4000
    plus, out, current = (
        np.interp(time, run.time, run.trace(name)) for name in ("v(plus)", "v(out)", "i(vplus)")
    )
    return {
        "reservoir_mean": float(plus.mean()),
        "ripple": float(np.ptp(plus)),
        "trough": float(plus.min()),
        "mean": float(out.mean()),
        "lowest": float(out.min()),
        "highest": float(out.max()),
        "input": float(current.mean()),
    }
