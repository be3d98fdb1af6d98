"""A transistor stage by hand, on a mains so slow (1 Hz) that nothing is stored.

V_pin = V_BE(I_C) + I_C/h_FE·R_B with V_BE = N·V_T·ln(I_C/I_S) and I_C = (V_DD − V_out)/R_C, any
textbook on transistors. The BC547B's parameters are a widely circulated set; h_FE 200 to 450,
V_EBO 6 V: Fairchild BC547 rev B (1997).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from line_cases import DESIGN, nominal, run

from analog.benches import conditioner, line_sense
from analog.design import Design, parse_design
from analog.engine import Engine, open_engine, refined
from analog.verdicts import judge

V_T = 1.380649e-23 / 1.602176634e-19 * 298.15
STAGE = """[conditioner]
part = "BC547B"
base_resistor = "{base} 1% metal-film"
collector_resistor = "10k 1% metal-film"
"""


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def design(base: str = "100k", frequency: str = "1", sense: str = "") -> Design:
    text = DESIGN.format(
        topology="half-wave",
        resistor="10k",
        capacitor="1n",
        frequency=frequency,
        rail="9",
        sense=sense,
        more=STAGE.format(base=base),
    )
    return parse_design(text, "transistor.toml")


def pin_v(out_v: float, base_ohm: float, gain: float = 300.0) -> float:
    current = (9.0 - out_v) / 10e3
    return 0.9955 * V_T * math.log(current / 1.8e-14) + current / gain * base_ohm


@pytest.mark.parametrize(("base", "base_ohm"), [("10k", 10e3), ("100k", 100e3)])
def test_thresholds_and_edges_on_a_slow_mains(engine: Engine, base: str, base_ohm: float) -> None:
    experiment, row = nominal(conditioner.plan(design(base)))
    assert row["h_fe"] == pytest.approx(300.0)
    values = run(engine, refined(experiment, 50), row).values
    for name in ("threshold_rising", "threshold_falling"):
        assert values[name] == pytest.approx(pin_v(4.5, base_ohm), abs=2e-3)
    # Base current flows through the filter's resistor as well.
    slope = row["v_peak"] * 2 * math.pi * row["f_mains"]
    ends = [pin_v(share * 9.0, base_ohm) for share in (0.9, 0.1)]
    currents = [(1 - share) * 9.0 / 10e3 / 300 for share in (0.9, 0.1)]
    sources = [v + i * row["r_series"] for v, i in zip(ends, currents, strict=True)]
    assert values["output_fall_time"] == pytest.approx((sources[1] - sources[0]) / slope, rel=0.02)


def test_it_conducts_surely_at_the_cold_with_the_least_gain(engine: Engine) -> None:
    """At the computed level the output is down, at the surely-off level it is up, in the worst
    part that may be fitted."""
    plan = conditioner.plan(design("100k"))
    scene = plan.scenes[0]
    for gain, shift in ((-1.0, 1.0), (1.0, -1.0)):
        point = np.zeros((1, len(scene.space.axes)))
        point[0, scene.space.keys.index("conditioner.current_gain")] = gain
        point[0, scene.space.keys.index("conditioner.base_emitter_voltage")] = shift
        rows = scene.derive(scene.space.decode(point))
        row = {name: float(np.ravel(value)[0]) for name, value in rows.items()}
        traces = run(engine, scene.experiment, row)
        pin, out = traces.trace("v(pin)"), traces.trace("v(out)")
        settled = traces.time > row["t_quarter"]
        assert out[settled & (pin > row["p_max"])].max() < 0.5
        assert out[settled & (pin < row["n_min"])].min() > 8.8


def test_a_base_without_a_clamp_is_driven_into_reverse_breakdown(engine: Engine) -> None:
    """12 V rms on a winding's end: its negative crest against the 6 V of the rating."""
    plan = line_sense.plan(design("10k", "50"))
    experiment, row = nominal(plan)
    value = run(engine, experiment, row).values["base_reverse_voltage"]
    assert value == pytest.approx(12 * math.sqrt(2), rel=0.01)
    (limit,) = plan.limits["base_reverse_voltage"]
    assert limit.maximum == 6.0
    assert judge(value, limit, 1.0).verdict == "fail"
    assert any("A base wants a clamp" in note for note in plan.notes)


def test_clamp_diodes_spare_the_base(engine: Engine) -> None:
    plan = line_sense.plan(design("10k", "50", 'clamp = "diodes"'))
    experiment, row = nominal(plan)
    values = run(engine, experiment, row).values
    assert values["base_reverse_voltage"] < 0.8
    assert values["edges_per_cycle"] == 1
