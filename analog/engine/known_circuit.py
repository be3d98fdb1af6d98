"""One circuit whose answer is known in closed form: every engine must get it right first."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analog.circuits.record import Circuit, Dc, Element, Experiment, Param, Transient
from analog.engine.outcome import Run

# The steps of 5 µs leave an error of about (step/τ)²/12 of the level, that is 2e-6.
TOLERANCE = 1e-4

KNOWN_CIRCUIT = Experiment(
    circuit=Circuit(
        "charging of a capacitor through a resistor",
        (
            Element("V1", "V", ("source", "0"), Dc(Param("level"))),
            Element("R1", "R", ("source", "out"), Param("resistance")),
            Element("C1", "C", ("out", "0"), Param("capacitance")),
        ),
    ),
    analysis=Transient(stop_s=2e-3, step_s=5e-6, use_initial=True, initial=(("out", 0.0),)),
    saves=("v(out)",),
    reducer="analog.engine.known_circuit:charging",
    outputs=("level", "error_share"),
)

KNOWN_ROW = {"level": 5.0, "resistance": 1e3, "capacitance": 1e-6}


def charging(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the last level (V) and the largest deviation from the closed form (share of V).

    Closed form: v(t) = V·(1 − exp(−t/RC)).
    """
    trace = run.trace("v(out)")
    tau_s = row["resistance"] * row["capacitance"]
    exact = row["level"] * -np.expm1(-run.time / tau_s)
    share = float(np.max(np.abs(trace - exact))) / row["level"]
    return {"level": float(trace[-1]), "error_share": share}
