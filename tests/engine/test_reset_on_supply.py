"""The rail that is handed to the reset, against the simulated supply and against both in one.

The reset bench takes the rail of a described supply from the charge balance of its rectifier.
Here the same parts are simulated: the supply alone, and supply and reset in one circuit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import pytest
from reset_designs import MAT

from analog.benches.base import Scene
from analog.benches.reset import network_of, plan
from analog.benches.reset_rail import StatedRail, SuppliedRail
from analog.benches.supply_space import PHASE
from analog.circuits.record import Circuit, Experiment, Param, Transient
from analog.circuits.supply_network import supply_network
from analog.design import Design, parse_design, read_design
from analog.engine import Engine, Run, open_engine
from analog.workflows.scenes import parameter_rows


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def mat() -> Design:
    return read_design(MAT)


def supplied(design: Design) -> SuppliedRail:
    rail = network_of(design).runs_on
    assert isinstance(rail, SuppliedRail)
    return rail


def corners(scene: Scene, count: int, seed: int) -> np.ndarray:
    points = np.random.default_rng(seed).choice([-1.0, 0.0, 1.0], (count, len(scene.space.axes)))
    points[0] = 0.0
    return points


def supply_row(design: Design, values: dict[str, np.ndarray], index: int) -> dict[str, float]:
    """Return the row of the simulated supply at the values of one row of the reset."""
    rail = supplied(design)
    rows = rail.network.rows(rail._whole(values))
    row = {
        name: float(np.broadcast_to(column, len(values[PHASE]))[index])
        for name, column in rows.items()
    }
    return row | {"phase_deg": float(values[PHASE][index])}


def simulated(
    engine: Engine, circuit: Circuit, row: dict[str, float], saves: tuple[str, ...]
) -> Run:
    analysis = Transient(Param("t_stop"), Param("t_step"), reltol=1e-4, initial=(("store", 0.0),))
    experiment = Experiment(circuit, analysis, saves, "engine_cases:nothing", ())
    return engine.traces(experiment, tuple(row), np.array(list(row.values())))


@pytest.mark.parametrize("rectifier", ["bridge", "full-wave", "half-wave"])
def test_the_worked_out_rise_is_the_simulated_one(
    rectifier: str, engine: Engine, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    """Within 1.5 % of the full rail at every moment that is handed on."""
    design = apart(rectifier)
    scene = plan(design).scenes[0]
    points, worst = corners(scene, counts(3, 30), 5), 0.0
    values = scene.space.decode(points)
    names, rows = parameter_rows(scene, points)
    circuit = supply_network("rise", supplied(design).network.parts)
    for index in range(len(points)):
        row = supply_row(design, values, index)
        row |= {"v_o": float(values["supply.rail"][index]), "t_step": 1e-4}
        time = rows[index][[names.index(f"rise_t{k}") for k in range(40)]]
        level = rows[index][[names.index(f"rise_v{k}") for k in range(40)]]
        run = simulated(engine, circuit, row | {"t_stop": 1.1 * time[-1]}, ("v(vdd)",))
        there = np.interp(time, run.time, run.trace("v(vdd)"))
        off = np.abs(there - level) / level[-1]
        worst = max(worst, float(off.max()))
        assert off.max() < 0.015, (index, off)
    figure(f"{rectifier}: rail off by at most {100 * worst:.2f} % of its full level")


def apart(rectifier: str) -> Design:
    """Return the mat's supply and reset alone, with another rectifier."""
    text = MAT.read_text(encoding="utf-8")
    start, end = text.index("[line_sense]"), text.index("[clocked]")
    text = text[:start] + text[end:]
    text = text[: text.index("[gate_drive]")] + text[text.index("[[limits]]") :]
    return parse_design(
        text.replace('rectifier = "bridge"', f'rectifier = "{rectifier}"'), "a.toml"
    )


def test_reset_on_the_handed_rail_and_in_one_circuit_agree(
    engine: Engine, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    """Hold and release within 0.5 %, the pin at the valid supply within 3 mV."""
    design = mat()
    network, scene = network_of(design), plan(design).scenes[0]
    points, worst = corners(scene, counts(2, 10), 6), 0.0
    values = scene.space.decode(points)
    names, rows = parameter_rows(scene, points)
    handed = engine.run(scene.experiment, names, rows)
    joined = both(design, scene)
    for index in range(len(points)):
        row = dict(zip(names, rows[index], strict=True)) | supply_row(design, values, index)
        row |= {"v_o": row["rail"], "t_step": 2e-4}
        whole = engine.run(joined, tuple(row), np.array([list(row.values())]))
        assert not whole.failures
        for name in ("hold_time", "release_time"):
            share = whole.column(name)[0] / handed.column(name)[index] - 1
            worst = max(worst, abs(share))
            assert abs(share) < 5e-3, (index, name)
        level = whole.column("input_at_valid_supply")[0]
        assert level == pytest.approx(handed.column("input_at_valid_supply")[index], abs=3e-3)
    assert network.reset.discharge_diode == "1N4148"
    figure(f"hold and release differ by at most {100 * worst:.2f} %")


def both(design: Design, scene: Scene) -> Experiment:
    """Return supply and reset in one circuit, with the scene's own measures."""
    feeding = supply_network("both", supplied(design).network.parts)
    reset = scene.experiment.circuit
    kept = tuple(part for part in reset.elements if part.reference not in ("VRAIL",))
    renamed = tuple(
        replace(part, reference="D9") if part.reference == "D1" else part for part in kept
    )
    circuit = Circuit(
        "both",
        (*feeding.elements, *renamed),
        (*feeding.models, *reset.models),
        feeding.libraries,
    )
    analysis = replace(scene.experiment.analysis, initial=(("store", 0.0),))
    return replace(scene.experiment, circuit=circuit, analysis=analysis, readings=())


def test_the_stated_ramp_counts_only_without_a_described_supply() -> None:
    keys = plan(mat()).scenes[0].space.keys
    assert "supply.rise_time" not in keys
    assert {"mains.voltage", "supply.reservoir", PHASE} <= set(keys)
    text = apart("bridge")
    start, end = text.text.index("transformer_voltage"), text.text.index("load_current")
    bare = parse_design(text.text[:start] + text.text[end:], "bare.toml")
    assert isinstance(network_of(bare).runs_on, StatedRail)
    assert "supply.rise_time" in plan(bare).scenes[0].space.keys
