"""The reset behind an exponential rail, and a window of cuts with known edges.

Closed forms of first-order networks (any circuit textbook); the exponential rail is what a
reservoir behind a resistance gives. The window follows from the discharge of an RC alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from analog.benches.base import Scene
from analog.benches.reset import plan
from analog.circuits.record import Pwl, Transient
from analog.circuits.reset_network import ResetParts, reset_network
from analog.design import Design, parse_design
from analog.engine import Engine, open_engine
from analog.measures import first_crossing
from analog.workflows.interruptions import missed
from analog.workflows.scenes import case, parameter_rows

RAIL_V, OHM, FARAD = 9.0, 470e3, 1e-6

TEXT = """
edgeproof = 1
[design]
name = "ramps"
[environment]
ambient_minimum = "25 °C"
ambient_maximum = "25 °C"
[supply]
rail = "9 V 5%"
rise_time = "1 ms"
fall_time = "1 ms"
[reset]
resistor = "470k 5% metal-film"
capacitor = "1u 20% polypropylene 50V"
receiver = "40106"
maker = "TI"
driven = "4013"
{more}
"""


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def design(more: str = "") -> Design:
    return parse_design(TEXT.format(more=more), "ramps.toml")


def scene_of(record: Design, name: str) -> Scene:
    return next(scene for scene in plan(record).scenes if scene.identifier == name)


def nominal_row(scene: Scene) -> dict[str, float]:
    names, rows = parameter_rows(scene, np.zeros((1, len(scene.space.axes))))
    return dict(zip(names, rows[0].tolist(), strict=True)) | {"leak_c": 0.0, "g_pin": 0.0}


@pytest.mark.parametrize("rise_s", [0.02, 0.15, 0.6])
def test_pin_behind_an_exponential_rail(rise_s: float, engine: Engine) -> None:
    """V·(1 − (T·e^(−t/T) − τ·e^(−t/τ))/(T − τ)) with T = RC and τ that of the rail."""
    constant = OHM * FARAD
    moments = np.concatenate(([0.0], np.geomspace(rise_s / 300, 12 * rise_s, 400)))
    levels = RAIL_V * -np.expm1(-moments / rise_s)
    rail = Pwl(tuple(zip(moments.tolist(), levels.tolist(), strict=True)))
    scene = scene_of(design(), "power-up")
    experiment = replace(
        scene.experiment,
        circuit=reset_network("exponential", ResetParts(), rail),
        analysis=Transient(2.5, 1e-3, reltol=1e-5),
        readings=(),
    )
    row = nominal_row(scene)
    run = engine.traces(experiment, tuple(row), np.array(list(row.values())))

    def pin(t: float) -> float:
        grown = constant * math.exp(-t / constant) - rise_s * math.exp(-t / rise_s)
        return RAIL_V * (1 - grown / (constant - rise_s))

    for moment in (0.1, 0.4, 1.0, 2.0):
        level = np.interp(moment, run.time, run.trace("v(pin)"))
        assert level == pytest.approx(pin(moment), rel=2e-3, abs=1e-4)
    reached = first_crossing(run.time, run.trace("v(pin)"), row["threshold_high"], True)
    assert pin(reached) == pytest.approx(row["threshold_high"], rel=1e-3)
    # The rail passes 3 V at τ·ln(3/2), and the hold time counts from there.
    assert run.values["t_valid"] == pytest.approx(rise_s * math.log(1.5), rel=5e-3)


def test_a_planted_window_is_found(engine: Engine) -> None:
    """Rail gone in 1 ms, no diode, 10 MΩ into the pin: u = V·e^(−t/τ), τ = C·(R ∥ 10 MΩ), so that
    cuts from the loss of 3 V to τ·ln(V/V_A) are missed; both edges within 5 %."""
    record = design('pin_resistor = "10M 5% metal-film"')
    scene = scene_of(record, "interruption")
    row = nominal_row(scene)
    outcomes = engine.run(scene.experiment, tuple(row), np.array([list(row.values())]))
    found = dict(zip(outcomes.outputs, outcomes.values[0], strict=True))
    constant = FARAD / (1 / OHM + 1 / 10e6)
    # The pin's diode takes its half volt off what the 10 MΩ carry, which hardly counts.
    planted = constant * math.log(RAIL_V / row["v_assert"])
    assert found["t_lost"] == pytest.approx(1e-3 * (1 - 3 / RAIL_V), rel=0.05)
    assert found["t_sure"] == pytest.approx(planted, rel=0.05)
    at = case(scene, np.zeros(len(scene.space.axes)), outcomes.values[0], False)
    lengths = planted * np.array([0.3, 0.93, 1.08, 2.0])
    lost = missed(record, replace(at, row=row), engine, lengths, 0 * lengths)
    assert lost.tolist() == [True, True, False, False]
