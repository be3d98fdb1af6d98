"""Random designs of line sense and conditioner, and their scenes as rows of parameters."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from analog.benches.base import Scene
from analog.circuits.record import Experiment, Transient
from analog.design import Design, parse_design
from analog.engine import Engine, refined

DESIGN = """
edgeproof = 1
[design]
name = "random-line"
[mains]
voltage = "{mains} V"
frequency = "{frequency} Hz"
[environment]
ambient_minimum = "-20 °C"
ambient_maximum = "60 °C"
[supply]
rail = "{rail} V 5%"
rectifier = "{rectifier}"
transformer_voltage = "{winding} V"
transformer_rating = "{rating} VA"
reservoir = "{reservoir}u 20% electrolytic"
load_current = "5 mA .. 15 mA .. 40 mA"
[line_sense]
topology = "{topology}"
series_resistor = "{series}k 5% carbon-film"
capacitor = "{capacitor}n 10% {technology}"
{more}
[conditioner]
part = "{part}"
[clocked]
part = "{clocked}"
"""


_RECTIFIERS = {
    "bridge-leg": ["bridge"],
    "half-wave": ["half-wave", "full-wave"],
    "full-wave": ["bridge", "full-wave"],
}
_ZENER = {
    rail: ['clamp = "zener"', f'clamp_zener = "BZX79-C{name}"']
    for rail, name in ((5, "6V2"), (9, "9V1"), (12, "12"))
}


def random_design(rng: np.random.Generator) -> Design:
    """Draw topology, family, mains, winding and filter at random.

    One stage has 0.3 ms to 1.5 ms, a tenth of it behind both half-waves.
    """
    topology = str(rng.choice(["half-wave", "bridge-leg", "full-wave"]))
    both = topology == "full-wave"
    fast = bool(rng.random() < 0.25)
    rail = 5.0 if fast else float(rng.choice([5.0, 9.0, 12.0]))
    mains, frequency = (230, 50) if rng.random() < 0.5 else (120, 60)
    series = float(rng.choice([33, 47, 68, 100, 150])) * (0.1 if both else 1.0)
    more = ['bleed_resistor = "10k 5% carbon-film"'] if both or rng.random() < 0.7 else []
    more += ['isolating_diode = "1N4148"'] if both else []
    more += ([], ['clamp = "diodes"'], _ZENER[int(rail)])[int(rng.choice(3, p=[0.6, 0.2, 0.2]))]
    if topology != "bridge-leg" and rng.random() < 0.5:
        more += ['winding_voltage = "12 V"', 'winding_rating = "3 VA"']
    if not both and rng.random() < 0.3:
        more += ['second_resistor = "47k 5% carbon-film"', 'second_capacitor = "2n2 10% film"']
    text = DESIGN.format(
        mains=mains,
        frequency=frequency,
        rail=rail,
        rectifier=rng.choice(_RECTIFIERS[topology]),
        winding=float(rng.choice([9, 12])) if rail < 10 else 15.0,
        rating=float(rng.choice([1.5, 3, 5])),
        reservoir=float(rng.choice([220, 470, 1000])),
        topology=topology,
        series=series,
        capacitor=round(float(rng.uniform(0.3, 1.5)) * (100.0 if both else 1e3) / series, 2),
        technology=rng.choice(["film", "X7R", "C0G"]),
        more="\n".join(more),
        part="74HC14" if fast else rng.choice(["40106", "4093"]),
        clocked="74HC4040" if fast else rng.choice(["4040", "4013"]),
    )
    return parse_design(text, "random.toml")


def random_row(scene: Scene, rng: np.random.Generator) -> dict[str, float]:
    """Draw one row inside the scene's space."""
    point = rng.uniform(-1, 1, (1, len(scene.space.axes)))
    rows = scene.derive(scene.space.decode(point))
    return {name: float(np.ravel(value)[0]) for name, value in rows.items()}


def values(engine: Engine, experiment: Experiment, row: Mapping[str, float]) -> dict[str, float]:
    """Run one row and return its outputs."""
    outcome = engine.run(experiment, tuple(row), np.array([list(row.values())]))
    assert not outcome.failures, next(iter(outcome.failures.values())).reason
    return dict(zip(outcome.outputs, outcome.values[0].tolist(), strict=True))


def reference(experiment: Experiment, row: Mapping[str, float]) -> Experiment:
    """Return the experiment at steps of at most 1 µs and reltol 1e-6."""
    assert isinstance(experiment.analysis, Transient)
    return refined(experiment, max(10.0, row["t_step"] / 1e-6))


def samples(count: int, seed: int) -> Iterator[tuple[Design, np.random.Generator]]:
    """Yield `count` random designs, each with the generator to draw its row from."""
    for index in range(count):
        rng = np.random.default_rng([seed, index])
        yield random_design(rng), rng
