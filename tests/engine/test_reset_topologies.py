"""Every topology of the reset on the real engine, against its mirror or a closed form."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
import reset_designs
from reset_designs import MAT, scene_of

from analog.benches.base import Scene
from analog.benches.reset import network_of
from analog.benches.reset_interruption import return_experiment, return_rows
from analog.benches.reset_led import led_circuit, led_scenes
from analog.design import read_design
from analog.engine import Engine, Outcomes, open_engine
from analog.workflows import check
from analog.workflows.interruptions import interruption_map, missed
from analog.workflows.scenes import case, parameter_rows


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def ran(engine: Engine, scene: Scene, points: np.ndarray) -> Outcomes:
    names, rows = parameter_rows(scene, points)
    outcomes = engine.run(scene.experiment, names, rows)
    assert not outcomes.failures
    return outcomes


def corners(scene: Scene, count: int, seed: int = 1) -> np.ndarray:
    points = np.random.default_rng(seed).choice([-1.0, 0.0, 1.0], (count, len(scene.space.axes)))
    points[0] = 0.0
    return points


@pytest.mark.parametrize("name", ["power-up", "settled", "power-down", "interruption", "brown-out"])
def test_active_high_is_active_low_upside_down(name: str, engine: Engine) -> None:
    """The same parts with ground and rail exchanged, and an input whose thresholds are mirrored."""
    low, high = (scene_of(reset_designs.design(which), name) for which in ("rc-low", "rc-high"))
    points = np.zeros((1, len(low.space.axes)))
    up, down = ran(engine, low, points), ran(engine, high, points)
    # The nominal thresholds of a 40106 do not mirror: V_N of one is not VDD − V_P of the other.
    mirrored = network_of(reset_designs.design("rc-high")).levels
    plain = network_of(reset_designs.design("rc-low")).levels
    assert mirrored.earliest_v(9.0) == pytest.approx(9.0 - mirrored.earliest(9.0).high)
    assert plain.earliest_v(9.0) == pytest.approx(plain.earliest(9.0).low)
    for output in up.outputs:
        if output in ("discharge_current", "pin_discharge_current", "t_valid", "t_again"):
            assert down.column(output) == pytest.approx(up.column(output), rel=1e-3), output
    if name == "settled":
        assert down.column("final_level")[0] == pytest.approx(
            9.0 - up.column("final_level")[0], abs=1e-4
        )
    if name == "power-up":
        sides = [(9.0 - v) for v in (mirrored.earliest_v(9.0), plain.earliest_v(9.0))]
        ratio = math.log(9.0 / sides[0]) / math.log(9.0 / sides[1])
        held = down.column("hold_time")[0] / up.column("hold_time")[0]
        assert held == pytest.approx(ratio, rel=0.01)


def test_a_resistor_in_the_capacitor_gives_the_textbook_step(engine: Engine) -> None:
    """v = V·(1 − R/(R + r)·e^(−t/((R + r)·C)): the pin starts at the divider's level."""
    scene = scene_of(reset_designs.design("series"), "power-up")
    names, rows = parameter_rows(scene, np.zeros((1, len(scene.space.axes))))
    row = dict(zip(names, rows[0], strict=True))
    row |= {"leak_c": 0.0, "g_pin": 0.0}
    run = engine.traces(scene.experiment, names, np.array([row[name] for name in names]))
    whole, constant = 0.480e6, 0.480e6 * 1e-6
    # The ramp of some milliseconds counts like a step where its area says.
    middle = np.trapezoid(1 - run.trace("v(vdd)") / 9.0, run.time)
    for moment in (0.1, 0.3, 0.6):
        shape = 1 - 470e3 / whole * math.exp(-(moment - middle) / constant)
        assert np.interp(moment, run.time, run.trace("v(pin)")) == pytest.approx(
            9.0 * shape, rel=4e-3
        )


def test_a_detector_holds_for_its_delay(engine: Engine) -> None:
    """t = R·C·ln(1/(1 − share)) from where the rail passes V_DET + V_HYS."""
    scene = scene_of(reset_designs.design("detector"), "power-up")
    points = corners(scene, 4)
    names, rows = parameter_rows(scene, points)
    outcomes = ran(engine, scene, points)
    for index, values in enumerate(rows):
        row = dict(zip(names, values, strict=True))
        expected = row["t_constant"] * math.log(1 / (1 - row["share"]))
        assert outcomes.column("hold_time")[index] == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize("name", ["gated", "detector"])
def test_held_resets_miss_nothing(name: str, engine: Engine, counts, figure) -> None:
    """Neither at a corner nor anywhere on the map; a plain RC beside them misses a lot."""
    design = reset_designs.design(name)
    for scene_name in ("interruption", "brown-out"):
        scene = scene_of(design, scene_name)
        outcomes = ran(engine, scene, corners(scene, counts(12, 200)))
        if scene_name == "interruption":
            assert outcomes.column("missed_reset_window").max() == 0.0
        else:
            assert outcomes.column("brown_out_margin").min() > 0.0
    scene = scene_of(design, "interruption")
    values = ran(engine, scene, np.zeros((1, len(scene.space.axes)))).values[0]
    nominal = case(scene, np.zeros(len(scene.space.axes)), values, False)
    found = interruption_map(design, nominal, engine)
    assert not found.window.inside.any()
    assert not any(miss for *_, miss in found.points)
    figure(f"{name}: {found.window.runs} runs of the map, none missed")


def test_a_zener_below_the_logic_gates_too_late(engine: Engine) -> None:
    """Logic that needs 6.5 V loses its state before a 5.6 V Zener lets go."""
    whole = check(
        reset_designs.design("gated", 'valid_supply = "6.5 V"\n'), engine, benches=["reset"]
    )
    rows = {row.measure: row for row in whole.results.benches[0].measures}
    assert rows["missed_reset_window"].verdict == "fail"
    assert rows["brown_out_margin"].verdict == "fail"


def test_cuts_of_100_to_1000_ms_on_a_described_supply(engine: Engine) -> None:
    """The realistic test of a reset (EDN, column on power-on reset): 1 MΩ and 10 µF miss them,
    a supply-gated reset takes every one that the rail feels."""
    lengths = np.geomspace(0.1, 1.0, 12)
    taken = {}
    for name in ("slow", "gated"):
        design = reset_designs.design(name)
        scene = scene_of(design, "interruption")
        heavy = np.zeros((1, len(scene.space.axes)))
        heavy[0, scene.space.keys.index("supply.load_current")] = 1.0
        heavy[0, scene.space.keys.index("mains.voltage")] = -1.0
        values = ran(engine, scene, heavy).values[0]
        worst = case(scene, heavy[0], values, False)
        taken[name] = ~missed(design, worst, engine, lengths, 0 * lengths)
        # The reservoir carries a heavy load over 0.1 s, not over a fifth of a second.
        assert worst.values["t_lost"] < 0.2
    assert taken["gated"].all()
    assert taken["slow"].sum() <= 3


def test_led_current_before_reset_is_that_of_the_divider(engine: Engine) -> None:
    """(3 V − V_F − V_CE)/R: a rail of 3 V less 1.1 V of LED and 0.1 V of switch."""
    design = read_design(MAT)
    scene = next(iter(led_scenes(network_of(design), design)))
    found = ran(engine, scene, np.zeros((1, len(scene.space.axes))))
    assert found.column("led_current_before_reset")[0] == pytest.approx(1.8 / 680, rel=0.05)
    assert found.column("time_unguarded")[0] < 0.2


def test_no_cut_of_the_map_gives_the_led_more(engine: Engine) -> None:
    """The LED follows the rail without memory: each cut and return stays at the scene's value."""
    design = read_design(MAT)
    network = network_of(design)
    scene = next(iter(led_scenes(network, design)))
    names, rows = parameter_rows(scene, np.zeros((1, len(scene.space.axes))))
    largest = engine.run(scene.experiment, names, rows).column("led_current_before_reset")[0]
    cut = scene_of(design, "interruption")
    at = case(cut, np.zeros(len(cut.space.axes)), np.zeros(4), False)
    lengths, floors = np.array([0.35, 0.4, 0.6, 5.0]), np.array([0.0, 2.9, 1.5, 2.99])
    returns = return_rows(network, at.row, at.at, lengths, floors)
    swapped = replace(
        scene.experiment,
        circuit=with_rail(led_circuit(network, led_of(scene)), network, design),
    )
    table = {name: np.full(4, value) for name, value in zip(names, rows[0], strict=True)} | returns
    outcomes = engine.run(swapped, tuple(table), np.column_stack(tuple(table.values())))
    assert not outcomes.failures
    peaks = outcomes.column("led_current_before_reset")
    assert peaks.max() <= 1.005 * largest
    assert peaks.max() > 0.9 * largest


def led_of(scene: Scene):
    return scene.derive.led  # type: ignore[attr-defined]


def with_rail(circuit, network, design):
    from analog.benches.reset import reset_parts

    source = return_experiment(reset_parts(design), network.runs_on).circuit.element("VRAIL").value
    kept = tuple(
        replace(part, value=source) if part.reference == "VRAIL" else part
        for part in circuit.elements
    )
    return replace(circuit, elements=kept)
