"""Random designs in every scene with a plainly conducting or blocking triac: no run is lost, and no
voltage comes from nowhere."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any

import gate_designs as made
import numpy as np
import pytest

from analog.benches.gate_drive import plan
from analog.engine import Engine, open_engine

Counts = Callable[[int, int], int]
Figure = Callable[[str], None]

STATES = ("running", "off", "switch-on", "let-go", "inrush", "shorted")


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def random_load(random: np.random.Generator) -> dict[str, Any]:
    kind = str(random.choice(["resistive", "inductive", "filament"]))
    load: dict[str, Any] = {"kind": kind, "power": f"{10 ** random.uniform(0.5, 3.3):.1f} W 10%"}
    if kind == "inductive":
        load["power_factor"] = float(random.uniform(0.25, 0.95))
        load["winding_capacitance"] = f"{10 ** random.uniform(1, 3):.0f} p"
    return load


def random_drive(random: np.random.Generator) -> dict[str, Any]:
    drive: dict[str, Any] = {"triac": str(random.choice(["BTA06-TW", "BTA16-CW", "BTA08-800CW3"]))}
    drive["opto"] = str(random.choice(["MOC3023", "MOC3063"]))
    if random.random() < 0.5:
        drive["snubber_resistor"] = f"{10 ** random.uniform(1, 3):.0f} Ω 5% carbon-film"
        drive["snubber_capacitor"] = f"{10 ** random.uniform(0, 2.5):.0f} n 10% X2"
    if random.random() < 0.5:
        drive["varistor"] = "10K275"
    if random.random() < 0.3:
        drive["opto_snubber_resistor"] = "1k2 5% carbon-film"
        drive["opto_snubber_capacitor"] = "47n 10% X2"
    return drive


def test_random_designs_all_give_data(engine: Engine, counts: Counts, figure: Figure) -> None:
    """Every measure is a number, and nothing but an inductance lifts the triac over the mains."""
    random = np.random.default_rng(52)
    highest = 0.0
    for _ in range(counts(4, 100)):
        load, drive = random_load(random), random_drive(random)
        drive["gate_resistor"] = "360R 5% carbon-film 0.5W"
        made_plan = plan(made.design(made.EUROPE, load, **drive))
        for identifier in STATES:
            scene = made.scene(made_plan, identifier)
            names, rows = made.rows(scene, random.uniform(-1, 1, (3, len(scene.space.axes))))
            outcome = engine.run(scene.experiment, names, rows)
            assert not outcome.failures, next(iter(outcome.failures.values())).reason
            for measure in scene.measures:
                assert np.isfinite(outcome.column(measure)).all(), (identifier, measure, load)
            if identifier == "let-go":
                over = outcome.column("off_state_peak_voltage") / rows[:, names.index("mains_peak")]
                highest = max(highest, float(over.max()))
                if load["kind"] != "inductive":
                    assert (over < 1.02).all()
                if "varistor" in drive:
                    assert (outcome.column("off_state_peak_voltage") < 710.0).all()
    figure(f"up to {highest:.1f} times the mains' crest")
    assert math.isfinite(highest)
