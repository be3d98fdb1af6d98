"""Two filter stages and both half-waves against closed forms.

Two RC stages in a row: H = 1/(1 + s(R1·C1 + R1·C2 + R2·C2) + s²·R1·C1·R2·C2), any textbook on
circuits (the second stage loads the first). A Zener diode's knee: V(I) = V_Z + r·I_r·ln(I/I_Z)
while its resistance falls as 1/I; V_Z and r of the BZX79C sheet at 5 mA and 1 mA.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator

import numpy as np
import pytest
from line_cases import DESIGN, nominal, run

from analog.benches import conditioner, line_sense
from analog.design import Design, parse_design
from analog.engine import Engine, open_engine
from analog.measures import fundamental


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def design(**changes: str) -> Design:
    usual = {
        "topology": "half-wave",
        "resistor": "100k",
        "capacitor": "10n",
        "frequency": "50",
        "rail": "9",
        "sense": "",
        "more": '[conditioner]\npart = "40106"\nmaker = "TI"',
    }
    return parse_design(DESIGN.format(**(usual | changes)), "topologies.toml")


TWO_STAGES = 'second_resistor = "47k 1% metal-film"\nsecond_capacitor = "4n7 5% C0G"'
ISOLATED = 'isolating_diode = "1N4148"\nbleed_resistor = "4k7 1% metal-film"'


def ladder(frequency_hz: float) -> complex:
    """Return the gain of 100k + 10n followed by 47k + 4.7n and the pin's 0.1 pF."""
    s = 2j * math.pi * frequency_hz
    first, coupled, second = 100e3 * 10e-9, 100e3 * 4.7e-9, 47e3 * 4.7e-9
    return 1 / (1 + s * (first + coupled + second) + s * s * first * second)


@pytest.mark.parametrize("frequency_hz", [50.0, 500.0, 5e3])
def test_gain_and_phase_of_two_stages(engine: Engine, frequency_hz: float) -> None:
    experiment, row = nominal(line_sense.plan(design(sense=TWO_STAGES)))
    cycle = 1 / frequency_hz
    settled = math.ceil(20e-3 * frequency_hz)
    row |= {"v_peak": 0.1, "f_mains": frequency_hz, "i_leak": 0.0, "c_in": 0.1e-12}
    row |= {"pin_start": 0.0, "joint_start": 0.0, "t_step": cycle / 100}
    row |= {"t_start": settled * cycle, "t_quarter": (settled + 0.25) * cycle}
    row |= {"t_end": (settled + 1.25) * cycle, "t_stop": (settled + 1.5) * cycle}
    row |= {"t_record": (settled - 0.1) * cycle}
    traces = run(engine, experiment, row)
    source, pin = (
        fundamental(traces.time, traces.trace(name), frequency_hz)
        for name in ("v(sense)", "v(pin)")
    )
    expected = ladder(frequency_hz)
    assert abs(pin / source) == pytest.approx(abs(expected), rel=5e-3)
    assert cmath.phase(pin / source) == pytest.approx(cmath.phase(expected), abs=5e-3)


def test_both_half_waves_make_two_edges(engine: Engine) -> None:
    of = design(topology="full-wave", resistor="10k", sense=ISOLATED)
    for plan in (line_sense.plan(of), conditioner.plan(of)):
        (limit,) = plan.limits["edges_per_cycle"]
        assert (limit.minimum, limit.maximum) == (2.0, 2.0)
        scene = next(s for s in plan.scenes if "edges_per_cycle" in s.measures)
        experiment, row = nominal(plan, plan.scenes.index(scene))
        assert run(engine, experiment, row).values["edges_per_cycle"] == 2


def test_full_wave_edge_follows_every_zero_of_the_mains(engine: Engine) -> None:
    """With next to no filter the edge comes when the wave less a diode's drop passes V_IH.

    |A·sin ωt| = V + V_D; at V = 3.5 V (JESD13-B, 5 V rail) the bleed's 0.74 mA leaves a 1N4148
    0.59 V (its widely circulated parameters).
    """
    of = design(topology="full-wave", resistor="100R", capacitor="10p", rail="5", sense=ISOLATED,
                more="")  # fmt: skip
    experiment, row = nominal(line_sense.plan(of))
    measured = run(engine, experiment, {**row, "i_leak": 0.0}).values
    drop = 1.679 * 0.025693 * math.log(3.5 / 4.7e3 / 2.495e-9)
    expected = math.asin((3.5 + drop) / 16.97) / (2 * math.pi * 50)
    assert measured["crossing_delay"] == pytest.approx(expected, rel=5e-3)
    assert measured["edges_per_cycle"] == 2


@pytest.mark.parametrize(
    ("name", "zener_v", "knee_v"), [("BZX79-C5V1", 5.1, 0.4), ("BZX79-C9V1", 9.1, 0.04)]
)
def test_zener_holds_the_pin_lower_than_its_name_says(
    engine: Engine, name: str, zener_v: float, knee_v: float
) -> None:
    sense = f'clamp = "zener"\nclamp_zener = "{name}"'
    of = design(capacitor="100p", rail="15", sense=sense)
    experiment, row = nominal(line_sense.plan(of))
    peak = run(engine, experiment, {**row, "i_leak": 0.0}).values["pin_peak"]
    current = (math.sqrt(2) * 12 - peak) / 100e3
    assert peak == pytest.approx(zener_v + knee_v * math.log(current / 5e-3), abs=0.01)
    assert peak < zener_v - 3.5 * knee_v


def test_two_stages_start_as_they_go_on(engine: Engine) -> None:
    """The start values are the ladder's real part at the crest, and a cycle later still are."""
    of = design(rail="15", sense=TWO_STAGES)
    experiment, row = nominal(line_sense.plan(of))
    assert row["pin_start"] == pytest.approx(row["v_peak"] * ladder(50.0).real, rel=1e-6)
    linear = {**row, "i_leak": 0.0, "v_peak": 0.3, "pin_start": 0.0, "joint_start": 0.0}
    traces = run(engine, experiment, linear)
    at_crest = np.interp(row["t_start"], traces.time, traces.trace("v(pin)"))
    assert at_crest == pytest.approx(0.3 * ladder(50.0).real, rel=5e-3)
