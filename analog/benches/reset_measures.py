"""Waveforms of the reset network to its measures; run inside the worker, on one run at a time."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from analog.measures import crossings, first_crossing

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analog.engine import Run

    Floats = NDArray[np.float64]

KNOTS = 4
"""Rail voltages, besides 0, between which the thresholds run straight."""


def power_up(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure a rising rail.

    Gives ``t_valid`` (s, the last time the rail rose through the valid supply),
    ``input_at_valid_supply`` (V), ``t_earliest`` and ``t_latest`` (s, when the pin reaches the
    lowest and the highest threshold that the receiver may have at the rail of that moment),
    ``hold_time`` = t_earliest − t_valid and ``release_time`` = t_latest, both s.

    A reset that never releases holds for as long as the run lasts, which is then a lower bound
    of its hold time; that it never releases shows in ``release_time``.
    """
    time, rail, pin = run.time, run.trace("v(vdd)"), run.trace("v(pin)")
    risen = crossings(time, rail, row["valid_supply"], True)
    t_valid = float(risen[-1]) if risen.size else math.nan
    corner = int(np.argmax(rail >= rail.max() * (1 - 1e-9)))
    t_earliest = _reached(time, pin - _threshold(rail, row, "low"), t_valid, corner)
    held_until = float(time[-1]) if math.isnan(t_earliest) else t_earliest
    t_latest = _reached(time, pin - _threshold(rail, row, "high"), t_valid, corner)
    return {
        "t_valid": t_valid,
        "input_at_valid_supply": float(np.interp(t_valid, time, pin)),
        "t_earliest": t_earliest,
        "t_latest": t_latest,
        "hold_time": held_until - t_valid,
        "release_time": t_latest,
    }


def settled(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure the final level at the pin (V) and its distance to the highest threshold (V)."""
    level = float(run.trace("v(pin)")[-1])
    return {"final_level": level, "release_level_margin": level - row["threshold_high"]}


def power_down(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    """Measure the peak currents (A) while the rail falls: the diode's and the pin's own."""
    values = _peak(run, "i(vpin)", "pin_discharge_current", "t_pin_peak")
    if "i(vdis)" in run.traces:
        values |= _peak(run, "i(vdis)", "discharge_current", "t_diode_peak")
    return values


def button(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    """Measure the peak current (A) through the push-button when it is pressed."""
    return _peak(run, "i(vbutton)", "button_current", "t_button_peak")


def _threshold(rail: Floats, row: Mapping[str, float], side: str) -> Floats:
    """Return the threshold at each moment's rail: straight between the knots, 0 at 0 V."""
    supplies = [0.0, *(row[f"knot_{k}"] for k in range(KNOTS))]
    levels = [0.0, *(row[f"{side}_{k}"] for k in range(KNOTS))]
    return np.interp(rail, supplies, levels)


def _reached(time: Floats, excess: Floats, after: float, corner: int) -> float:
    """Return the first time from `after` on at which `excess` is not negative; NaN for never.

    Behind the rail's ramp, which ends with sample `corner`, the pin charges smoothly, and a cubic
    between samples is far better than a line; none may reach over the corner.
    """
    if math.isnan(after):
        return math.nan
    if float(np.interp(after, time, excess)) >= 0:
        return after
    on_ramp = first_crossing(time[: corner + 1], excess[: corner + 1], 0.0, True, after)
    if not math.isnan(on_ramp):
        return on_ramp
    return first_crossing(time[corner:], excess[corner:], 0.0, True, after, smooth=True)


def _peak(run: Run, trace: str, name: str, moment: str) -> dict[str, float]:
    current = run.trace(trace)
    place = int(np.argmax(current))
    return {name: float(current[place]), moment: float(run.time[place])}
