"""Waveforms of the reset network to its measures; run inside the worker, on one run at a time."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from analog.measures import crossings, first_crossing, schmitt_edges

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analog.engine import Run

    Floats = NDArray[np.float64]

KNOTS = 4
"""Rail voltages, besides 0, between which the thresholds run straight."""

_POWER_UP = (
    "t_valid",
    "input_at_valid_supply",
    "t_earliest",
    "t_latest",
    "hold_time",
    "release_time",
)


def power_up(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure a rising rail.

    Gives ``t_valid`` (s, the last time the rail rose through the valid supply),
    ``input_at_valid_supply`` (V), ``t_earliest`` and ``t_latest`` (s, when the pin reaches the
    lowest and the highest threshold that the receiver may have at the rail of that moment),
    ``hold_time`` = t_earliest − t_valid and ``release_time`` = t_latest, both s.

    A reset that never releases holds for as long as the run lasts, which is then a lower bound
    of its hold time; that it never releases shows in ``release_time``.
    """
    time, rail, pin = run.time, run.trace("v(vdd)"), sensed(run, row)
    place, share = _last_rise(rail, row["valid_supply"])
    if place < 0:
        return dict.fromkeys(_POWER_UP, math.nan)
    t_valid = time.item(place) + share * (time.item(place + 1) - time.item(place))
    corner = int((rail >= rail.max() * (1 - 1e-9)).argmax())
    ramp = slice(place, max(corner, place + 1) + 1)
    t_earliest, t_latest = (
        _reached(time, pin, rail, ramp, share, t_valid, _knots(row, side))
        for side in ("low", "high")
    )
    held_until = time.item(-1) if math.isnan(t_earliest) else t_earliest
    return {
        "t_valid": t_valid,
        "input_at_valid_supply": _between(run.trace("v(pin)"), place, share),
        "t_earliest": t_earliest,
        "t_latest": t_latest,
        "hold_time": held_until - t_valid,
        "release_time": t_latest,
    }


