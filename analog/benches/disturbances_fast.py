"""Disturbances of the immunity standards that reach the circuit by leakage and stray capacitance.

A burst is common mode: without a way from the circuit back to the reference plane nothing would
flow. The circuit's capacitance to the plane is therefore stated, and an earthed circuit is the
other variant.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from analog.benches import disturbance_levels as levels
from analog.benches import disturbance_measures as measures
from analog.benches.disturbances import Delivered, Disturbance, Row, Variant, onset, times
from analog.benches.disturbances_slow import Line
from analog.circuits import disturbances as waves
from analog.circuits.mains_side import between_lines, common_mode, to_earth
from analog.circuits.record import Circuit, Experiment, Param

ANGLES_DEG = (0.0, 90.0, 180.0, 270.0)
STRAY_F = 100e-12
"""From circuit ground to the reference plane, for a small board in a plastic box (common
practice, no source)."""

EARTH_OHM = 1.0
WINDING_F = 1e-9
"""Across the secondary of a small transformer (from memory)."""

LEAK_DAMPING_PER_S = 2e5
"""Loss resistance across the leakage inductance, over that inductance, as in
models/transformer.lib."""

REPETITIONS_HZ = (5000, 100_000)


@dataclass(frozen=True, slots=True)
class Transformer:
    """What a fast disturbance meets: leakage inductance seen from the winding (H), capacitance
    between the windings (F), the winding's open-circuit voltage over the mains'."""

    leakage_h: float
    interwinding_f: float
    ratio: float


def fast_disturbances(line: Line, transformer: Transformer) -> Iterator[Disturbance]:
    """Yield burst, surges and ring wave."""
    yield from (_burst(line, transformer, hertz) for hertz in REPETITIONS_HZ)
    yield _surge(line, transformer, earth=False)
    yield _surge(line, transformer, earth=True)
    yield _ring(line, transformer)


def _fed(line: Line, transformer: Transformer, row: Row, earthed: bool) -> dict[str, float]:
    """Return the parameters of the mains side."""
    ratio = transformer.ratio
    mains = row["v_peak"] / ratio
    return {
        "ratio": ratio,
        "v_mains": mains,
        "v_coupled": mains * math.sin(math.radians(line.start_deg)),
        "l_leak": transformer.leakage_h,
        "r_leak": LEAK_DAMPING_PER_S * transformer.leakage_h,
        "c_iw": transformer.interwinding_f / 2,
        "c_winding": WINDING_F,
        "c_stray": STRAY_F,
        "r_plane": EARTH_OHM if earthed else 1e9,
        "t_step": min(row["t_step"], waves.LARGEST_STEP_S),
    }


def _struck(row: Row, begin: float, lasts_s: float) -> dict[str, float]:
    """Return the times of a strike at `begin` (s) and of what it leaves behind."""
    cycle = 1 / row["f_mains"]
    judged = times(row, row["t_start"] + 0.1 * cycle, begin + lasts_s + 2 * cycle)
    return {"t_on": begin, **judged}


def _experiment(
    line: Line, circuit: Circuit, reducer: str, outputs: tuple[str, ...], reference: str
) -> Experiment:
    return replace(line, saves=()).experiment(
        circuit, reducer, outputs, "v(wave)", f"v({reference})", fast=True
    )


def _strikes(
    line: Line,
    transformer: Transformer,
    peak_v: float,
    ways: tuple[tuple[float, float, bool], ...],
    lasts_s: float,
) -> tuple[Variant, ...]:
    """Return a variant for each angle (°), polarity (±1) and earthing.

    Raises ValueError for a peak that is no disturbance.
    """
    if not peak_v > 0:
        raise ValueError(f"a peak of {peak_v:g} V is no disturbance")

    def variant(angle: float, sign: float, earthed: bool) -> Variant:
        def change(row: Row, level: float) -> dict[str, float]:
            begin = onset(row, angle, line.start_deg)
            fed = _fed(line, transformer, row, earthed)
            return {**fed, "v_wave": sign * level * peak_v, **_struck(row, begin, lasts_s)}

        polarity = "positive" if sign > 0 else "negative"
        return Variant(f"{polarity}, at {angle:g}°{', earthed' if earthed else ''}", change)

    return tuple(variant(*way) for way in ways)


_ALL_ANGLES = tuple((angle, sign, False) for angle in ANGLES_DEG for sign in (1.0, -1.0))
_UPRIGHT = tuple((angle, 1.0, False) for angle in ANGLES_DEG)
_BURST_WAYS = ((0.0, 1.0, False), (0.0, 1.0, True))


def _burst(line: Line, transformer: Transformer, hertz: int) -> Disturbance:
    repetition = 5000 if hertz == 5000 else 100_000
    wave = waves.burst(Param("v_wave"), Param("t_on"), 5000 if hertz == 5000 else 100_000)
    circuit = common_mode(line.circuit, waves.BURST_GENERATOR, wave)
    lasts = waves.BURST_PULSES / repetition
    return Disturbance(
        f"burst-{hertz // 1000}-khz",
        f"Fast burst, {hertz // 1000} kHz",
        f"{levels.BURST_V:g} V, {waves.BURST_PULSES} pulses of {waves.FAST_BURST.name}, common "
        "mode by way of 50 Ω and 33 nF to each line, the circuit earthed or with "
        f"{1e12 * STRAY_F:g} pF to the plane",
        "IEC 61000-4-4, level 2, from memory",
        "burst",
        _experiment(line, circuit, "burst", measures.BURST, "plane"),
        _strikes(line, transformer, levels.BURST_V, _BURST_WAYS, lasts),
        (
            Delivered("wave_peak", "peak", "v_wave", 0.02, "V"),
            Delivered("wave_count", "pulses", float(waves.BURST_PULSES), 1e-6, "1"),
            Delivered("wave_rise", "rise", 5e-9, 0.05, "s"),
        ),
        highest=4.0,
        factor=4.0,
        points=1,
    )


def _surge(line: Line, transformer: Transformer, earth: bool) -> Disturbance:
    wave = waves.single(waves.SURGE_VOLTAGE, Param("v_wave"), Param("t_on"))
    if earth:
        circuit = to_earth(line.circuit, waves.SURGE_TO_EARTH, wave)
        name, peak_v, words = "line-to-earth", levels.SURGE_TO_EARTH_V, "12 Ω and 9 µF"
    else:
        circuit = between_lines(line.circuit, waves.SURGE_BETWEEN_LINES, wave)
        name, peak_v, words = "line-to-line", levels.SURGE_V, "2 Ω and 18 µF"
    ways = _UPRIGHT if earth else _ALL_ANGLES
    return Disturbance(
        f"surge-{name}",
        f"Surge, {name.replace('-', ' ')}",
        f"{peak_v:g} V, {waves.SURGE_VOLTAGE.name}, by way of {words}, at 0°, 90°, 180° and 270°",
        "IEC 61000-4-5, from memory",
        "surge",
        _experiment(line, circuit, "surge", measures.SURGE, "plane" if earth else "neutral"),
        _strikes(line, transformer, peak_v, ways, 0.0),
        (
            Delivered("wave_peak", "peak", "v_wave", 0.02, "V"),
            Delivered("wave_front", "front", 1.2e-6, 0.05, "s"),
        ),
        highest=4.0,
        points=2,
    )


def _ring(line: Line, transformer: Transformer) -> Disturbance:
    wave = waves.single(waves.RING_WAVE, Param("v_wave"), Param("t_on"))
    circuit = between_lines(line.circuit, waves.RING_GENERATOR, wave)
    return Disturbance(
        "ring-wave",
        "Ring wave, line to line",
        f"{levels.RING_V:g} V, {waves.RING_WAVE.name}, by way of 12 Ω and 18 µF",
        "IEC 61000-4-12, level 3, from memory",
        "ring_wave",
        _experiment(line, circuit, "ring", measures.RING, "neutral"),
        _strikes(line, transformer, levels.RING_V, _UPRIGHT, 0.0),
        (
            Delivered("wave_peak", "peak", "v_wave", 0.02, "V"),
            Delivered("wave_rise", "rise", 0.5e-6, 0.05, "s"),
        ),
        highest=4.0,
        points=2,
    )
