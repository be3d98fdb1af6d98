"""Hold times of the published Schmitt monostable, by arithmetic and by simulation.

TI CD40106B, SCHS097F (2017): figure 19 gives t = R·C·ln(VDD/(VDD − V_P)) for a capacitor that
charges from 0 through R; section 6.5 gives V_P at 5, 10 and 15 V.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest

from analog.benches.base import Scene
from analog.benches.reset import plan
from analog.cards import find_card
from analog.design import parse_design
from analog.engine import Engine, open_engine
from analog.measures import first_crossing

RESISTANCE_OHM = 470e3
CAPACITANCE_F = 1e-6

# VDD (V): t/RC for the least, typical and largest V_P, then seconds with 470 kΩ and 1 µF.
# Computed by hand from the published thresholds.
PUBLISHED = {
    5.0: ((0.580, 0.868, 1.273), (0.272, 0.408, 0.598)),
    10.0: ((0.616, 0.892, 1.238), (0.290, 0.419, 0.582)),
    15.0: ((0.604, 0.884, 1.273), (0.284, 0.415, 0.598)),
}

DESIGN = """
edgeproof = 1
[design]
name = "published-monostable"
[environment]
ambient_minimum = "25 °C"
ambient_typical = "25 °C"
ambient_maximum = "25 °C"
[supply]
rail = "{rail} V"
rise_time = "1 us"
[reset]
resistor = "470k 5% metal-film"
capacitor = "1u 20% polypropylene 50V"
receiver = "40106"
maker = "TI"
driven = "4013"
"""


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def power_up(rail_v: float) -> Scene:
    design = parse_design(DESIGN.format(rail=f"{rail_v:g}"), "published.toml")
    return next(scene for scene in plan(design).scenes if scene.identifier == "power-up")


@pytest.mark.parametrize("rail_v", PUBLISHED)
def test_card_thresholds_give_the_published_time_constants(rail_v: float) -> None:
    figure = find_card("40106").column("TI").figure("V_P", vdd=rail_v)
    assert figure.minimum is not None
    assert figure.typical is not None
    assert figure.maximum is not None
    shares = (figure.minimum, figure.typical, figure.maximum)
    computed = [math.log(rail_v / (rail_v - level)) for level in shares]
    assert computed == pytest.approx(PUBLISHED[rail_v][0], abs=6e-4)
    seconds = [RESISTANCE_OHM * CAPACITANCE_F * share for share in computed]
    assert seconds == pytest.approx(PUBLISHED[rail_v][1], rel=2e-3)


@pytest.mark.parametrize("rail_v", PUBLISHED)
def test_simulated_hold_times_are_the_published_ones(engine: Engine, rail_v: float) -> None:
    scene = power_up(rail_v)
    row = row_at(scene, **{"reset.capacitor.leakage": 0.0})
    run = engine.traces(scene.experiment, tuple(row), np.array(list(row.values())))
    typical_v = find_card("40106").column("TI").figure("V_P", vdd=rail_v).typical
    assert typical_v is not None
    simulated = (
        run.values["t_earliest"],
        first_crossing(run.time, run.trace("v(pin)"), typical_v),
        run.values["t_latest"],
    )
    levels = [row["threshold_low"], typical_v, row["threshold_high"]]
    exact = [
        RESISTANCE_OHM * CAPACITANCE_F * math.log(rail_v / (rail_v - level)) for level in levels
    ]
    assert simulated == pytest.approx(exact, rel=1e-3)
    assert simulated == pytest.approx(PUBLISHED[rail_v][1], rel=2e-3)


def test_published_part_spread_at_ten_volts(engine: Engine) -> None:
    """C ±20 % and R ±5 % widen 0.290 to 0.582 s to 0.220 to 0.733 s (same document)."""
    scene = power_up(10.0)
    small = row_at(scene, **part_values(0.95, 0.80))
    large = row_at(scene, **part_values(1.05, 1.20))
    outcomes = engine.run(
        scene.experiment, tuple(small), np.array([list(small.values()), list(large.values())])
    )
    assert outcomes.column("t_earliest")[0] == pytest.approx(0.220, abs=1e-3)
    assert outcomes.column("t_latest")[1] == pytest.approx(0.733, abs=1e-3)


def part_values(resistor_share: float, capacitor_share: float) -> dict[str, float]:
    return {
        "reset.resistor": RESISTANCE_OHM * resistor_share,
        "reset.capacitor": CAPACITANCE_F * capacitor_share,
        "reset.capacitor.leakage": 0.0,
    }


def row_at(scene: Scene, **changed: float) -> dict[str, float]:
    """Return the nominal row with some axes set to other values."""
    values = scene.space.decode(np.zeros((1, len(scene.space.axes))))
    values |= {key: np.array([value]) for key, value in changed.items()}
    return {name: float(column[0]) for name, column in scene.derive(values).items()}
