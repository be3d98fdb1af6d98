"""The surge scene of line sense: delivered as the standard has it, read off at its corners."""

from __future__ import annotations

import math

import numpy as np
import pytest
from line_designs import random_design, random_row

from analog.benches.line_sense import plan
from analog.design import parse_design
from analog.engine import Engine, open_engine, refined

DESIGN = """
edgeproof = 1
[design]
name = "surged"
[mains]
voltage = "230 V"
frequency = "50 Hz"
[environment]
ambient_minimum = "0 °C"
ambient_maximum = "40 °C"
[supply]
rail = "5 V 5%"
[line_sense]
topology = "half-wave"
winding_voltage = "12 V"
winding_rating = "3 VA"
series_resistor = "47k 5% carbon-film 0.25W"
capacitor = "22n 10% film"
[clocked]
part = "74HC4040"
"""


@pytest.fixture(scope="module")
def engine():
    with open_engine(jobs=1) as opened:
        yield opened


def test_both_surges_arrive_whole_and_on_time(engine: Engine) -> None:
    """1 kV by the turns ratio on top of the crest, and half of it 50 µs after the start
    (1.2/50 µs, IEC 61000-4-5: time to half value from the virtual origin)."""
    scene = plan(parse_design(DESIGN, "surged.toml")).scenes[1]
    point = np.zeros((1, len(scene.space.axes)))
    rows = scene.derive(scene.space.decode(point))
    row = {name: float(np.ravel(value)[0]) for name, value in rows.items()}
    run = engine.traces(scene.experiment, tuple(row), np.array(list(row.values())))
    ratio = row["v_peak"] / (math.sqrt(2) * 230)
    sense, divider = run.trace("v(sense)"), 1 - row["r_source"] / row["r_series"]
    assert row["v_surge"] == pytest.approx(1000 * ratio)
    assert sense.max() == pytest.approx((row["v_peak"] + 1000 * ratio) * divider, rel=0.01)
    assert sense.min() == pytest.approx(-(row["v_peak"] + 1000 * ratio) * divider, rel=0.01)
    for start, sign in ((row["t_surge"], 1), (row["t_sink"], -1)):
        late = start + 50e-6
        crest = (
            sign * row["v_peak"] * math.cos(2 * math.pi * 50 * (late - (0.01 if sign < 0 else 0)))
        )
        surge = np.interp(late, run.time, sense) / divider - crest
        assert surge * sign == pytest.approx(500 * ratio, rel=0.04)
    # The capacitor holds the pin, so all of it stands across the resistor.
    largest = run.values["series_resistor_surge"]
    assert largest == pytest.approx(
        -sense.min() + np.interp(0.01, run.time, run.trace("v(pin)")), rel=0.02
    )


def test_a_small_resistor_fails_at_its_overload_rating(engine: Engine) -> None:
    """A 230 V winding of its own: 1.3 kV and more, over the 500 V of a 0.25 W resistor."""
    text = DESIGN.replace('"12 V"', '"230 V"').replace('"3 VA"', '"5 VA"')
    of = plan(parse_design(text, "surged.toml"))
    (limit,) = of.limits["series_resistor_surge"]
    assert limit.maximum == 500.0
    scene = of.scenes[1]
    rows = scene.derive(scene.space.decode(np.zeros((1, len(scene.space.axes)))))
    names = tuple(rows)
    out = engine.run(
        scene.experiment, names, np.array([[float(np.ravel(v)[0]) for v in rows.values()]])
    )
    assert out.values[0, 0] > 1300.0


def test_settings_against_a_far_finer_run(engine: Engine, counts, figure) -> None:
    """Levels within 0.1 % of a run at a tenth of the step and reltol 1e-6."""
    rng, worst = np.random.default_rng(61), 0.0
    for _ in range(counts(6, 60)):
        scene = plan(random_design(rng)).scenes[1]
        row = random_row(scene, rng)
        given = tuple(row), np.array([list(row.values())])
        usual = engine.run(scene.experiment, *given).values[0, 0]
        fine = engine.run(refined(scene.experiment), *given).values[0, 0]
        worst = max(worst, abs(usual - fine) / fine)
    figure(f"largest voltage across the resistor off by {100 * worst:.4f} %")
    assert worst < 1e-3
