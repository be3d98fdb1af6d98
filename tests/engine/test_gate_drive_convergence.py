"""The gate-drive scenes at the bench's settings against a tenth of the step and reltol 1e-6."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import gate_designs as made
import numpy as np
import pytest

from analog.benches.base import Scene
from analog.benches.gate_drive import plan
from analog.engine import Engine, open_engine, refined

Counts = Callable[[int, int], int]
Figure = Callable[[str], None]

TIMES_S = ("turn_on_delay",)
LEVELS = {
    "turn_on_voltage": "turn_on_voltage",
    "load_peak_positive": "load_peak_positive",
    "load_peak_negative": "load_peak_negative",
    "load_rms": "load_rms",
    "gate_current_positive": "gate_current_positive",
    "gate_current_negative": "gate_current_negative",
    "gate_fault_rms": "gate_fault_rms",
    "half_cycle_asymmetry": "load_rms",
}
"""Output and what its accuracy of 0.1 % refers to."""


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def random_scene(random: np.random.Generator, identifier: str) -> Scene:
    """Return a scene of a random design that was not used to choose the settings."""
    mains = [made.US, made.EUROPE][int(random.integers(2))]
    load = {"kind": "resistive", "power": f"{10 ** random.uniform(1.3, 3.0):.1f} W 10%"}
    resistor = f"{10 ** random.uniform(1.9, 3.2):.0f} Ω 5% carbon-film 0.5W"
    triac = str(random.choice(["BTA06-TW", "BTA06-SW", "BTA06-B", "BTA06-CW", "BTA08-C"]))
    opto = str(random.choice(["MOC3023", "MOC3063"]))
    shunt = "330R 5% carbon-film 0.25W" if random.random() < 0.3 else None
    design = made.design(
        mains, load, gate_resistor=resistor, triac=triac, opto=opto, gate_shunt_resistor=shunt
    )
    return made.scene(plan(design), identifier)


@pytest.mark.parametrize("identifier", ["firing", "held-off"])
def test_settings_are_fine_enough(
    engine: Engine, counts: Counts, figure: Figure, identifier: str
) -> None:
    """Times within 1 µs, levels within 0.1 %, and never another number of half-cycles."""
    random = np.random.default_rng(41 if identifier == "firing" else 42)
    worst = dict.fromkeys((*TIMES_S, *LEVELS), 0.0)
    for _ in range(counts(5, 60)):
        scene = random_scene(random, identifier)
        names, rows = made.rows(scene, random.uniform(-1, 1, (1, len(scene.space.axes))))
        usual = engine.run(scene.experiment, names, rows)
        fine = engine.run(refined(scene.experiment), names, rows)
        assert not usual.failures
        assert not fine.failures
        for name, error in errors(usual.outputs, usual.values[0], fine.values[0]).items():
            worst[name] = max(worst[name], error)
        if identifier == "firing":
            assert usual.column("half_cycles_missed") == fine.column("half_cycles_missed")
    for name in usual.outputs:
        if name in worst:
            figure(f"{name}: {worst[name]:.2f} of the tolerance")
            assert worst[name] <= 1.0, name


def errors(outputs: tuple[str, ...], usual: np.ndarray, fine: np.ndarray) -> dict[str, float]:
    """Return each output's error as a share of its tolerance; both NaN is no error."""
    values, exact = dict(zip(outputs, usual, strict=True)), dict(zip(outputs, fine, strict=True))
    found = {}
    for name in (*TIMES_S, *LEVELS):
        if name not in values:
            continue
        assert np.isnan(values[name]) == np.isnan(exact[name]), name
        tolerance = 1e-6 if name in TIMES_S else 1e-3 * abs(exact[LEVELS[name]])
        found[name] = float(np.nan_to_num(abs(values[name] - exact[name]) / tolerance))
    return found
