"""Impulse measures on shapes drawn by hand, and shapes moved and sized by a row."""

from __future__ import annotations

import numpy as np
import pytest

from analog.circuits.record import (
    Circuit,
    Element,
    Experiment,
    OperatingPoint,
    Param,
    Pwl,
    Transient,
)
from analog.engine.build import prepare
from analog.measures import front_time, half_value_time, half_width, rise_time, swing_ratios

# Up to 10 in 1 s, down to 0 at 11 s: every level is passed at a time known by heart.
TIME = np.linspace(0.0, 12.0, 12_001)
TRIANGLE = np.interp(TIME, [0.0, 1.0, 11.0], [0.0, 10.0, 0.0])

SHAPE = Pwl(((0.0, 1.0), (1e-3, 2.0), (2e-3, 0.0)), Param("begin"), Param("height"))
LOAD = Element("R1", "R", ("in", "0"), 1e3)


def test_triangle() -> None:
    assert rise_time(TIME, TRIANGLE) == pytest.approx(0.8)
    assert front_time(TIME, TRIANGLE, "voltage") == pytest.approx(1.0)
    assert front_time(TIME, TRIANGLE, "current") == pytest.approx(1.0)
    assert half_width(TIME, TRIANGLE) == pytest.approx(5.5)
    assert half_value_time(TIME, TRIANGLE, "voltage") == pytest.approx(6.0)
    assert half_value_time(TIME, TRIANGLE, "current") == pytest.approx(6.0)


def test_a_step_never_comes_down() -> None:
    step = np.interp(TIME, [0.0, 1.0], [0.0, 10.0])
    assert np.isnan(half_width(TIME, step))
    assert np.isnan(half_value_time(TIME, step, "voltage"))


def test_swings_of_a_damped_sine() -> None:
    """Each half wave of e^(−t/τ)·sin(ωt) is e^(−π/(ωτ)) of the one before."""
    wave = np.exp(-TIME / 4) * np.sin(2 * np.pi * TIME / 2)
    assert swing_ratios(TIME, wave) == pytest.approx(np.full(3, np.exp(-0.25)), rel=1e-3)


def test_a_wave_with_fewer_peaks_leaves_ratios_open() -> None:
    ratios = swing_ratios(TIME, np.interp(TIME, [0, 1, 2, 3, 4], [0.0, 4.0, 0.0, -1.0, 0.0]))
    assert ratios[0] == pytest.approx(0.25)
    assert np.isnan(ratios[1:]).all()
    assert np.isnan(swing_ratios(TIME, TRIANGLE)).all()


def source_line(wave: Pwl, **row: float) -> str:
    circuit = Circuit("moved", (Element("V1", "V", ("in", "0"), wave), LOAD))
    experiment = Experiment(circuit, Transient(5e-3, 1e-4), ("v(in)",), "x:y", ("y",))
    (line,) = [text for text in prepare(experiment).lines(row, "t") if text.startswith("V1")]
    return line


def test_moved_shape_is_written_out_by_row() -> None:
    line = source_line(SHAPE, begin=1e-3, height=3.0)
    numbers = [float(word) for word in line.partition("(")[2].rstrip(")").split()]
    assert numbers[::2] == pytest.approx([0.0, 1e-3, 2e-3, 3e-3])
    assert numbers[1::2] == [3.0, 3.0, 6.0, 0.0]


def test_shape_that_starts_at_once_has_no_second_start() -> None:
    line = source_line(SHAPE, begin=0.0, height=1.0)
    assert line == "V1 in 0 PWL(0.0 1.0 0.001 2.0 0.002 0.0)"


def test_plain_shape_stays_in_the_body() -> None:
    assert source_line(Pwl(SHAPE.points)) == "V1 in 0 PWL(0.0 1.0 0.001 2.0 0.002 0.0)"


def test_moved_shape_works_without_a_time_axis() -> None:
    circuit = Circuit("moved", (Element("V1", "V", ("in", "0"), SHAPE), LOAD))
    experiment = Experiment(circuit, OperatingPoint(), ("v(in)",), "x:y", ("y",))
    lines = prepare(experiment).lines({"begin": 0.0, "height": 2.0}, "t")
    assert any(line.startswith("V1 in 0 PWL(0.0 2.0") for line in lines)


@pytest.mark.parametrize(
    ("wave", "row", "told"),
    [
        (SHAPE, {"begin": 1e16, "height": 1.0}, "too close"),
        (
            Pwl(tuple((float(k), 0.0) for k in range(3001)), 1.0),
            {},
            "too many",
        ),
        (Pwl(((0.0, 0.0), (1.0, Param("top"))), -1.0), {"top": 1.0}, "delay_s"),
    ],
)
def test_shapes_that_cannot_be_meant(wave: Pwl, row: dict[str, float], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        source_line(wave, **row)
