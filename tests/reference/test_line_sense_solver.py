"""The line-sense bench against an independent solver, on random part sets.

See `line_oracle` and `line_oracle_topologies` for the equations and their documents. Accuracy:
crossing times within 1 µs or 0.1 % of the 10-90 % edge, whichever is larger; levels within 0.1 %
of the rail.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from coupler_oracle import optocoupler
from line_oracle import Answer, bridge_leg, half_wave
from line_oracle_topologies import full_wave, full_wave_bridge, two_stage, zener_clamped

from analog.benches.base import Scene
from analog.benches.line_sense import plan
from analog.cards import find_card
from analog.circuits.optocoupler_models import optocoupler_arguments
from analog.design import parse_design
from analog.engine import Engine, open_engine

DESIGN = """
edgeproof = 1
[design]
name = "solver"
[mains]
voltage = "230 V"
frequency = "50 Hz"
[environment]
ambient_minimum = "-20 °C"
ambient_maximum = "60 °C"
[supply]
rail = "9 V 5%"
transformer_voltage = "12 V"
transformer_rating = "3 VA"
reservoir = "470u 20% electrolytic"
rectifier = "{rectifier}"
[line_sense]
topology = "{topology}"
series_resistor = "100k 5% carbon-film"
capacitor = "10n 10% film"
{more}
[conditioner]
part = "40106"
[clocked]
part = "4040"
"""
OWN = 'winding_voltage = "12 V"\nwinding_rating = "3 VA"\n'
BLEED = 'bleed_resistor = "10k 5% carbon-film"\n'
DIODES = 'clamp = "diodes"\n'
ISOLATED = BLEED + 'isolating_diode = "1N4148"\n'
STAGE = 'second_resistor = "47k 5% carbon-film"\nsecond_capacitor = "4n7 10% film"\n'
COUPLED = 'optocoupler = "{}"\npull_up_resistor = "22k 5% carbon-film"\n'
REVERSE = 'antiparallel_diode = "1N4148"\n'
ZENER = 'clamp = "zener"\nclamp_zener = "BZX79-C{}"\n'

CIRCUITS = {
    "half-wave": ("half-wave", OWN),
    "half-wave, bleed": ("half-wave", OWN + BLEED),
    "half-wave, clamp diodes": ("half-wave", OWN + DIODES),
    "bridge leg, bleed": ("bridge-leg", BLEED),
    "bridge leg": ("bridge-leg", ""),
    "full-wave": ("full-wave", OWN + ISOLATED),
    "full-wave on a bridge": ("full-wave", ISOLATED),
    "two stages": ("half-wave", OWN + STAGE),
    "Zener 9.1 V": ("half-wave", OWN + ZENER.format("9V1")),
    "Zener 5.1 V": ("half-wave", OWN + ZENER.format("5V1")),
    "optocoupler": ("optocoupler", OWN + COUPLED.format("PC817") + REVERSE),
    "optocoupler, LEDs both ways": ("optocoupler", OWN + COUPLED.format("PC814")),
}
ORACLES: dict[str, Callable[[dict[str, float]], Answer]] = {
    "half-wave": lambda row: half_wave(row, clamped=False, bleed=False),
    "half-wave, bleed": lambda row: half_wave(row, clamped=False, bleed=True),
    "half-wave, clamp diodes": lambda row: half_wave(row, clamped=True, bleed=False),
    "bridge leg, bleed": lambda row: bridge_leg(row, bleed=True),
    "bridge leg": lambda row: bridge_leg(row, bleed=False),
    "full-wave": full_wave,
    "full-wave on a bridge": full_wave_bridge,
    "two stages": two_stage,
    "Zener 9.1 V": zener_clamped,
    "Zener 5.1 V": zener_clamped,
    "optocoupler": lambda row: optocoupler(row, figures("PC817"), both_ways=False, diode=True),
    "optocoupler, LEDs both ways": lambda row: optocoupler(
        row, figures("PC814"), both_ways=True, diode=False
    ),
}
PART_SETS = {"two stages": 50}
"""Part sets of a circuit, else 25: 50 and more of each topology and clamp."""

EDGES = {
    "t_high": "rise_time",
    "rise_time": "rise_time",
    "t_low": "fall_time",
    "fall_time": "fall_time",
}
"""Each time and the edge whose 0.1 % it may be off."""


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def scene(name: str) -> Scene:
    topology, more = CIRCUITS[name]
    text = DESIGN.format(topology=topology, more=more, rectifier="bridge")
    return plan(parse_design(text, "solver.toml")).scenes[0]


def figures(part: str) -> dict[str, float]:
    """Return the typical figures of an optocoupler by the names its model has for them."""
    return optocoupler_arguments(find_card(part).columns[0])


def random_rows(of: Scene, count: int, seed: int) -> list[dict[str, float]]:
    """Draw coordinates all over the space, then part values far beyond the design's own."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(-1, 1, (count, len(of.space.axes)))
    values = of.space.decode(points)
    joined = any(part.reference == "D7" for part in of.experiment.circuit.elements)
    fast = 0.1 if joined else 1.0  # the dip between two half-waves is short
    series = fast * rng.uniform(22e3, 220e3, count)
    values["line_sense.series_resistor"] = series
    longest_s = 0.8e-3 if joined else 1.5e-3
    values["line_sense.capacitor"] = fast * rng.uniform(0.2e-3, longest_s, count) / series
    if "line_sense.second_resistor" in values:
        second = rng.uniform(22e3, 220e3, count)
        values["line_sense.second_resistor"] = second
        values["line_sense.second_capacitor"] = rng.uniform(0.05e-3, 0.5e-3, count) / second
    if "line_sense.bleed_resistor" in values:
        bleeds = rng.uniform(0.2, 1.0, count) * series if joined else rng.uniform(3e3, 30e3, count)
        values["line_sense.bleed_resistor"] = bleeds
    if "supply.load_current" in values:
        values["supply.load_current"] = rng.uniform(2e-3, 60e-3, count)
    if "line_sense.pull_up_resistor" in values:
        values["line_sense.series_resistor"] = rng.uniform(1e3, 5e3, count)
        pull = rng.uniform(5e3, 50e3, count)
        values["line_sense.pull_up_resistor"] = pull
        values["line_sense.capacitor"] = rng.uniform(10e-6, 50e-6, count) / pull
    rows = of.derive(values)
    return [{name: float(np.ravel(v)[k]) for name, v in rows.items()} for k in range(count)]


