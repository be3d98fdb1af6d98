"""Push-button with bounce, and noise on the rail at the release, on the real engine."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
import reset_designs
from reset_designs import MAT, scene_of

from analog.benches.base import Scene
from analog.benches.reset import plan
from analog.benches.reset_button import BOUNCE_S, BOUNCES, HASTY_S
from analog.benches.reset_release import CYCLES, STRETCH
from analog.cards import find_card
from analog.design import read_design
from analog.engine import Engine, open_engine, refined
from analog.workflows import check
from analog.workflows.scenes import parameter_rows


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def ran(
    engine: Engine, scene: Scene, points: np.ndarray, **changed: float
) -> dict[str, np.ndarray]:
    names, rows = parameter_rows(scene, points)
    for name, value in changed.items():
        rows[:, names.index(name)] = value
    outcomes = engine.run(scene.experiment, names, rows)
    assert not outcomes.failures
    return {name: outcomes.column(name) for name in outcomes.outputs} | {
        name: rows[:, k] for k, name in enumerate(names)
    }


def nominal(scene: Scene) -> np.ndarray:
    return np.zeros((1, len(scene.space.axes)))


def pressed_for(closed_s: float) -> float:
    """Return how long after the first touch the contact has been closed for `closed_s`."""
    whole, rest = divmod(closed_s, BOUNCE_S / 2)
    if whole >= BOUNCES:
        return BOUNCES * BOUNCE_S + closed_s - BOUNCES * BOUNCE_S / 2
    return whole * BOUNCE_S + rest


@pytest.mark.parametrize("topology", ["rc-low", "rc-high"])
@pytest.mark.parametrize("resistor", ["220R", "1k", "4k7"])
def test_a_press_lasts_as_long_as_the_discharge_through_its_resistor(
    topology: str, resistor: str, engine: Engine
) -> None:
    """R_B·C·ln((V − V_E)/(V_A − V_E)) of closed contact, V_E the divider's end level."""
    more = f'button = true\nbutton_resistor = "{resistor}"\n'
    scene = scene_of(reset_designs.design(topology, more), "press")
    found = ran(engine, scene, nominal(scene))
    row = {name: float(column[0]) for name, column in found.items()}
    ohm, whole = row["r_button"] + 0.05, row["r_button"] + row["r_reset"]
    end = row["rail"] * ohm / whole
    closed = ohm * row["c_reset"] * math.log((row["rail"] - end) / (row["v_assert_full"] - end))
    assert row["button_press_time"] == pytest.approx(pressed_for(closed), rel=0.02, abs=2e-5)


def test_without_a_resistor_the_first_touch_resets(engine: Engine) -> None:
    scene = scene_of(reset_designs.design("rc-low", "button = true\n"), "press")
    found = ran(engine, scene, nominal(scene))
    assert 0 < found["button_press_time"][0] < 2e-5


def test_a_resistor_too_large_for_its_button_never_resets(engine: Engine) -> None:
    """100 kΩ against 470 kΩ leave 1.6 V at the pin, above the 1.26 V that certainly assert."""
    more = 'button = true\nbutton_resistor = "100k"\n'
    found = check(reset_designs.design("rc-low", more), engine, benches=["reset"])
    row = next(
        row for row in found.results.benches[0].measures if row.measure == "button_press_time"
    )
    assert (row.verdict, row.worst) == ("fail", None)
    assert row.limit is not None
    assert row.limit.max == HASTY_S


def test_a_plain_input_sees_every_swing_of_the_noise(engine: Engine) -> None:
    """N = 1 + 2·⌊pp/(slope/f)⌋ crossings of a level by a slope with noise of pp peak to peak."""
    scene = scene_of(reset_designs.design("rc-low", receiver="4013"), "release")
    found = ran(engine, scene, nominal(scene))
    assert found["release_edges"][0] == 1 + 2 * math.floor(CYCLES / STRETCH)
    shaken = 0.05 * found["threshold"][0] / 9.0
    assert found["release_hysteresis_margin"][0] == pytest.approx(-shaken, rel=0.05)


@pytest.mark.parametrize(("share", "clean"), [(0.9, True), (1.4, False)])
def test_hysteresis_forgives_just_less_noise_than_itself(
    share: float, clean: bool, engine: Engine
) -> None:
    scene = scene_of(reset_designs.design("rc-low"), "release")
    plain = ran(engine, scene, nominal(scene))
    swing = share * plain["hysteresis"][0] * 9.0 / plain["threshold"][0]
    stretch = STRETCH * swing * plain["threshold"][0] / 9.0
    changed = {
        "noise": swing / 2,
        "v_start": plain["threshold"][0] - stretch / 2,
        "t_stop": plain["t_stop"][0] * swing / 0.05,
        "f_noise": plain["f_noise"][0] * 0.05 / swing,
        "t_step": plain["t_stop"][0] * swing / 0.05 / 1500,
    }
    found = ran(engine, scene, nominal(scene), **changed)
    assert (found["release_edges"][0] == 1) == clean
    assert (found["release_hysteresis_margin"][0] > 0) == clean


def test_the_stated_noise_is_what_shakes(engine: Engine) -> None:
    quiet, loud = (
        reset_designs.design("rc-low").model_copy(
            update={"supply": reset_designs.design("rc-low").supply.model_copy(update={"noise": v})}
        )
        for v in (0.02, 0.2)
    )
    margins = [
        ran(engine, scene_of(design, "release"), nominal(scene_of(design, "release")))
        for design in (quiet, loud)
    ]
    lost = [found["hysteresis"][0] - found["release_hysteresis_margin"][0] for found in margins]
    assert lost[1] == pytest.approx(10 * lost[0], rel=0.05)


def test_a_latch_needs_one_edge_and_its_own_two_delays() -> None:
    """CD4011B at 8.55 V: both delays at their largest, once around."""
    whole = plan(reset_designs.design("rc-low", "latch = true\n", "4011"))
    assert "release_edges" not in whole.limits
    (limit,) = whole.limits["hold_time"]
    column = max(
        find_card("4011").columns,
        key=lambda c: c.figure("t_plh", 8.55).high + c.figure("t_phl", 8.55).high,
    )
    expected = column.figure("t_plh", 8.55).high + column.figure("t_phl", 8.55).high
    assert limit.minimum == pytest.approx(expected)
    assert any("latch takes the first edge" in note for note in whole.notes)


@pytest.mark.parametrize("name", ["press", "release", "led", "brown-out"])
def test_settings_are_converged(name: str, engine: Engine, counts, figure) -> None:
    """A tenth of the step moves no measure by over 0.5 % of its scale."""
    pressed = reset_designs.design("rc-low", 'button = true\nbutton_resistor = "470R"\n')
    design = read_design(MAT) if name == "led" else pressed
    whole = plan(design)
    scene = next(one for one in whole.scenes if one.identifier == name)
    scales = {measure.identifier: measure.scale for measure in whole.measures}
    rng = np.random.default_rng(9)
    points = rng.uniform(-1, 1, (counts(3, 30), len(scene.space.axes)))
    names, rows = parameter_rows(scene, points)
    usual = engine.run(scene.experiment, names, rows)
    fine = engine.run(refined(scene.experiment), names, rows)
    worst = 0.0
    for measure in scene.measures:
        off = np.abs(usual.column(measure) - fine.column(measure)) / scales[measure]
        worst = max(worst, float(off.max()))
        assert off.max() < 5e-3, (measure, off)
    figure(f"{name}: largest difference {100 * worst:.3f} % of a scale")
