"""The RC oscillator built on the simulated Schmitt input, against its closed form.

TI CD40106B, SCHS097F, figure 20 with the typical thresholds of section 6.5: with R from output
to input and C to ground, T = RC·ln[(V_P/V_N)·(V_DD − V_N)/(V_DD − V_P)].
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np
import pytest
from oscillator_cases import oscillator

from analog.engine import Engine, open_engine

PART = {
    "v_rail": 10.0,
    "v_p": 5.9,
    "v_n": 3.9,
    "i_ol": 2.6e-3,
    "v_ol": 0.5,
    "i_oh": 2.6e-3,
    "v_oh": 0.5,
    "t_pd": 70e-9,
    "t_tr": 50e-9,
    "c_in": 5e-12,
    "r_in": 1e3,
}


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def closed_form_s(row: Mapping[str, float]) -> float:
    """Return the period (s) of an ideal comparator with two thresholds."""
    up = math.log((row["v_rail"] - row["v_n"]) / (row["v_rail"] - row["v_p"]))
    down = math.log(row["v_p"] / row["v_n"])
    return row["r_feedback"] * row["c_timing"] * (up + down)


def simulated(engine: Engine, row: Mapping[str, float]) -> dict[str, float]:
    expected = closed_form_s(row)
    full = {**row, "t_stop": 6 * expected, "t_step": expected / 100}
    names = tuple(full)
    outcome = engine.run(oscillator(), names, np.array([[full[name] for name in names]]))
    assert not outcome.failures
    return dict(zip(oscillator().outputs, outcome.values[0], strict=True))


def test_published_example(engine: Engine) -> None:
    row = {**PART, "r_feedback": 100e3, "c_timing": 0.1e-6}
    assert closed_form_s(row) == pytest.approx(8.113e-3, rel=1e-4)
    out = simulated(engine, row)
    assert out["period"] == pytest.approx(8.113e-3, rel=0.01)
    assert 1 / out["period"] == pytest.approx(123.3, rel=0.01)


def test_the_capacitor_turns_at_the_thresholds(engine: Engine) -> None:
    out = simulated(engine, {**PART, "r_feedback": 100e3, "c_timing": 0.1e-6})
    assert out["swing_high"] == pytest.approx(PART["v_p"], rel=3e-3)
    assert out["swing_low"] == pytest.approx(PART["v_n"], rel=3e-3)


@pytest.mark.parametrize(
    ("v_rail", "v_p", "v_n"), [(5.0, 2.9, 1.9), (15.0, 8.8, 5.8), (10.0, 6.8, 3.2)]
)
def test_other_supplies_and_makers(engine: Engine, v_rail: float, v_p: float, v_n: float) -> None:
    """Typical thresholds of TI at 5 V and 15 V (SCHS097F, section 6.5), of National at 10 V."""
    row = {**PART, "v_rail": v_rail, "v_p": v_p, "v_n": v_n}
    row |= {"r_feedback": 220e3, "c_timing": 22e-9}
    assert simulated(engine, row)["period"] == pytest.approx(closed_form_s(row), rel=0.01)
