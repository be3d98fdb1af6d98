"""The reducers of the gate-drive bench: traces to values.

Half-cycles are counted in windows of half a period that begin where the load's steady current
passes zero (``lag`` after the zero of the mains; 0 for a resistive load), positive ones first.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from analog.engine import Run
from analog.measures import mean, peak, rms, window
from analog.measures.edges import first_crossing

Floats = np.typing.NDArray[np.float64]
Row = Mapping[str, float]


def led_switched(run: Run, row: Row) -> dict[str, float]:
    """LED current (A) and the voltage across the transistor that switches it (V)."""
    del row
    current = float(run.trace("i(vled)")[0])
    drop = float(run.trace("v(low)")[0])
    return {"led_current": current, "led_current_maximum": current, "driver_saturation": drop}


def led_sourced(run: Run, row: Row) -> dict[str, float]:
    """LED current (A) and the voltage across the PNP transistor that feeds it (V)."""
    current = float(run.trace("i(vled)")[0])
    drop = row["rail"] - float(run.trace("v(high)")[0])
    return {"led_current": current, "led_current_maximum": current, "driver_saturation": drop}


def led_direct(run: Run, row: Row) -> dict[str, float]:
    """LED current (A) and the voltage lost in the logic output that feeds it (V)."""
    current = float(run.trace("i(vled)")[0])
    drop = row["rail"] - float(run.trace("v(out)")[0])
    return {"led_current": current, "led_current_maximum": current, "driver_saturation": drop}


def led_off(run: Run, row: Row) -> dict[str, float]:
    """What still flows through the LED when it is off (A), with the transistor's leakage."""
    return {"led_current_off": float(run.trace("i(vled)")[0]) + row["leakage"]}


def held_off(run: Run, row: Row) -> dict[str, float]:
    """Gate current available in each half-cycle and the opto's share, the triac never firing."""
    start, stop = row["start"], row["stop"]
    time, through = window(run.time, run.trace("i(vgate)"), start, stop)
    _, gate_v = window(run.time, run.trace("v(gate)"), start, stop)
    gate = through - gate_v / row["r_gk"]
    effective = rms(time, through)
    return {
        "gate_current_positive": float(np.max(gate)),
        "gate_current_negative": float(-np.min(gate)),
        "opto_peak_current": peak(through),
        "gate_fault_rms": effective,
        "gate_resistor_fault_power": effective**2 * row["r_gate"],
    }


def firing(run: Run, row: Row) -> dict[str, float]:
    """Everything that is read off whole mains cycles with the triac at work."""
    halves = [_half(*half, row) for half in _halves(run, row)]
    fired = [half for half in halves if half.fired]
    late = max(fired, key=lambda half: half.delay_s, default=None)
    never = math.nan
    complete = len(fired) == len(halves)
    smallest = min(half.peak_a for half in halves)
    values = {
        "turn_on_voltage": max(half.turn_on_v for half in fired) if complete else never,
        "turn_on_delay": late.delay_s if complete and late else never,
        "turn_on_angle": 360 * late.delay_s / row["period"] if complete and late else never,
        "turn_on_time": late.start_s + late.delay_s if late else never,
        "half_cycles_missed": float(len(halves) - len(fired)),
        "holding_margin": smallest - row["i_h"],
        "latching_margin": min(half.latch_a for half in halves) - row["i_l"],
        "latching_angle": 360 * _latch_time(run, row) / row["period"],
        "early_turn_off_angle": _angle(row["i_h"], smallest),
    }
    return values | _load(run, row) | _gate(run, row)


@dataclass(frozen=True, slots=True)
class Half:
    """One half-cycle: was it conducted, when and at what voltage did it fire, its peak current.

    It has fired when the load current passes the latching current (half its peak if that is less).
    `latch_a` is the current that must exceed the latching current: the peak with a continuous
    LED, the current at the end of the pulse with a pulsed one.
    """

    fired: bool
    start_s: float
    delay_s: float
    turn_on_v: float
    peak_a: float
    latch_a: float


