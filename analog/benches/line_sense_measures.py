"""What is read off the traces of a line-sense run; called in the engine's workers.

The falling edge is read from the crest of the sensed winding on (``t_start``), the rising edge,
levels and means over one whole cycle from a quarter of a cycle later (``t_quarter``).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from analog.benches.line_coupler import coupler_values
from analog.engine import Run
from analog.measures import Crossed, mean, peak, rms, schmitt_edges_of, window

Floats = NDArray[np.float64]

SMOOTH = True
"""A filtered voltage has no jumps: a cubic between samples halves the error of its crossings."""

BASE_REVERSE = "base_reverse_voltage"
MEASURES = (
    "high_level_margin",
    "low_level_margin",
    "rise_time",
    "fall_time",
    "threshold_transit_time",
    "slew_at_threshold",
    "crossing_delay",
    "crossing_delay_earliest",
    "input_clamp_current",
    "rail_pump_current",
    "series_resistor_power",
    "series_resistor_voltage",
    "edges_per_cycle",
)
OUTPUTS = (
    *MEASURES,
    "pin_peak",
    "pin_trough",
    "t_peak",
    "t_trough",
    "t_high",
    "t_low",
    "t_rise_10",
    "t_rise_90",
    "t_fall_90",
    "t_fall_10",
)


def line_sense(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return all measures of the bench and the times of the marks."""
    return {**line_sense_pin(run, row), **_series(run, row), **_coupled(run, row)}


