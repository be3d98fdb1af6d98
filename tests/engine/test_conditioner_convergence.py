"""The conditioner at its own settings against tight ones, on random part sets.

The chain, whose part is read by its data, is held against the circuit with the part's whole
model.

Reference: steps of at most 1 µs and reltol 1e-6. Allowed: crossing times 1 µs or 0.1 % of the
pin's 10-90 % edge, output edges 1 %, levels 0.1 %.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np
import pytest
from line_designs import random_row, reference, samples, values

from analog.benches.conditioner import plan
from analog.benches.conditioner_chain import chain_scene, simulated_chain
from analog.benches.conditioner_stage import Stage, stages
from analog.benches.line_network import line_network
from analog.benches.line_receiving import receiver_of
from analog.design import Design
from analog.engine import Engine, Run, open_engine
from analog.measures import edge_time


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def test_the_part_on_a_ramp(
    engine: Engine, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    number, worst = counts(2, 60), {"level": 0.0, "edge": 0.0}
    for design, rng in samples(number, seed=611):
        ramps = [scene for scene in plan(design).scenes if scene.identifier.startswith("ramp")]
        scene = ramps[int(rng.integers(len(ramps)))]
        row = random_row(scene, rng)
        usual = values(engine, scene.experiment, row)
        fine = values(engine, reference(scene.experiment, row), row)
        for name in ("threshold_rising", "threshold_falling", "output_high_level"):
            worst["level"] = max(worst["level"], abs(usual[name] / fine[name] - 1) / 1e-3)
        low = abs(usual["output_low_level"] - fine["output_low_level"]) / (1e-3 * row["v_rail"])
        worst["level"] = max(worst["level"], low)
        for name in ("output_rise_time", "output_fall_time"):
            worst["edge"] = max(worst["edge"], abs(usual[name] / fine[name] - 1) / 1e-2)
    figure(
        f"{number} part sets, error over allowed: levels {worst['level']:.2f}, "
        f"output edges {worst['edge']:.2f}"
    )
    assert worst["level"] <= 1
    assert worst["edge"] <= 1


def test_the_whole_chain(
    engine: Engine, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    number, worst = counts(2, 60), 0.0
    for design, rng in samples(number, seed=612):
        fitted = fitted_stages(design)
        stage = fitted[int(rng.integers(len(fitted)))]
        scene = chain_scene(line_network(design), stage)
        row = random_row(scene, rng)
        usual = values(engine, scene.experiment, row)
        tight = reference(simulated_chain(line_network(design), stage), row)
        run = engine.traces(tight, tuple(row), np.array(list(row.values())))
        assert usual["edges_per_cycle"] == run.values["edges_per_cycle"]
        assert usual["hysteresis_margin"] == pytest.approx(
            run.values["hysteresis_margin"], abs=1e-3 * row["v_rail"]
        )
        assert usual["duty_cycle"] == pytest.approx(run.values["duty_cycle"], abs=1e-3)
        for name in ("t_out_rise", "t_out_fall"):
            allowed = max(1e-6, 1e-3 * pin_edge(run, row, rising=name == "t_out_fall"))
            worst = max(worst, abs(usual[name] - run.values[name]) / allowed)
    figure(f"{number} part sets, error over allowed: times {worst:.2f}")
    assert worst <= 1


def fitted_stages(design: Design) -> tuple[Stage, ...]:
    """Return the stages that may be fitted to a random design."""
    assert design.conditioner is not None
    assert design.clocked is not None
    return stages(design, receiver_of(design), design.conditioner, design.clocked)


def pin_edge(run: Run, row: Mapping[str, float], rising: bool) -> float:
    """Return the 10-90 % time (s) of the pin's own edge, which sets what is allowed."""
    low, high = 0.1 * row["v_rail"], 0.9 * row["v_rail"]
    start = row["t_quarter" if rising else "t_start"]
    edge = edge_time(run.time, run.trace("v(pin)"), low, high, rising, start)
    return 0.0 if np.isnan(edge) else edge


def test_the_crest_is_a_sound_start(
    engine: Engine, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    """Three more settling cycles move no edge by more than is allowed."""
    number, worst = counts(3, 60), 0.0
    for design, rng in samples(number, seed=613):
        scene = next(s for s in plan(design).scenes if s.identifier.startswith("chain"))
        row = random_row(scene, rng)
        usual = values(engine, scene.experiment, row)
        wait = 3 / row["f_mains"]
        later = {
            name: value + wait if name in TIMES_OF_RUN else value for name, value in row.items()
        }
        settled = values(engine, scene.experiment, later)
        assert usual["edges_per_cycle"] == settled["edges_per_cycle"]
        for name in ("t_out_rise", "t_out_fall"):
            worst = max(worst, abs(usual[name] - settled[name] + wait) / 2e-6)
    figure(f"{number} part sets, error over allowed (0.1 % of a 2 ms edge): {worst:.2f}")
    assert worst <= 1


TIMES_OF_RUN = ("t_start", "t_quarter", "t_end", "t_record", "t_stop")
