"""A user's sub-circuit inside a bench's circuit, run by the worker, against the user's own text."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from subcircuit_cases import CONTROLLED, COUPLED, NESTED, RC_LADDER, Case, simulate

from analog.circuits.own_subcircuit import own_box, own_elements
from analog.circuits.record import (
    Circuit,
    Element,
    Experiment,
    Param,
    Pulse,
    Sine,
    Stimulus,
    Transient,
)
from analog.engine import Run, open_engine
from analog.subcircuits import read_subcircuit

STEP_S = 5e-6
"""Small enough for either program's own choice of steps not to matter."""

SOURCES: dict[str, tuple[Case, Stimulus, tuple[str, ...], float, float]] = {
    "ladder": (RC_LADDER, Sine(10.0, 50.0), ("in", "out", "0"), 1e6, 60e-3),
    "coupled": (COUPLED, Sine(325.0, 50.0), ("in", "0", "out", "0"), 1e4, 60e-3),
    "controlled": (CONTROLLED, Sine(2.0, 100.0), ("in", "out", "0"), 1e12, 20e-3),
    "nested": (
        NESTED,
        Pulse(0.0, 5.0, 1e-3, 1e-4, 1e-4, 4e-3, 10e-3),
        ("in", "out", "0"),
        1e5,
        12e-3,
    ),
}


def last(run: Run, row: dict[str, float]) -> dict[str, float]:
    del row
    return {"last": float(run.trace("v(out)")[-1])}


@pytest.mark.parametrize("name", SOURCES)
def test_the_worker_gives_the_voltages_of_the_original(name: str, tmp_path: Path) -> None:
    case, wave, ports, load_ohm, stop_s = SOURCES[name]
    reading = read_subcircuit(case.text, "case.cir", case.name)
    elements, models = own_elements(reading.circuit, ports, "own", "line_sense.subcircuit", {})
    load = Element("RL", "R", ("out", "0"), load_ohm)
    circuit = Circuit("case", (Element("VIN", "V", ("in", "0"), wave), load, *elements), models)
    experiment = Experiment(
        circuit,
        Transient(stop_s, Param("t_step"), reltol=1e-5),
        ("v(in)", "v(out)"),
        f"{__name__}:last",
        ("last",),
    )
    with open_engine(jobs=1) as engine:
        run = engine.traces(experiment, ("t_step", "ambient_c"), np.array([STEP_S, 27.0]))
    fine = replace(case, bench=f"{case.bench.rpartition(' ')[0]} {STEP_S}")
    written = simulate(fine, case.text, case.name, tmp_path / "original", tnom_c=25.0)
    level = np.interp(written["time"], run.time, run.trace("v(out)"))
    assert np.ptp(written["out"]) > 0.1
    assert np.abs(level - written["out"]).max() < 1e-3 * np.ptp(written["out"])


def test_a_parts_value_may_be_a_parameter_of_the_row() -> None:
    reading = read_subcircuit(".subckt f a b c\nR1 a b 1k\nC1 b c 1u\n.ends", "f.cir")
    elements, _ = own_elements(
        reading.circuit, ("in", "out", "0"), "own", "k.s", {reading.parts["r1"]: "own_r1"}
    )
    assert elements[0].value == Param("own_r1")
    experiment = Experiment(
        Circuit(
            "f", (Element("VIN", "V", ("in", "0"), Pulse(0, 1, 0, 1e-9, 1e-9, 1, 2)), *elements)
        ),
        Transient(1e-3, 1e-6, reltol=1e-6),
        ("v(out)",),
        f"{__name__}:last",
        ("last",),
    )
    with open_engine(jobs=1) as engine:
        out = engine.run(experiment, ("own_r1",), np.array([[1e3], [2e3]]))
    for ohm, value in zip((1e3, 2e3), out.values[:, 0], strict=True):
        assert value == pytest.approx(1 - np.exp(-1e-3 / (ohm * 1e-6)), rel=1e-4)  # closed form


def test_ports_and_box_must_suit() -> None:
    reading = read_subcircuit(".subckt f a b\nR1 a b 1k\n.ends", "f.cir")
    with pytest.raises(ValueError, match="2 ports"):
        own_elements(reading.circuit, ("in",), "own", "k.s", {})
    box = own_box(("in", "out"), ((0, 0), (2, 0)), "own", "k.s", ("my", ("a", "b")))
    assert box.symbol is not None
    assert (box.reference, box.nodes, box.symbol.pins) == ("Xown", ("in", "out"), ("a", "b"))
