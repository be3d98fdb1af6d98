"""The equations of the test waveforms against what the standards say they are.

Nominal values: 5/50 ns ±30 % (IEC 61000-4-4), 1.2/50 µs and 8/20 µs (IEC 61000-4-5; fronts and
times to half value as IEC 60060-1 defines them, widths as the 2014 edition does), 0.5 µs and
100 kHz with peaks of 40 to 110 % and 40 to 80 % of the one before (IEC 61000-4-12). Constants:
a published note on burst and surge simulation models, the rest from memory, as
`analog/circuits/disturbances.py` says at each.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from analog.circuits import disturbances as waves
from analog.circuits.disturbances import Waveform
from analog.measures import front_time, half_value_time, half_width, rise_time, swing_ratios

Floats = NDArray[np.float64]


def sampled(waveform: Waveform) -> tuple[Floats, Floats]:
    """Return a million even samples of the equation up to well behind its tail."""
    time = np.linspace(0.0, 1.2 * waves.corners(waveform)[-1][0], 1_000_001)
    return time, waveform.level(time)


@pytest.mark.parametrize(
    ("waveform", "peak", "rise_s", "width_s"),
    [
        (waves.FAST_BURST, 1.000, 5.00e-9, 50.0e-9),
        (waves.FAST_BURST_2012, 1.003, 5.1e-9, 49.4e-9),
    ],
    ids=lambda value: getattr(value, "name", None),
)
def test_burst_pulse(waveform: Waveform, peak: float, rise_s: float, width_s: float) -> None:
    time, level = sampled(waveform)
    assert level.max() == pytest.approx(peak, abs=1e-3)
    assert rise_time(time, level) == pytest.approx(rise_s, rel=0.01)
    assert half_width(time, level) == pytest.approx(width_s, rel=0.005)
    assert rise_time(time, level) == pytest.approx(5e-9, rel=0.3)
    assert half_width(time, level) == pytest.approx(50e-9, rel=0.3)


@pytest.mark.parametrize(
    ("waveform", "front_s", "half_value_s", "width_s"),
    [
        (waves.SURGE_VOLTAGE, 1.202e-6, 50.0e-6, 49.5e-6),
        (waves.SURGE_VOLTAGE_2014, 1.198e-6, 50.0e-6, 49.5e-6),
    ],
    ids=lambda value: getattr(value, "name", None),
)
def test_surge_voltage(
    waveform: Waveform, front_s: float, half_value_s: float, width_s: float
) -> None:
    time, level = sampled(waveform)
    assert level.max() == pytest.approx(1.0, abs=1e-3)
    assert front_time(time, level, "voltage") == pytest.approx(front_s, rel=0.003)
    assert half_value_time(time, level, "voltage") == pytest.approx(half_value_s, rel=0.005)
    assert half_width(time, level) == pytest.approx(width_s, rel=0.002)
    assert 1.2e-6 * 0.7 < front_time(time, level, "voltage") < 1.2e-6 * 1.3
    assert 50e-6 * 0.8 < half_width(time, level) < 50e-6 * 1.2


def test_surge_voltage_peaks_at_2_09_microseconds() -> None:
    """The double exponential peaks at t1·ln(1 + t2/t1)."""
    time, level = sampled(waves.SURGE_VOLTAGE)
    equation = waves.SURGE_VOLTAGE.equation
    assert isinstance(equation, waves.DoubleExponential)
    closed = equation.t1_s * math.log(1 + equation.t2_s / equation.t1_s)
    assert closed == pytest.approx(2.09e-6, rel=0.003)
    assert time[np.argmax(level)] == pytest.approx(closed, rel=1e-3)


def test_surge_current() -> None:
    """8/20 µs: handbook form, T2 19.9 µs; 2014 model, duration 1.18·T_w = 19.2 µs."""
    time, level = sampled(waves.SURGE_CURRENT)
    assert level.max() == pytest.approx(1.0, abs=1e-3)
    assert time[np.argmax(level)] == pytest.approx(3 * 3.911e-6, rel=1e-3)
    assert front_time(time, level, "current") == pytest.approx(8.02e-6, rel=0.002)
    assert half_value_time(time, level, "current") == pytest.approx(19.9e-6, rel=0.002)
    time, level = sampled(waves.SURGE_CURRENT_2014)
    assert level.max() == pytest.approx(1.0, abs=1e-3)
    assert front_time(time, level, "current") == pytest.approx(8.02e-6, rel=0.002)
    assert 1.18 * half_width(time, level) == pytest.approx(19.2e-6, rel=0.003)


def test_correction_of_the_2014_surge_model() -> None:
    """k of the 1.2/50 µs model is 0.8813."""
    equation = waves.SURGE_VOLTAGE_2014.equation
    assert isinstance(equation, waves.HillExponential)
    assert equation.k == pytest.approx(0.8813, abs=1e-4)


def test_ring_wave() -> None:
    """IEEE C62.41.2: rise 0.500 µs, peaks 1 : −0.967 : 0.580 : −0.348."""
    time, level = sampled(waves.RING_WAVE)
    ratios = swing_ratios(time, level)
    assert level.max() == pytest.approx(1.0, abs=1e-3)
    assert time[np.argmax(level)] == pytest.approx(0.85e-6, rel=0.01)
    assert rise_time(time, level) == pytest.approx(0.5e-6, rel=0.005)
    assert ratios == pytest.approx([0.967, 0.600, 0.600], abs=1e-3)
    assert 0.4 < ratios[0] < 1.1
    assert ((ratios[1:] > 0.4) & (ratios[1:] < 0.8)).all()


@pytest.mark.parametrize("waveform", waves.WAVEFORMS, ids=lambda w: w.name)
def test_straight_lines_stay_on_the_equation(waveform: Waveform) -> None:
    corners = np.array(waves.corners(waveform))
    time, level = sampled(waveform)
    drawn = np.interp(time, corners[:, 0], corners[:, 1])
    assert np.abs(drawn - level).max() <= 1.01 * waves.CHORD_ERROR
    assert len(corners) <= 100
    assert corners[0].tolist() == [0.0, 0.0]
    assert corners[-1, 1] == 0.0
    assert corners[:, 1].max() == pytest.approx(level.max(), rel=1e-6)


@pytest.mark.parametrize("waveform", waves.WAVEFORMS, ids=lambda w: w.name)
def test_straight_lines_keep_the_measured_times(waveform: Waveform) -> None:
    """Corners stand at the measured levels, so that lines and equation agree to 0.1 %."""
    corners = np.array(waves.corners(waveform))
    drawn = (corners[:, 0], corners[:, 1])
    measures: list[Callable[[Floats, Floats], float]] = [rise_time, half_width]
    measures.append(lambda time, level: front_time(time, level, "voltage"))
    for measure in measures:
        assert measure(*drawn) == pytest.approx(measure(*sampled(waveform)), rel=1e-3)


def test_burst_repeats_its_pulse() -> None:
    shape = waves.corners(waves.FAST_BURST)
    burst = waves.burst(1000.0, 1e-3)
    assert len(burst.points) == 75 * len(shape) < 3000
    assert burst.points[len(shape)] == (1 / 5000, 0.0)
    assert (burst.delay_s, burst.scale) == (1e-3, 1000.0)
    fast = waves.burst(1000.0, 0.0, 100_000)
    assert fast.points[-1][0] == pytest.approx(74e-5 + shape[-1][0])
    assert pytest.approx(15e-3) == waves.BURST_PULSES / 5000
    assert pytest.approx(0.75e-3) == waves.BURST_PULSES / 100_000


def test_impossible_bursts_are_refused() -> None:
    with pytest.raises(ValueError, match="is none"):
        waves.burst(1.0, 0.0, pulses=0)
    with pytest.raises(ValueError, match="does not fit"):
        waves.burst(1.0, 0.0, 100_000, waveform=waves.SURGE_VOLTAGE)
