"""The reducers of the scenes with a blocking triac: traces to values."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from analog.engine import Run
from analog.measures import peak, rms
from analog.measures.edges import first_crossing

Floats = np.typing.NDArray[np.float64]
Row = Mapping[str, float]

FIRST, LAST = 0.10, 0.63
"""Shares of a step between which the average slope of a rise is taken."""

NO_STEP = 0.1
"""Below this share of the mains' peak there is no step to recover to: the voltage across the triac
follows the mains from its zero."""

COLLAPSE_S = 1e-6
"""How fast a triac's voltage collapses when it turns on, for the slope of the current."""


def off(run: Run, row: Row) -> dict[str, float]:
    """Return what remains on the load: V rms, A rms, and the heat in the snubber's resistor (W)."""
    time = run.time
    values = {
        "off_state_load_voltage": rms(time, run.trace("v(live)") - run.trace("v(lb)")),
        "off_state_load_current": rms(time, run.trace("i(vload)")),
    }
    if "r_snubber" in row:
        across = run.trace("v(mt2)") - run.trace("v(sn)")
        values["snubber_resistor_power"] = rms(time, across) ** 2 / row["r_snubber"]
    return values


def switch_on(run: Run, row: Row) -> dict[str, float]:
    """Return the step's average slope (V/s), its steepest, its peak and the current's slope.

    The step is the mains' peak, or what is reached where that is less.

    The current's slope (A/s) is the definition's: the snubber discharged from the mains' peak
    within a microsecond, and what the load adds by then.
    """
    time, volts = run.time, run.trace("v(mt2)")
    step = row["mains_peak"]
    highest = float(np.max(volts))
    values = {
        "off_state_dvdt": average_slope(time, volts, min(step, highest)),
        "step_peak": highest,
        "step_overshoot": highest / step - 1,
        "step_steepest": steepest(time, volts),
    }
    if "r_snubber" in row:
        values["turn_on_didt"] = step / (row["r_snubber"] * COLLAPSE_S) + _load_slope(row)
    return values


def _load_slope(row: Row) -> float:
    """Return the slope of the load current in the first microsecond at the crest (A/s)."""
    ohm, henry = row["r_load"], row.get("l_load", 0.0) + row["l_source"]
    after = row["mains_peak"] / ohm * -math.expm1(-COLLAPSE_S * ohm / henry)
    if "r_loss" in row:
        after += row["mains_peak"] / row["r_loss"]
    return after / COLLAPSE_S


def let_go(run: Run, row: Row) -> dict[str, float]:
    """Return the highest voltage across the triac (V), when, and the slope of its recovery (V/s).

    The triac let go in the positive half-cycle: it recovers towards the negative mains. The step
    is the mains' value as it lets go.
    """
    del row
    time, volts = run.time, run.trace("v(mt2)")
    mains = run.trace("v(sa)")
    step = float(-mains[0])
    if step < NO_STEP * float(np.max(np.abs(mains))):
        ends = np.array([0.005, 0.015]) * time[-1]
        slope = float(-np.diff(np.interp(ends, time, volts))[0] / np.diff(ends)[0])
    else:
        slope = average_slope(time, -volts, step)
    return {
        "off_state_peak_voltage": peak(volts),
        "commutating_dvdt": slope,
        "peak_time": float(time[np.argmax(np.abs(volts))]),
    }


def average_slope(time: Floats, rise: Floats, step: float) -> float:
    """Return the average slope (V/s) from a tenth to 63 % of a step of `step` volts.

    NaN when the record does not rise so far.
    """
    first, last = (first_crossing(time, rise, share * step) for share in (FIRST, LAST))
    return (LAST - FIRST) * step / (last - first) if last > first else math.nan


def steepest(time: Floats, volts: Floats) -> float:
    """Return the largest slope between neighbouring samples (V/s)."""
    return float(np.max(np.diff(volts) / np.diff(time)))
