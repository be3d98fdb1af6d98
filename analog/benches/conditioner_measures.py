"""What is read off the traces of the conditioner's runs; called in the engine's workers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analog.circuits.schmitt_stage import switching_delay_s
from analog.engine import Run
from analog.measures import (
    Crossed,
    edge_time,
    first_crossing,
    largest_reversal,
    mean,
    schmitt_edges,
    schmitt_edges_of,
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
    "t_pin_fall",
    "t_pin_rise",
)
SIMULATED_OUTPUTS = CHAIN_OUTPUTS[:5]

SMOOTH = True
"""A filtered voltage has no jumps: a cubic between samples halves the error of its crossings."""


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
    """Return the measures of one settled cycle, the part's thresholds read off the pin's trace."""
    clock = _clock(run, row)
    start, stop = row["t_quarter"], row["t_end"]
    return {
        "hysteresis_margin": _hysteresis_margin(run, row),
        "edges_per_cycle": float(sum(start <= moment < stop for moment in clock.falling)),
        "duty_cycle": _high_share(clock, start, stop),
        "t_out_rise": clock.first_rise,
        "t_out_fall": clock.first_fall,
        "t_pin_fall": clock.pin_fall,
        "t_pin_rise": clock.pin_rise,
    }


def simulated_chain(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the same of the circuit with the part's whole model, from its output."""
    time, out = run.time, run.trace("v(out)")
    start, stop = row["t_quarter"], row["t_end"]
    # The output is counted with a wide hysteresis of its own, so that no edge is counted twice.
    edges = schmitt_edges(time, out, 0.7 * row["v_rail"], 0.3 * row["v_rail"])
    falling = edges.falling[(edges.falling >= start) & (edges.falling < stop)]
    return {
        "hysteresis_margin": _hysteresis_margin(run, row),
        "edges_per_cycle": float(falling.size),
        "duty_cycle": mean(*window(time, out, start, stop)) / row["v_rail"],
        "t_out_rise": first_crossing(time, out, row["v_half"], True, row["t_start"]),
        "t_out_fall": first_crossing(time, out, row["v_half"], False, row["t_quarter"]),
    }


def gate(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the measures of one settled cycle behind a plain gate, thresholds and edges too.

    The output's edges are those that answer the first edges at the pin.
    """
    time, out, pin = run.time, run.trace("v(out)"), run.trace("v(pin)")
    chain_values = simulated_chain(run, row)
    rise, fall = chain_values["t_out_rise"], chain_values["t_out_fall"]
    low, high = 0.1 * row["v_rail"], 0.9 * row["v_rail"]
    cycle = window(time, out, row["t_quarter"], row["t_end"])[1]
    return {
        **chain_values,
        "threshold_rising": float(np.interp(fall, time, pin)),
        "threshold_falling": float(np.interp(rise, time, pin)),
        "output_rise_time": edge_time(time, out, low, high, True, row["t_start"]),
        "output_fall_time": edge_time(time, out, low, high, False, row["t_quarter"]),
        "output_high_level": float(cycle.max()),
        "output_low_level": float(cycle.min()),
    }


def with_clock(run: Run, row: Mapping[str, float]) -> Run:
    """Return the run with ``v(out)``, the clock between ground and rail, edges of ``t_tr``.

    A 10-90 % time is 0.8 of a straight edge; the edge's middle lies at the switching moment.
    """
    clock = _clock(run, row)
    half = row["t_tr"] / 1.6
    edges = sorted([(t, 1.0) for t in clock.rising] + [(t, 0.0) for t in clock.falling])
    moments, levels = [float(run.time[0])], [float(clock.starts_high)]
    for moment, level in edges:
        if moment - half > moments[-1]:
            moments += [moment - half, moment + half]
            levels += [levels[-1], level]
    time = np.union1d(run.time, moments[1:])
    time = time[time <= run.time[-1]]
    pin = np.interp(time, run.time, run.trace("v(pin)"))
    out = np.interp(time, moments, row["v_rail"] * np.array(levels))
    return replace(run, time=time, traces={"v(pin)": pin, "v(out)": out})


class _Clock(NamedTuple):
    """The clock's edges (s), ascending, and those first ones that are read."""

    starts_high: bool
    rising: list[float]
    falling: list[float]
    first_rise: float
    first_fall: float
    pin_fall: float
    pin_rise: float


def _clock(run: Run, row: Mapping[str, float]) -> _Clock:
    """Return what the part makes of the pin: edges where it leaves V_P upwards, V_N downwards."""
    time, pin, v_p, v_n = run.time, run.trace("v(pin)"), row["v_p"], row["v_n"]
    crossed = Crossed(time, pin, (v_p, v_n))
    edges = schmitt_edges_of(crossed, v_p, v_n, SMOOTH)
    rise_s, fall_s = _delay(crossed, row, v_n, False), _delay(crossed, row, v_p, True)
    pin_fall = crossed.first(v_n, False, row["t_start"], SMOOTH)
    pin_rise = crossed.first(v_p, True, row["t_quarter"], SMOOTH)
    return _Clock(
        bool(pin[0] < (v_p + v_n) / 2),
        [moment + rise_s for moment in edges.falling.tolist()],
        [moment + fall_s for moment in edges.rising.tolist()],
        pin_fall + rise_s,
        pin_rise + fall_s,
        pin_fall,
        pin_rise,
    )


def _delay(crossed: Crossed, row: Mapping[str, float], level: float, rising: bool) -> float:
    """Return the stage's delay (s) to the pin's first passage; NaN when it never passes."""
    slew = abs(crossed.slope(level, rising, row["t_quarter" if rising else "t_start"]))
    return switching_delay_s(slew, row["v_p"] - row["v_n"], row["t_state"], row["t_pd"])


def _hysteresis_margin(run: Run, row: Mapping[str, float]) -> float:
    passage = run.trace("v(pin)")[int(np.searchsorted(run.time, row["t_start"])) :]
    return row["h_min"] - largest_reversal(passage, row["n_min"], row["p_max"])


def _high_share(clock: _Clock, start: float, stop: float) -> float:
    """Return the share of start..stop in which the clock is high."""
    edges = sorted([(t, True) for t in clock.rising] + [(t, False) for t in clock.falling])
    high, since, spent = clock.starts_high, start, 0.0
    for moment, rises in [*edges, (stop, False)]:
        until = min(max(moment, start), stop)
        spent += until - since if high else 0.0
        high, since = rises, until
    return spent / (stop - start)


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
