"""Circuits and reducers for the transformer model; importable in worker processes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from analog.cards import find_card
from analog.circuits.record import (
    Circuit,
    Element,
    Experiment,
    Model,
    Param,
    Sine,
    Transient,
)
from analog.engine import Run

Floats = NDArray[np.float64]

RATINGS = ("v_pri", "v_sec", "va", "reg", "freq", "leak", "mag", "iron", "c_iw")


def transformer(nodes: tuple[str, ...]) -> Element:
    arguments = tuple((name, Param(name)) for name in RATINGS)
    return Element("X1", "X", nodes, model="transformer", arguments=arguments)


def loaded() -> Experiment:
    """The rated primary voltage, a resistor on the secondary; starts at the peak by default."""
    elements = (
        Element("V1", "V", ("pri", "0"), Sine(Param("peak"), Param("mains_hz"), Param("phase"))),
        transformer(("pri", "0", "sec", "0")),
        Element("R1", "R", ("sec", "0"), Param("load")),
    )
    return _experiment(
        elements,
        ("v(pri)", "v(sec)", "i(v1)"),
        "effective",
        ("secondary", "first_cycle", "primary", "power", "lag"),
    )


def common_mode() -> Experiment:
    """Both ends of each winding tied, a sine between the windings."""
    elements = (
        Element("V1", "V", ("pri", "0"), Sine(Param("peak"), Param("mains_hz"), Param("phase"))),
        transformer(("pri", "pri", "0", "0")),
        Element("R1", "R", ("pri", "0"), 1e9),
    )
    return _experiment(
        elements,
        ("v(pri)", "v(pri)", "i(v1)"),
        "effective",
        ("secondary", "first_cycle", "primary", "power", "lag"),
    )


def capacitor_input(diode: str | None = None) -> Experiment:
    """A full-wave bridge, reservoir and resistor; nearly ideal diodes unless a card is named."""
    diodes = (
        ("D1", ("s1", "plus")),
        ("D2", ("s2", "plus")),
        ("D3", ("0", "s1")),
        ("D4", ("0", "s2")),
    )
    elements = (
        Element("V1", "V", ("pri", "0"), Sine(Param("peak"), Param("mains_hz"), Param("phase"))),
        transformer(("pri", "0", "s1", "s2")),
        *(Element(name, "D", nodes, model="rectifier") for name, nodes in diodes),
        Element("C1", "C", ("plus", "0"), Param("reservoir")),
        Element("R1", "R", ("plus", "0"), Param("load")),
    )
    ideal = {"IS": 1e-12, "N": 0.05, "RS": 1e-6}
    parameters = ideal if diode is None else find_card(diode).columns[0].spice
    model = Model("rectifier", "D", tuple(parameters.items()))
    circuit = Circuit("capacitor input", elements, (model,), ("transformer",))
    return Experiment(
        circuit,
        Transient(
            Param("stop"),
            Param("step"),
            reltol=1e-5,
            trtol=1.0,
            initial=(("plus", Param("start")),),
        ),
        ("v(plus)",),
        "transformer_cases:ripple",
        ("mean", "ripple"),
    )


def _experiment(
    elements: tuple[Element, ...], saves: tuple[str, ...], reducer: str, outputs: tuple[str, ...]
) -> Experiment:
    return Experiment(
        Circuit("transformer", elements, (), ("transformer",)),
        Transient(Param("stop"), Param("step"), reltol=1e-5, trtol=1.0),
        tuple(dict.fromkeys(saves)),
        f"transformer_cases:{reducer}",
        outputs,
    )


def even_cycle(run: Run, name: str, start_s: float, cycle_s: float) -> Floats:
    """Return one cycle of a trace from `start_s`, at 2 000 even times (for means and phasors)."""
    time = start_s + cycle_s * np.arange(2000) / 2000
    return np.interp(time, run.time, run.trace(name))


def effective(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Give rms values, power and phase of the last cycle; ``lag`` in degrees, s behind p."""
    cycle = 1 / row["mains_hz"]
    last = row["stop"] - cycle
    name = "v(sec)" if "v(sec)" in run.traces else "v(pri)"
    secondary = even_cycle(run, name, last, cycle)
    primary, current = (even_cycle(run, trace, last, cycle) for trace in ("v(pri)", "i(v1)"))
    first = even_cycle(run, name, 0.0, cycle)
    turn = np.exp(-2j * np.pi * np.arange(2000) / 2000)
    lag = np.angle((primary * turn).sum() / (secondary * turn).sum(), deg=True)
    return {
        "secondary": rms(secondary),
        "first_cycle": rms(first),
        "primary": rms(current),
        "power": float(-(primary * current).mean()),
        "lag": float(lag),
    }


def ripple(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Give mean and peak-to-peak ripple of the reservoir voltage over the last cycle."""
    cycle = 1 / row["mains_hz"]
    level = even_cycle(run, "v(plus)", row["stop"] - cycle, cycle)
    return {"mean": float(level.mean()), "ripple": float(np.ptp(level))}


def rms(values: Floats) -> float:
    return float(np.sqrt((values * values).mean()))
