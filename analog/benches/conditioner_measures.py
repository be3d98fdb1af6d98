"""What is read off the traces of the conditioner's runs; called in the engine's workers."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from analog.engine import Run
from analog.measures import (
    edge_time,
    first_crossing,
    largest_reversal,
    mean,
    schmitt_edges,
    window,
)

Floats = NDArray[np.float64]

RAMP_OUTPUTS = (
    "threshold_rising",
    "threshold_falling",
    "hysteresis",
    "output_rise_time",
    "output_fall_time",
    "output_high_level",
    "output_low_level",
    "t_fall",
    "t_rise",
    "t_fall_from",
    "t_fall_to",
    "t_rise_from",
    "t_rise_to",
)
CHAIN_OUTPUTS = (
    "hysteresis_margin",
    "edges_per_cycle",
    "duty_cycle",
    "t_out_rise",
    "t_out_fall",
)


def ramp(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return what a slow ramp up (to ``t_top``) and down again shows of the part.

    The threshold is the input at the moment the output passes half the rail.
    """
    time, out, half = run.time, run.trace("v(out)"), row["v_half"]
    falls = first_crossing(time, out, half, False)
    rises = first_crossing(time, out, half, True, row["t_top"])
    v_p, v_n = (_at(run, moment) for moment in (falls, rises))
    return {
        "threshold_rising": v_p,
        "threshold_falling": v_n,
        "hysteresis": v_p - v_n,
        **_edges(run, row, falls, rises),
        "output_high_level": float(out[-1]),
        "output_low_level": float(np.interp(row["t_top"], time, out)),
        "t_fall": falls,
        "t_rise": rises,
    }


def chain(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the measures of one settled cycle through filter, Schmitt stage and load."""
    time, pin, out = run.time, run.trace("v(pin)"), run.trace("v(out)")
    start, stop = row["t_quarter"], row["t_end"]
    # The output is counted with a wide hysteresis of its own, so that no edge is counted twice.
    edges = schmitt_edges(time, out, 0.7 * row["v_rail"], 0.3 * row["v_rail"])
    falling = edges.falling[(edges.falling >= start) & (edges.falling < stop)]
    passage = pin[time >= row["t_start"]]
    level = mean(*window(time, out, start, stop))
    return {
        "hysteresis_margin": row["h_min"] - largest_reversal(passage, row["n_min"], row["p_max"]),
        "edges_per_cycle": float(falling.size),
        "duty_cycle": level / row["v_rail"],
        "t_out_rise": first_crossing(time, out, row["v_half"], True, row["t_start"]),
        "t_out_fall": first_crossing(time, out, row["v_half"], False, row["t_quarter"]),
    }


def _at(run: Run, moment: float) -> float:
    if math.isnan(moment):
        return math.nan
    return float(np.interp(moment, run.time, run.trace("v(pin)")))


def _edges(run: Run, row: Mapping[str, float], falls: float, rises: float) -> dict[str, float]:
    """Return the output's 10-90 % times and where each edge begins and ends."""
    time, out = run.time, run.trace("v(out)")
    low, high = 0.1 * row["v_rail"], 0.9 * row["v_rail"]
    fall_to = first_crossing(time, out, low, False, falls)
    rise_to = first_crossing(time, out, high, True, rises)
    fall = edge_time(time, out, low, high, False)
    rise = edge_time(time, out, low, high, True, row["t_top"])
    return {
        "output_fall_time": fall,
        "output_rise_time": rise,
        "t_fall_from": fall_to - fall,
        "t_fall_to": fall_to,
        "t_rise_from": rise_to - rise,
        "t_rise_to": rise_to,
    }