def _halves(run: Run, row: Row) -> Iterator[tuple[Floats, Floats, Floats]]:
    """Yield time, MT2 voltage and load current of each half-cycle, made positive."""
    half_period = row["period"] / 2
    voltage, current = run.trace("v(mt2)"), run.trace("i(vload)")
    for index in range(round((row["stop"] - row["start"]) / half_period)):
        start = row["start"] + index * half_period
        # The last window may end a rounding error after the record.
        stop = min(start + half_period, float(run.time[-1]))
        sign = 1.0 - 2.0 * (index % 2)
        time, volts = window(run.time, voltage, start, stop)
        _, amperes = window(run.time, current, start, stop)
        yield time, sign * volts, sign * amperes


def _half(time: Floats, volts: Floats, amperes: Floats, row: Row) -> Half:
    span = float(time[-1] - time[0])
    full = 2 * row["mains_peak"] / row["load_impedance"] / (2 * math.pi / row["period"])
    # Fired late, past the crest, is under half of the charge: it counts as missed.
    first = time < time[0] + 0.5 * span
    at = int(np.argmax(volts[first]))
    peak_a = float(np.max(amperes))
    latched = first_crossing(time, amperes, min(row["i_l"], 0.5 * peak_a))
    if row["pulse_end"] < 0:
        latch = peak_a
    else:
        latch = float(np.interp(time[0] - row["lag"] + row["pulse_end"], time, amperes))
    return Half(
        fired=mean(time, amperes) * span > 0.5 * full,
        start_s=float(time[0]),
        delay_s=latched - float(time[0]),
        turn_on_v=float(volts[at]),
        peak_a=peak_a,
        latch_a=latch,
    )


def _latch_time(run: Run, row: Row) -> float:
    """Return when after the start of the first counted half-cycle the load exceeds I_L (s)."""
    current = run.trace("i(vload)")
    return first_crossing(run.time, current, row["i_l"], after=row["start"]) - row["start"]


def _angle(holding_a: float, peak_a: float) -> float:
    """Return how long before the zero of a sine the holding current is passed (degrees)."""
    return math.degrees(math.asin(holding_a / peak_a)) if peak_a > holding_a else math.nan


def _load(run: Run, row: Row) -> dict[str, float]:
    stop = min(row["stop"], float(run.time[-1]))
    time, current = window(run.time, run.trace("i(vload)"), row["start"], stop)
    across = run.trace("v(live)") - run.trace("v(mt2)")
    direct, effective = mean(time, current), rms(time, current)
    return _snubber(run, row) | {
        "load_voltage_on": rms(*window(run.time, across, row["start"], stop)),
        "half_cycle_asymmetry": direct,
        "half_cycle_asymmetry_share": abs(direct) / effective if effective > 0 else math.nan,
        "load_rms": effective,
        "load_peak_positive": float(np.max(current)),
        "load_peak_negative": float(np.min(current)),
    }


def _snubber(run: Run, row: Row) -> dict[str, float]:
    """Return the mean power in the snubber's resistor (W), discharged at every turn-on."""
    if "r_snubber" not in row:
        return {}
    stop = min(row["stop"], float(run.time[-1]))
    across = run.trace("v(mt2)") - run.trace("v(sn)")
    effective = rms(*window(run.time, across, row["start"], stop))
    return {"snubber_resistor_power": effective**2 / row["r_snubber"]}


def _gate(run: Run, row: Row) -> dict[str, float]:
    stop = min(row["stop"], float(run.time[-1]))
    time, current = window(run.time, run.trace("i(vgate)"), row["start"], stop)
    _, before = window(run.time, run.trace("v(ot)"), row["start"], stop)
    _, after = window(run.time, run.trace("v(gate)"), row["start"], stop)
    effective = rms(time, current)
    return {
        "opto_peak_current": peak(run.trace("i(vgate)")),
        "gate_rms": effective,
        "gate_resistor_power": effective**2 * row["r_gate"],
        "opto_dissipation": mean(time, np.abs(current * (before - after))),
    }
