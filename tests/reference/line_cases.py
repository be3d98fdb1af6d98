"""A design of a line sense on a stiff 12 V winding of its own, and its nominal run."""

from __future__ import annotations

import numpy as np

from analog.benches.base import Plan
from analog.circuits.record import Experiment
from analog.engine import Engine, Run

DESIGN = """
edgeproof = 1
[design]
name = "line-cases"
[mains]
voltage = "230 V"
frequency = "{frequency} Hz"
[environment]
ambient_minimum = "25 °C"
ambient_maximum = "25 °C"
[supply]
rail = "{rail} V"
[line_sense]
topology = "{topology}"
winding_voltage = "12 V"
winding_rating = "1000 VA"
winding_regulation = 1e-6
series_resistor = "{resistor} 1% metal-film"
capacitor = "{capacitor} 5% C0G"
{sense}
[clocked]
part = "4013"
{more}
"""


def nominal(plan: Plan, scene: int = 0) -> tuple[Experiment, dict[str, float]]:
    """Return the experiment of a plan's scene and its nominal row."""
    chosen = plan.scenes[scene]
    rows = chosen.derive(chosen.space.decode(np.zeros((1, len(chosen.space.axes)))))
    return chosen.experiment, {name: float(np.ravel(value)[0]) for name, value in rows.items()}


def run(engine: Engine, experiment: Experiment, row: dict[str, float]) -> Run:
    """Simulate one row and keep its traces."""
    return engine.traces(experiment, tuple(row), np.array(list(row.values())))