def settled(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure the final level at the pin (V) and its distance to the highest threshold (V)."""
    level, distance = float(run.trace("v(pin)")[-1]), float(sensed(run, row)[-1])
    return {"final_level": level, "release_level_margin": distance - row["threshold_high"]}


def power_down(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure the peak currents (A) while the rail falls: the diode's and the pin's own.

    The pin's flows into its upper diode, of an active-high reset out of its lower one.
    """
    sign = -1.0 if row.get("active_high") else 1.0
    values = _peak(run, "i(vpin)", "pin_discharge_current", "t_pin_peak", sign)
    if "i(vdis)" in run.traces:
        values |= _peak(run, "i(vdis)", "discharge_current", "t_diode_peak")
    return values


def press(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure ``button_press_time`` (s), from the first touch at ``t_first`` to the pin falling
    for good below ``v_assert_full``; NaN when it never does. ``t_pressed`` (s) is that moment.
    """
    excess = sensed(run, row) - row["v_assert_full"]
    falls = crossings(run.time, excess, 0.0, False)
    done = math.nan if excess[-1] > 0 or not falls.size else float(falls[-1])
    return {"button_press_time": done - row["t_first"], "t_pressed": done}


def release(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure the receiver while the pin creeps through ``threshold`` with noise on the rail.

    The thresholds follow the rail, so that the pin is read in proportion to it. Gives
    ``release_edges`` (changes of state; none where the pin settles below the threshold, which
    ``release_level_margin`` judges), ``release_hysteresis_margin`` (V, ``hysteresis`` less the
    largest reversal) and ``t_release`` (s, the first edge).
    """
    seen = sensed(run, row) * row["rail"] / run.trace("v(vdd)")
    upper, lower = row["threshold"], row["threshold"] - row["hysteresis"]
    # What lies beyond the threshold has passed it: only the way back below it can undo the edge.
    below = np.minimum(seen, upper)
    reversal = float((np.maximum.accumulate(below) - below).max())
    # Asserted before the run begins, whatever side of the hysteresis it begins on.
    time, trace = np.insert(run.time, 0, run.time[0] - 1.0), np.insert(seen, 0, lower - 1.0)
    edges = schmitt_edges(time, trace, upper, lower)
    count = edges.rising.size + edges.falling.size
    return {
        "release_edges": float(count),
        "release_hysteresis_margin": row["hysteresis"] - reversal,
        "t_release": float(edges.rising[0]) if edges.rising.size else math.nan,
    }


def led_before_reset(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure the LED while the rail is below the valid supply.

    Gives ``led_current_before_reset`` (A, its largest), ``t_led_peak`` (s, when), and
    ``time_unguarded`` (s, for how long the rail is above 1 V and below the valid supply).
    """
    time, rail, current = run.time, run.trace("v(vdd)"), run.trace("i(vled)")
    below = rail <= row["valid_supply"] * (1 + 1e-9)
    place = int(np.argmax(np.where(below, current, -math.inf)))
    unguarded = below[1:] & (rail[1:] > 1.0)
    return {
        "led_current_before_reset": max(float(current[place]), 0.0),
        "t_led_peak": float(time[place]),
        "time_unguarded": float(np.diff(time)[unguarded].sum()),
    }


def sensed(run: Run, row: Mapping[str, float], trace: str = "v(pin)") -> Floats:
    """Return a trace (V) as its distance from the rail at which the reset is asserted."""
    level = run.trace(trace)
    return run.trace("v(vdd)") - level if row.get("active_high") else level


def button(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    """Measure the peak current (A) through the push-button when it is pressed."""
    return _peak(run, "i(vbutton)", "button_current", "t_button_peak")


def _last_rise(rail: Floats, level: float) -> tuple[int, float]:
    """Return the last segment in which the rail rises through a level, and where in it (0..1).

    The segment is -1 when it never does.
    """
    above = rail >= level
    rises = (above[1:] > above[:-1]).nonzero()[0]
    if not rises.size:
        return -1, math.nan
    place = rises.item(-1)
    start = rail.item(place)
    return place, (level - start) / (rail.item(place + 1) - start)


def _knots(row: Mapping[str, float], side: str) -> tuple[list[float], list[float]]:
    """Return rails and thresholds (V) between which a threshold runs straight, 0 at 0 V."""
    supplies = [0.0, *[row[f"knot_{k}"] for k in range(KNOTS)]]
    return supplies, [0.0, *[row[f"{side}_{k}"] for k in range(KNOTS)]]


def _reached(
    time: Floats,
    pin: Floats,
    rail: Floats,
    ramp: slice,
    share: float,
    after: float,
    knots: tuple[list[float], list[float]],
) -> float:
    """Return the first time from `after` on at which the pin is at its threshold; NaN for never.

    `after` lies `share` of the way through the first segment of `ramp`. Behind the rail's ramp
    the pin charges smoothly, and a cubic between samples is far better than a line; none may
    reach over the corner.
    """
    excess = pin[ramp] - np.interp(rail[ramp], *knots)
    if excess.item(0) + share * (excess.item(1) - excess.item(0)) >= 0:
        return after
    above = excess[1:] >= 0
    found = int(above.argmax())
    if above.item(found):
        moments = time[ramp]
        start, height = moments.item(found), excess.item(found)
        return start - height * (moments.item(found + 1) - start) / (
            excess.item(found + 1) - height
        )
    corner = ramp.stop - 1
    level = float(np.interp(rail.item(corner), *knots))
    return first_crossing(time[corner:], pin[corner:], level, True, after, smooth=True)


def _between(trace: Floats, place: int, share: float) -> float:
    """Return a trace `share` of the way from one sample to the next."""
    return trace.item(place) + share * (trace.item(place + 1) - trace.item(place))


def _peak(run: Run, trace: str, name: str, moment: str, sign: float = 1.0) -> dict[str, float]:
    current = sign * run.trace(trace)
    place = int(np.argmax(current))
    return {name: float(current[place]), moment: float(run.time[place])}
