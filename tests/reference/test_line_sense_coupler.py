"""The optocoupler's measures by hand: LED current, reverse voltage, transfer ratio to spare.

Ratings and ratios of Sharp PC817 (absolute maximum ratings, classification table): 6 V reverse,
50 mA, ratio 50 % to 600 % at 5 mA; half of it left at the end of life (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from line_cases import DESIGN, nominal, run

from analog.benches.base import Plan
from analog.benches.line_coupler import FORWARD_V, RATIO
from analog.benches.line_sense import plan
from analog.design import parse_design
from analog.engine import Engine, open_engine
from analog.verdicts import judge

COUPLED = 'optocoupler = "{}"\npull_up_resistor = "22k 1% metal-film"\n'
PEAK_V = 12 * math.sqrt(2)


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def planned(sense: str, resistor: str = "2k2", capacitor: str = "1n") -> Plan:
    text = DESIGN.format(
        topology="optocoupler",
        resistor=resistor,
        capacitor=capacitor,
        frequency="50",
        rail="9",
        sense=sense,
        more='[conditioner]\npart = "40106"\nmaker = "TI"',
    )
    return plan(parse_design(text, "coupler.toml"))


def measured(engine: Engine, of: Plan, changes: dict[str, float] | None = None) -> dict[str, float]:
    experiment, row = nominal(of)
    return dict(run(engine, experiment, {**row, **(changes or {})}).values)


def test_without_a_diode_across_it_the_led_bears_the_whole_crest(engine: Engine) -> None:
    of = planned(COUPLED.format("PC817"))
    value = measured(engine, of)["led_reverse_voltage"]
    assert value == pytest.approx(PEAK_V, rel=2e-3)
    (limit,) = of.limits["led_reverse_voltage"]
    assert limit.maximum == 6.0
    assert judge(value, limit, 1.0).verdict == "fail"


def test_a_diode_across_it_leaves_the_led_one_junction(engine: Engine) -> None:
    """A 1N4148 at (16.97 − 0.7) V/2.2 kΩ = 7.4 mA: 1.679·25.7 mV·ln(7.4 mA/2.495 nA)."""
    of = planned(COUPLED.format("PC817") + 'antiparallel_diode = "1N4148"')
    value = measured(engine, of)["led_reverse_voltage"]
    expected = 1.679 * 0.025693 * math.log(7.4e-3 / 2.495e-9) + 7.4e-3 * 0.4755
    assert value == pytest.approx(expected, abs=0.005)


def test_two_leds_spare_each_other(engine: Engine) -> None:
    """Each bears the other's forward voltage: 1.2 V at 20 mA, e-fold per 2·25.7 mV, 2 Ω."""
    of = planned(COUPLED.format("PC814"))
    values = measured(engine, of)
    current = (PEAK_V - 1.15) / 2.2e3
    expected = 1.2 - 2 * 0.025693 * math.log(20e-3 / current) - 2 * (20e-3 - current)
    assert values["led_reverse_voltage"] == pytest.approx(expected, abs=0.003)
    assert values["edges_per_cycle"] == 2
    assert "led_reverse_voltage" not in of.limits


def test_led_current_is_the_crest_less_a_forward_voltage_over_the_resistor(engine: Engine) -> None:
    of = planned(COUPLED.format("PC817"))
    current = measured(engine, of)["led_current_peak"]
    forward = 1.2 - 2 * 0.025693 * math.log(20e-3 / current) - 2 * (20e-3 - current)
    assert current == pytest.approx((PEAK_V - forward) / 2.2e3, rel=2e-3)


def test_ratio_to_spare_aged_and_cold_by_hand(engine: Engine) -> None:
    """PC817 at its least, 50 %, half of it left: 25 % at 5 mA; it needs (9 − V_N)/22 kΩ.

    At the crest, 4.9 mA through 3.3 kΩ, the ratio is within 1 % of its value at 5 mA.
    """
    of = planned(COUPLED.format("PC817"), resistor="3k3")
    scene = of.scenes[0]
    point = np.zeros((1, len(scene.space.axes)))
    point[0, scene.space.keys.index(RATIO)] = -1
    values = scene.space.decode(point)
    assert values[RATIO][0] == pytest.approx(0.25)
    assert values[FORWARD_V][0] == pytest.approx(1.2)
    row = {name: float(np.ravel(value)[0]) for name, value in scene.derive(values).items()}
    simulated = run(engine, scene.experiment, row).values
    needed = (9.0 - row["v_low"]) / 22e3 / simulated["led_current_peak"]
    assert simulated["ctr_margin"] == pytest.approx(0.25 - needed, rel=0.02)


def test_too_little_ratio_leaves_the_low_level_too_high(engine: Engine) -> None:
    """What the margin says by hand, the simulated level shows: both change sign together."""
    of = planned(COUPLED.format("PC817"), resistor="10k")
    for ratio, enough in ((0.6, True), (0.2, False)):
        values = measured(engine, of, {"ctr": ratio})
        assert (values["ctr_margin"] > 0) == enough
        assert (values["low_level_margin"] > 0) == enough


def test_cold_and_age_lower_the_ratio_of_every_row() -> None:
    scene = planned(COUPLED.format("PC817")).scenes[0]
    values = scene.space.decode(np.zeros((2, len(scene.space.axes))))
    values["environment.ambient"] = np.array([-30.0, 75.0])
    rows = scene.derive(values)
    assert rows["ctr"] == pytest.approx(values[RATIO] * np.array([0.9, 0.78]))
    assert rows["dark_current"] == pytest.approx(1e-7 * 2 ** np.array([-5.5, 5.0]))