@pytest.mark.parametrize("name", CIRCUITS)
def test_against_the_equations(
    engine: Engine, name: str, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    of = scene(name)
    rows = random_rows(of, counts(1, PART_SETS.get(name, 25)), seed=len(name))
    names = tuple(rows[0])
    out = engine.run(of.experiment, names, np.array([[row[n] for n in names] for row in rows]))
    assert not out.failures
    worst_s = worst_v = 0.0
    for row, values in zip(rows, out.values, strict=True):
        simulated = dict(zip(out.outputs, values, strict=True))
        expected = ORACLES[name](row).measures()
        for key, edge in EDGES.items():
            if name.startswith(("Zener", "opto")) and math.isnan(expected[key]):
                assert math.isnan(
                    simulated[key]
                )  # clamped below that level, or never dark for long
                continue
            assert math.isfinite(expected[key])
            allowed_s = max(1e-6, 1e-3 * expected[edge])
            worst_s = max(worst_s, abs(simulated[key] - expected[key]) / allowed_s)
        for key in ("pin_peak", "pin_trough"):
            share = abs(simulated[key] - expected[key]) / (1e-3 * row["v_rail"])
            worst_v = max(worst_v, share)
    figure(f"{len(rows)} part sets, error over allowed: times {worst_s:.2f}, levels {worst_v:.2f}")
    assert worst_s <= 1
    assert worst_v <= 1
