"""Test waveforms as the simulation really delivers them, beside a filter that wants long steps.

Nominal figures as in tests/reference/test_test_waveforms.py: IEC 61000-4-4 (5/50 ns, 75 pulses),
IEC 61000-4-5 (1.2/50 and 8/20 µs), IEEE C62.41.2 (ring wave).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import disturbance_cases as cases
import numpy as np
import pytest
from model_rows import run_row, run_rows

from analog.circuits import disturbances as waves
from analog.circuits.disturbances import Generator, Waveform
from analog.circuits.record import Element, Experiment, Param, Pwl
from analog.engine import Engine, open_engine

Counts = Callable[[int, int], int]
Figure = Callable[[str], None]

# Waveform, its generator, and the figures it must deliver.
SINGLE = [
    (waves.FAST_BURST, waves.BURST_GENERATOR, {"rise": 5.00e-9, "width": 50.0e-9}),
    (
        waves.SURGE_VOLTAGE,
        waves.SURGE_BETWEEN_LINES,
        {"front": 1.20e-6, "half_value": 50.0e-6, "width": 49.5e-6},
    ),
    (waves.SURGE_VOLTAGE_2014, waves.SURGE_TO_EARTH, {"front": 1.20e-6, "width": 49.5e-6}),
    (
        waves.SURGE_CURRENT,
        waves.SURGE_BETWEEN_LINES,
        {"current_front": 8.02e-6, "current_half_value": 19.9e-6},
    ),
    (
        waves.SURGE_CURRENT_2014,
        waves.SURGE_BETWEEN_LINES,
        {"current_front": 8.02e-6, "width": 19.2e-6 / 1.18},
    ),
    (
        waves.RING_WAVE,
        waves.RING_GENERATOR,
        {"rise": 0.500e-6, "second": 0.967, "third": 0.600, "fourth": 0.600},
    ),
]


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def alone(waveform: Waveform, generator: Generator) -> Experiment:
    wave = waves.single(waveform, Param("height"), Param("wave_start"))
    return cases.delivered(wave, generator, "impulse", cases.IMPULSE)


@pytest.mark.parametrize(
    ("waveform", "generator", "wanted"), SINGLE, ids=[w.name for w, _, _ in SINGLE]
)
def test_delivered_impulse(
    engine: Engine,
    figure: Figure,
    waveform: Waveform,
    generator: Generator,
    wanted: dict[str, float],
) -> None:
    """Peak, front, duration and ring ratios within 1 %, wherever it starts and however high."""
    experiment = alone(waveform, generator)
    common = {"mains_peak": 17.0, "step": waves.LARGEST_STEP_S}
    rows = [
        common | {"height": height, "wave_start": start, "stop": start + 1e-3}
        for height, start in ((1.0, 0.0), (1000.0, 1.2345e-3), (4000.0, 19.87e-3))
    ]
    out = run_rows(engine, experiment, rows)
    heights = np.array([row["height"] for row in rows])
    errors = {name: float(np.abs(out[name] / value - 1).max()) for name, value in wanted.items()}
    errors["peak"] = float(np.abs(out["peak"] / heights - 1).max())
    told = ", ".join(f"{name} {100 * error:.2f} %" for name, error in errors.items())
    figure(f"{waveform.name}: off by {told}")
    assert max(errors.values()) < 0.01
    starts = np.array([row["wave_start"] for row in rows])
    assert (np.abs(out["start"] - starts) < 0.03 * waves.corners(waveform)[-1][0]).all()


def burst_row(repetition_hz: int, start: float) -> dict[str, float]:
    length = waves.BURST_PULSES / repetition_hz
    row = {"mains_peak": 17.0, "height": 1000.0, "burst_start": start}
    row |= {"repetition_hz": float(repetition_hz), "pulses": float(waves.BURST_PULSES)}
    return row | {"stop": start + length + 1e-3}


@pytest.mark.parametrize("repetition_hz", [5000, 100_000])
def test_every_pulse_of_a_burst_is_delivered(
    engine: Engine, figure: Figure, repetition_hz: int
) -> None:
    """75 of 75, each with peak, rise and width within 1 %."""
    wave = waves.burst(
        Param("height"),
        Param("burst_start"),
        5000 if repetition_hz == 5000 else 100_000,
    )
    experiment = cases.delivered(wave, waves.BURST_GENERATOR, "pulses", cases.BURST)
    row = burst_row(repetition_hz, 1.234e-3) | {"step": waves.LARGEST_STEP_S}
    out = run_row(engine, experiment, row)
    figure(
        f"{out['count']:.0f} pulses, peak {out['peak_low']:.1f} to {out['peak_high']:.1f} V, rise "
        f"{1e9 * out['rise_low']:.3f} to {1e9 * out['rise_high']:.3f} ns, width "
        f"{1e9 * out['width_low']:.2f} to {1e9 * out['width_high']:.2f} ns, "
        f"{out['points']:.0f} points"
    )
    assert out["count"] == waves.BURST_PULSES
    for name, value in (("peak", 1000.0), ("rise", 5e-9), ("width", 50e-9)):
        assert out[f"{name}_low"] == pytest.approx(value, rel=0.01)
        assert out[f"{name}_high"] == pytest.approx(value, rel=0.01)


@pytest.mark.parametrize("offset_s", [-1e-10, 1e-10, 2e-9])
def test_another_source_with_corners_between_takes_none_away(
    engine: Engine, offset_s: float
) -> None:
    wave = waves.burst(Param("height"), Param("burst_start"))
    experiment = cases.delivered(wave, waves.BURST_GENERATOR, "pulses", cases.BURST)
    starts = [1e-3 + k / 5000 + offset_s for k in range(waves.BURST_PULSES)]
    spikes = [
        (start + after, level)
        for start in starts
        for after, level in ((0, 0), (1e-9, 1), (3e-9, 0))
    ]
    more = (
        Element("VOTHER", "V", ("other", "0"), Pwl(tuple(spikes))),
        Element("ROTHER", "R", ("other", "0"), 1e3),
    )
    circuit = replace(experiment.circuit, elements=(*experiment.circuit.elements, *more))
    row = burst_row(5000, 1e-3) | {"step": waves.LARGEST_STEP_S}
    out = run_row(engine, replace(experiment, circuit=circuit), row)
    assert out["count"] == waves.BURST_PULSES
    assert out["rise_low"] == pytest.approx(5e-9, rel=0.01)
    assert out["width_high"] == pytest.approx(50e-9, rel=0.01)


def test_a_burst_without_its_pulses_counts_none(engine: Engine) -> None:
    """The count can fail: of the same source only the foot of each pulse is left."""
    wave = waves.burst(Param("height"), Param("burst_start"))
    thinned = Pwl(wave.points[:: len(waves.corners(waves.FAST_BURST))], wave.delay_s, wave.scale)
    experiment = cases.delivered(thinned, waves.BURST_GENERATOR, "pulses", cases.BURST)
    row = burst_row(5000, 1e-3) | {"step": 1e-5}
    assert run_row(engine, experiment, row)["count"] == 0


def test_no_random_impulse_is_lost(engine: Engine, counts: Counts) -> None:
    """Any waveform, height, start and mains: a full run with the height that was asked for."""
    draw = np.random.default_rng(44)
    for waveform, generator, _ in SINGLE:
        experiment = alone(waveform, generator)
        rows = []
        for _ in range(counts(5, 100)):
            start = float(draw.uniform(0, 20e-3))
            row = {
                "mains_peak": float(draw.uniform(0, 325)),
                "step": waves.LARGEST_STEP_S,
                "wave_start": start,
            }
            rows.append(row | {"height": float(10 ** draw.uniform(0, 3.6)), "stop": start + 1e-3})
        out = run_rows(engine, experiment, rows)
        heights = np.array([row["height"] for row in rows])
        assert out["peak"] == pytest.approx(heights, rel=0.003)


def test_delayed_shape_holds_its_first_level_until_then(engine: Engine) -> None:
    """A shape that starts at 2 is at 2·scale from time zero on."""
    wave = Pwl(((0.0, 2.0), (1e-3, 3.0)), Param("wave_start"), Param("height"))
    experiment = alone(waves.SURGE_VOLTAGE, waves.SURGE_BETWEEN_LINES)
    source = replace(experiment.circuit.elements[0], value=wave)
    circuit = replace(experiment.circuit, elements=(source, *experiment.circuit.elements[1:]))
    moved = replace(experiment, circuit=circuit)
    names = ("mains_peak", "step", "wave_start", "height", "stop")
    run = engine.traces(moved, names, np.array([1.0, 1e-4, 2e-3, 5.0, 4e-3]))
    level = np.interp([0.0, 1.9e-3, 2.5e-3, 3.5e-3], run.time, run.trace("v(wave)"))
    assert level == pytest.approx([10.0, 10.0, 12.5, 15.0])
