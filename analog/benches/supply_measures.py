"""Waveforms of the supply to its measures; run inside the worker, on one run at a time."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from analog.measures import crossings, first_crossing, mean, rms, window

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analog.engine import Run

    Floats = NDArray[np.float64]

SETTLED = (
    "regulator_headroom",
    "ripple",
    "rail_minimum",
    "reservoir_ripple_current",
    "transformer_secondary_current",
    "regulator_dissipation",
    "raw_mean",
)


def settled(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure one settled mains cycle, ``t_start`` to ``t_end`` (s).

    Gives ``regulator_headroom`` (V, lowest input less ``v_needed``), ``ripple`` (V peak to peak
    on the reservoir), ``rail_minimum`` (V), the rms currents of reservoir and winding (A),
    ``regulator_dissipation`` (W) and ``raw_mean`` (V).
    """
    times = run.time, row["t_start"], row["t_end"]
    raw, rail, cap, wind = (
        _cut(times, run.trace(name)) for name in ("v(raw)", rail_of(run), "i(vcap)", "i(vwind)")
    )
    time, level = raw
    drop = level - rail[1]
    return {
        "regulator_headroom": float(level.min()) - row["v_needed"],
        "ripple": float(np.ptp(level)),
        "rail_minimum": float(rail[1].min()),
        "reservoir_ripple_current": rms(*cap),
        "transformer_secondary_current": rms(*wind),
        "regulator_dissipation": mean(time, drop * row["i_load"] + level * row["i_quiescent"]),
        "raw_mean": mean(time, level),
    }


def idle(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure the highest reservoir and rail (V) without a load, over the settled cycle."""
    times = run.time, row["t_start"], row["t_end"]
    top = float(_cut(times, run.trace("v(raw)"))[1].max())
    rail = float(_cut(times, run.trace(rail_of(run)))[1].max())
    return {"regulator_input_maximum": top, "reservoir_voltage": top, "rail_maximum": rail}


def hold_up(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure ``hold_up_time`` (s): how long the rail stays above ``v_hold`` without mains.

    The run drops the mains just behind a crest. The worst moment for that is just before the
    next charging pulse, by when the reservoir has fallen exactly as in this run; so the time
    counts from where the wave would have met the reservoir again. Also the moments ``t_cut``
    and ``t_lost`` (s) themselves; a rail that does not fall within the run holds as long.
    """
    time, raw, rail = run.time, run.trace("v(raw)"), run.trace(rail_of(run))
    t_lost = first_crossing(time, rail, row["v_hold"], False)
    if rail[0] < row["v_hold"]:
        t_lost = 0.0
    end = float(time[-1]) if math.isnan(t_lost) else t_lost
    t_cut = _met_again(time, raw, row)
    return {"hold_up_time": end - t_cut, "t_cut": t_cut, "t_lost": end}


def power_up(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure ``rail_ramp_time`` (s): from the mains coming on to the rail's last rise through
    ``v_full``; NaN when it never gets there."""
    risen = crossings(run.time, run.trace(rail_of(run)), row["v_full"], True)
    return {"rail_ramp_time": float(risen[-1]) if risen.size else math.nan}


def rail_of(run: Run) -> str:
    """Return the trace of the rail: the reservoir itself without a regulator."""
    return "v(vdd)" if "v(vdd)" in run.traces else "v(raw)"


def _cut(times: tuple[Floats, float, float], trace: Floats) -> tuple[Floats, Floats]:
    time, start, stop = times
    return window(time, trace, start, min(stop, float(time[-1])))


def _met_again(time: Floats, raw: Floats, row: Mapping[str, float]) -> float:
    """Return when the rectified wave that starts at its crest would charge the reservoir again."""
    period = 1 / (row["f_mains"] * row["pulses"])
    late = np.linspace(0.5 * period, period, 2001)
    wave = row["v_peak"] * np.cos(2 * math.pi * row["f_mains"] * late)
    if row["pulses"] == 2:
        wave = np.abs(wave)
    above = wave - row["v_diodes"] - np.interp(late, time, raw)
    return float(late[int(np.argmax(above >= 0))]) if (above >= 0).any() else period
