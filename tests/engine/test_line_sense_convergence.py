"""Line sense at its own settings against steps of 1 µs and reltol 1e-6, on random part sets."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import pytest
from line_designs import random_row, reference, samples, values

from analog.benches.line_sense import plan
from analog.engine import Engine, open_engine

TIMES = ("t_high", "t_low", "t_rise_10", "t_rise_90", "t_fall_90", "t_fall_10", "crossing_delay")
LEVELS = ("pin_peak", "pin_trough", "high_level_margin", "low_level_margin")


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def test_against_a_microsecond_and_tight_tolerances(
    engine: Engine, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    worst: dict[str, float] = {"times": 0.0, "levels": 0.0}
    number = counts(4, 60)
    for design, rng in samples(number, seed=20240):
        scene = plan(design).scenes[0]
        row = random_row(scene, rng)
        usual = values(engine, scene.experiment, row)
        fine = values(engine, reference(scene.experiment, row), row)
        assert usual["edges_per_cycle"] == fine["edges_per_cycle"]
        for name in TIMES:
            assert math.isnan(usual[name]) == math.isnan(fine[name]), name
            edge = fine["fall_time" if name in ("t_low", "t_fall_90", "t_fall_10") else "rise_time"]
            allowed = 1e-6 if math.isnan(edge) else max(1e-6, 1e-3 * edge)
            error = abs(usual[name] - fine[name]) / allowed
            worst["times"] = max(worst["times"], 0.0 if math.isnan(error) else error)
        for name in LEVELS:
            error = abs(usual[name] - fine[name]) / (1e-3 * row["v_rail"])
            worst["levels"] = max(worst["levels"], error)
        assert usual["series_resistor_power"] == pytest.approx(
            fine["series_resistor_power"], rel=2e-3
        )
        assert usual["slew_at_threshold"] == pytest.approx(
            fine["slew_at_threshold"], rel=1e-2, nan_ok=True
        )
    figure(
        f"{number} part sets, error over allowed: times {worst['times']:.2f}, "
        f"levels {worst['levels']:.2f}"
    )
    assert worst["times"] <= 1
    assert worst["levels"] <= 1
