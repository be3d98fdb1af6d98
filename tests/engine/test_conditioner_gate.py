"""A plain gate behind the filter: what its gain makes of the slow edge, and what it does not."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from line_designs import DESIGN, reference, values

from analog.benches import conditioner, line_sense
from analog.benches.base import Scene
from analog.design import Design, parse_design
from analog.engine import Engine, Run, open_engine
from analog.verdicts import judge


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def design(part: str, clocked: str = "4013") -> Design:
    text = DESIGN.format(
        mains=120,
        frequency=60,
        rail=10.0,
        rectifier="bridge",
        winding=12.0,
        rating=3.0,
        reservoir=470.0,
        topology="bridge-leg",
        series=100.0,
        capacitor=10.0,
        technology="film",
        more='bleed_resistor = "10k 5% carbon-film"',
        part=part,
        clocked=clocked,
    )
    return parse_design(text, "gate.toml")


def nominal(scene: Scene) -> dict[str, float]:
    rows = scene.derive(scene.space.decode(np.zeros((1, len(scene.space.axes)))))
    return {name: float(np.ravel(value)[0]) for name, value in rows.items()}


def traces(engine: Engine, scene: Scene, row: dict[str, float]) -> Run:
    return engine.traces(reference(scene.experiment, row), tuple(row), np.array(list(row.values())))


@pytest.mark.parametrize("part", ["4011", "4011UB"])
def test_the_output_is_steeper_than_the_input_by_the_gain(engine: Engine, part: str) -> None:
    """Slopes at the moment both are half way; the gain is the card's at 10 V."""
    scene = conditioner.plan(design(part)).scenes[0]
    row = nominal(scene)
    run = traces(engine, scene, row)
    rising = (row["t_quarter"] + share / row["f_mains"] for share in (0.25, 0.9))
    after, before = rising
    late = (run.time > after) & (run.time < before)
    time, pin, out = run.time[late], run.trace("v(pin)")[late], run.trace("v(out)")[late]
    middle = np.abs(out - 5.0) < 0.5
    steep, slow = (np.polyfit(time[middle], trace[middle], 1)[0] for trace in (out, pin))
    assert -steep / slow == pytest.approx(row["gain"], rel=0.05)


def test_one_stage_leaves_the_edge_too_slow_for_a_clock_and_three_do_not(engine: Engine) -> None:
    """15 µs at 5 V and more is the most a CD4013B's clock takes (TI SCHS023E, section 6.3)."""
    edges = {}
    for part in ("4011", "4011UB"):
        plan = conditioner.plan(design(part))
        row = nominal(plan.scenes[0])
        edges[part] = values(engine, plan.scenes[0].experiment, row)["output_rise_time"]
    (limit,) = plan.limits["output_rise_time"]
    assert judge(edges["4011UB"], limit, 1e-6).verdict == "fail"
    assert edges["4011UB"] > 10 * edges["4011"]


def test_settings_against_a_far_finer_run(engine: Engine) -> None:
    rng = np.random.default_rng(5)
    for part in ("4011", "4069UB"):
        scene = conditioner.plan(design(part)).scenes[0]
        point = rng.uniform(-1, 1, (1, len(scene.space.axes)))
        rows = scene.derive(scene.space.decode(point))
        row = {name: float(np.ravel(value)[0]) for name, value in rows.items()}
        usual = values(engine, scene.experiment, row)
        fine = values(engine, reference(scene.experiment, row), row)
        for name in ("output_rise_time", "output_fall_time"):
            assert usual[name] == pytest.approx(fine[name], rel=0.01), (part, name)
        for name in ("t_out_rise", "t_out_fall"):
            assert usual[name] == pytest.approx(fine[name], abs=2e-6), (part, name)
        assert usual["edges_per_cycle"] == fine["edges_per_cycle"] == 1


def test_a_gate_is_judged_by_its_input_levels_and_has_no_hysteresis(engine: Engine) -> None:
    of = design("4011")
    line, plan = line_sense.plan(of), conditioner.plan(of)
    assert "V_IH" in line.limits["high_level_margin"][0].source
    assert plan.title == "Conditioner, a plain gate"
    assert "hysteresis" not in {measure.identifier for measure in plan.measures}
    assert any("no hysteresis" in note for note in plan.notes)
    scene = plan.scenes[0]
    axis = scene.space.axes[scene.space.keys.index("conditioner.threshold")]
    ends = axis.decode(np.array([-1.0, 1.0]), {"supply.rail": np.full(2, 10.0)})
    assert ends == pytest.approx([3.0, 7.0])  # V_IL and V_IH of a buffered 4000B part at 10 V
    row = nominal(scene)
    for threshold_v in (3.0, 7.0):
        out = values(engine, scene.experiment, {**row, "f_th": threshold_v / 10})
        assert out["threshold_rising"] == pytest.approx(threshold_v, abs=0.1)
