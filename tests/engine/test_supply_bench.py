"""The supply bench on the real engine: what it runs on, convergence, its start, its physics."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from analog.benches.base import Scene
from analog.benches.supply import SUPPLY, described, plan
from analog.design import Design, parse_design
from analog.engine import Engine, Outcomes, open_engine, refined
from analog.errors import InputError
from analog.workflows.check import check, make_plans

TEXT = """
edgeproof = 1
[design]
name = "supply-bench"
[mains]
voltage = "230 V"
frequency = "50 Hz"
[environment]
ambient_minimum = "0 °C"
ambient_maximum = "50 °C"
[supply]
rail = "9 V 5%"
load_current = "5 mA .. 15 mA .. 30 mA"
transformer_voltage = "{volts} V"
transformer_rating = "3 VA"
rectifier = "{rectifier}"
reservoir = "{reservoir}"
{more}
"""


def design(
    volts: int = 12,
    rectifier: str = "bridge",
    reservoir: str = "470u 20% electrolytic 35V",
    more: str = 'regulator = "7809"',
) -> Design:
    text = TEXT.format(volts=volts, rectifier=rectifier, reservoir=reservoir, more=more)
    return parse_design(text, "supply.toml")


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=2) as opened:
        yield opened


def run(scene: Scene, engine: Engine, points: np.ndarray, **changed: float) -> Outcomes:
    columns = dict(scene.derive(scene.space.decode(points)))
    columns |= {name: np.full(len(points), value) for name, value in changed.items()}
    return engine.run(
        scene.experiment, tuple(columns), np.column_stack(np.broadcast_arrays(*columns.values()))
    )


def scene_of(record: Design, name: str) -> Scene:
    return next(scene for scene in plan(record).scenes if scene.identifier == name)


def corners(scene: Scene, count: int) -> np.ndarray:
    return np.random.default_rng(3).choice([-1.0, 0.0, 1.0], (count, len(scene.space.axes)))


def test_it_runs_where_transformer_and_reservoir_are_described() -> None:
    assert [each.bench for each in make_plans(design())] == ["supply"]
    assert SUPPLY.runs_on(design())
    bare = parse_design(TEXT.split("transformer_voltage")[0] + RESET, "bare.toml")
    assert not described(bare)
    assert [each.bench for each in make_plans(bare)] == ["reset"]


RESET = '[reset]\nresistor = "470k"\ncapacitor = "1u film"\nreceiver = "40106"\n'


def test_a_supply_without_reservoir_alone_is_nothing_to_check() -> None:
    text = TEXT.format(volts=12, rectifier="bridge", reservoir="1u", more="")
    with pytest.raises(InputError, match="nothing to check"):
        parse_design(text.replace('reservoir = "1u"\n', ""), "nothing.toml")


@pytest.mark.parametrize("rectifier", ["bridge", "full-wave", "half-wave"])
def test_settings_are_converged(rectifier: str, engine: Engine, counts, figure) -> None:
    """A tenth of the step and reltol 1e-6 move no measure by over 0.5 % of its scale."""
    whole, worst = plan(design(rectifier=rectifier)), 0.0
    scales = {measure.identifier: measure.scale for measure in whole.measures}
    for scene in whole.scenes:
        points = corners(scene, counts(3, 30))
        usual = run(scene, engine, points)
        fine = run(replace(scene, experiment=refined(scene.experiment)), engine, points)
        assert not usual.failures
        assert not fine.failures
        for name in scene.measures:
            both = np.isfinite(fine.column(name))
            off = np.abs(usual.column(name) - fine.column(name))[both] / scales[name]
            assert np.all(off < 5e-3), (scene.identifier, name, off)
            worst = max(worst, float(off.max(initial=0.0)))
    figure(f"largest difference {100 * worst:.3f} % of a scale")


def test_the_start_is_the_settled_state(engine: Engine) -> None:
    """Ten more cycles change neither headroom nor ripple: the balance of charges was right."""
    scene = scene_of(design(), "settled")
    points = corners(scene, 4)
    near = run(scene, engine, points)
    columns = dict(scene.derive(scene.space.decode(points)))
    later = {
        name: columns[name] + 10 / columns["f_mains"] for name in ("t_start", "t_end", "t_stop")
    }
    rows = columns | later
    far = engine.run(
        scene.experiment, tuple(rows), np.column_stack(np.broadcast_arrays(*rows.values()))
    )
    for name in ("regulator_headroom", "ripple", "rail_minimum"):
        assert near.column(name) == pytest.approx(far.column(name), abs=0.03), name


def test_hold_up_is_charge_over_current(engine: Engine) -> None:
    """Hold-up = C·(trough − output − dropout)/I; the regulator's own dropout is the model's."""
    record = design()
    held = run(scene_of(record, "hold-up"), engine, np.zeros((1, 9)), v_hold=8.9)
    settled = run(scene_of(record, "settled"), engine, np.zeros((1, 9)))
    columns = scene_of(record, "settled").derive(
        scene_of(record, "settled").space.decode(np.zeros((1, 9)))
    )
    drawn = float(columns["i_load"][0] + columns["i_quiescent"][0])
    # Dropout at 15 mA: 1.2 V and the rest in proportion to the current, see models/regulator.lib.
    drop = 1.2 + (2.5 - 1.2) * 0.015 / 1.0
    spare = float(settled.column("regulator_headroom")[0]) + 2.5 - drop + 0.1
    expected = float(columns["c_reservoir"][0]) * spare / drawn
    assert held.column("hold_up_time")[0] == pytest.approx(expected, rel=0.02)


def test_too_small_a_reservoir_and_winding_fail(engine: Engine) -> None:
    verdicts = {}
    for name, record in {
        "good": design(),
        "starved": design(volts=9, reservoir="100u 20% electrolytic 35V"),
        "high": design(volts=24, reservoir="470u 20% electrolytic 35V"),
    }.items():
        result = check(record, engine, benches=["supply"]).results.benches[0]
        verdicts[name] = {row.measure for row in result.measures if row.verdict == "fail"}
        assert result.failed_runs == 0
        assert result.runs <= 1500
    assert verdicts["good"] == set()
    assert {"regulator_headroom", "hold_up_time"} <= verdicts["starved"]
    assert {"regulator_input_maximum", "reservoir_voltage"} <= verdicts["high"]


def test_without_a_regulator_the_rail_is_the_reservoir(engine: Engine) -> None:
    record = design(more="")
    names = {measure.identifier for measure in plan(record).measures}
    assert "regulator_headroom" not in names
    result = check(record, engine, benches=["supply"]).results.benches[0]
    worst = {row.measure: row.worst for row in result.measures}
    assert worst["rail_maximum"] == worst["reservoir_voltage"]


def test_a_switched_load_is_drawn_on_top(engine: Engine) -> None:
    alone = run(scene_of(design(), "settled"), engine, np.zeros((1, 9)))
    record = design(more='regulator = "7809"\nswitched_current = "20 mA 10%"')
    both = run(scene_of(record, "settled"), engine, np.zeros((1, 10)))
    assert both.column("ripple")[0] > 1.7 * alone.column("ripple")[0]