def line_sense_pin(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the same without what belongs to a series resistor or an optocoupler."""
    time, pin = run.time, run.trace("v(pin)")
    cycle = window(time, pin, row["t_quarter"], row["t_end"])
    columns = _columns(row)
    crossed = Crossed(time, pin, _levels(columns, row))
    crest, trough = float(np.max(cycle[1])), float(np.min(cycle[1]))
    moment = crossed.first(row["v_high"], True, row["t_quarter"], SMOOTH)
    lowest = min(levels["p_min"] for levels in columns)
    earliest = crossed.first(lowest, True, row["t_quarter"], SMOOTH)
    return {
        "high_level_margin": min(crest - levels["p_max"] for levels in columns),
        "low_level_margin": min(levels["n_min"] - trough for levels in columns),
        **_transitions(crossed, row),
        "threshold_transit_time": _worst([_transit(crossed, one, row) for one in columns], max),
        "slew_at_threshold": _worst([_slew(crossed, one, row) for one in columns], min),
        "crossing_delay": crossing_delay(moment, row),
        "crossing_delay_earliest": crossing_delay(earliest, row),
        "input_clamp_current": _into_pin(run, row),
        "rail_pump_current": _into_rail(run, row),
        "edges_per_cycle": edges_per_cycle(crossed, columns, row),
        BASE_REVERSE: max(0.0, -trough),
        "pin_peak": crest,
        "pin_trough": trough,
        "t_peak": float(cycle[0][np.argmax(cycle[1])]),
        "t_trough": float(cycle[0][np.argmin(cycle[1])]),
        "t_high": moment,
        "t_low": crossed.first(row["v_low"], False, row["t_start"], SMOOTH),
    }


def edges_per_cycle(
    crossed: Crossed, columns: list[dict[str, float]], row: Mapping[str, float]
) -> float:
    """Return the rising edges of one cycle, for the guaranteed part farthest from ``edges``.

    Tried for each maker: the widest thresholds (V_P max, V_N min), and the narrowest hysteresis
    at the top and at the bottom of the guaranteed range.
    """
    start, stop = row["t_quarter"], row["t_end"]
    counts = []
    for v_p, v_n in dict.fromkeys(pair for levels in columns for pair in _threshold_pairs(levels)):
        rising = schmitt_edges_of(crossed, v_p, v_n).rising.tolist()
        counts.append(sum(1 for moment in rising if start <= moment < stop))
    return float(max(counts, key=lambda count: abs(count - row["edges"])))


def crossing_delay(moment: float, row: Mapping[str, float]) -> float:
    """Return the time from the mains' positive-going zero to `moment`, the pin's at ``v_high``.

    ``zero_share`` is where in the cycle after the winding's crest that zero lies: 0.75 when the
    sensed end is in phase with the mains, 0.25 when it is inverted. With two ``edges`` per cycle
    every zero counts.
    """
    zero, apart = row["t_start"] + row["zero_share"] / row["f_mains"], 1 / row["f_mains"]
    return math.fmod(moment - zero + apart, apart / row["edges"])


def _coupled(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return an optocoupler's measures, none without one.

    What the diode across the LED takes flows in the other half-wave only.
    """
    if "v(fed)" not in run.traces:
        return {}
    back = run.traces.get("v(far)", np.zeros_like(run.time))
    ends = row["t_quarter"], row["t_end"]
    led_v = window(run.time, run.trace("v(fed)") - back, *ends)[1]
    led_a = window(run.time, series_drop(run) / row["r_series"], *ends)[1]
    return coupler_values(led_a, led_v, row)


def series_drop(run: Run) -> Floats:
    """Return the voltage (V) across the series resistor over time."""
    return run.trace("v(sense)") - run.trace(fed_trace(run.traces))


def fed_trace(saves: Iterable[str]) -> str:
    """Return which of the saved traces is the node that the series resistor feeds."""
    return next(name for name in ("v(fed)", "v(joint)", "v(pin)") if name in saves)


def _columns(row: Mapping[str, float]) -> list[dict[str, float]]:
    columns: list[dict[str, float]] = []
    while f"c{len(columns)}_p_max" in row:
        prefix = f"c{len(columns)}_"
        names = ("p_max", "p_min", "n_max", "n_min", "h_min")
        columns.append({name: row[prefix + name] for name in names})
    return columns


def _threshold_pairs(levels: Mapping[str, float]) -> tuple[tuple[float, float], ...]:
    narrow = levels["h_min"]
    return (
        (levels["p_max"], levels["n_min"]),
        (levels["p_max"], min(levels["n_max"], levels["p_max"] - narrow)),
        (max(levels["p_min"], levels["n_min"] + narrow), levels["n_min"]),
    )


def _levels(columns: list[dict[str, float]], row: Mapping[str, float]) -> list[float]:
    """Return every level whose crossings are read."""
    levels = [0.1 * row["v_rail"], 0.9 * row["v_rail"], row["v_high"], row["v_low"]]
    for column in columns:
        levels += [column["p_max"], column["p_min"], column["n_min"]]
        levels += [level for pair in _threshold_pairs(column) for level in pair]
    return levels


def _transitions(crossed: Crossed, row: Mapping[str, float]) -> dict[str, float]:
    low, high = 0.1 * row["v_rail"], 0.9 * row["v_rail"]
    risen = crossed.span(low, high, True, row["t_quarter"], SMOOTH)
    fallen = crossed.span(low, high, False, row["t_start"], SMOOTH)
    return {
        "rise_time": risen[1] - risen[0],
        "fall_time": fallen[1] - fallen[0],
        "t_rise_10": risen[0],
        "t_rise_90": risen[1],
        "t_fall_90": fallen[0],
        "t_fall_10": fallen[1],
    }


def _transit(crossed: Crossed, levels: Mapping[str, float], row: Mapping[str, float]) -> float:
    low, high = levels["n_min"], levels["p_max"]
    edges = (
        crossed.span(low, high, True, row["t_quarter"], SMOOTH),
        crossed.span(low, high, False, row["t_start"], SMOOTH),
    )
    return _worst([end - start for start, end in edges], max)


def _slew(crossed: Crossed, levels: Mapping[str, float], row: Mapping[str, float]) -> float:
    slopes = (
        crossed.slope(levels["p_max"], True, row["t_quarter"]),
        crossed.slope(levels["n_min"], False, row["t_start"]),
    )
    return _worst([abs(slope) for slope in slopes], min)


def _into_pin(run: Run, row: Mapping[str, float]) -> float:
    return peak(window(run.time, run.trace("i(vpin)"), row["t_quarter"], row["t_end"])[1])


def _into_rail(run: Run, row: Mapping[str, float]) -> float:
    """Return the mean current (A) that clamps push into the rail; 0 when the rail feeds more."""
    ends = row["t_quarter"], row["t_end"]
    return max(0.0, mean(*window(run.time, run.trace("i(vrail)"), *ends)))


def _series(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    voltage = rms(*window(run.time, series_drop(run), row["t_quarter"], row["t_end"]))
    return {
        "series_resistor_voltage": voltage,
        "series_resistor_power": voltage**2 / row["r_series"],
    }


def _worst(values: list[float], choose: Callable[[list[float]], float]) -> float:
    """Return the largest or smallest; NaN as soon as one of them never happened."""
    return math.nan if any(math.isnan(value) for value in values) else choose(values)
