"""Circuits and reducers for the disturbance sources; importable in worker processes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analog.circuits.disturbances import Generator
from analog.circuits.record import (
    Circuit,
    Element,
    Experiment,
    Param,
    Pwl,
    Sine,
    Transient,
)
from analog.engine import Run
from analog.measures import (
    crossings,
    first_crossing,
    front_time,
    half_value_time,
    half_width,
    rise_time,
    swing_ratios,
)

IMPULSE = (
    "peak",
    "start",
    "rise",
    "front",
    "current_front",
    "width",
    "half_value",
    "current_half_value",
    "second",
    "third",
    "fourth",
)


def delivered(
    wave: Pwl, generator: Generator, reducer: str, outputs: tuple[str, ...]
) -> Experiment:
    """Return the waveform behind its generator into a sense filter that rides on the mains.

    ``v(wave)`` is what the source delivers. The filter makes the step control want long steps.
    """
    elements = (
        Element("VWAVE", "V", ("wave", "0"), wave),
        Element("RGEN", "R", ("wave", "coupled"), generator.resistance_ohm),
        Element("CGEN", "C", ("coupled", "line"), generator.coupling_f),
        Element("VMAINS", "V", ("mains", "0"), Sine(Param("mains_peak"), 50.0, 90.0)),
        Element("RMAINS", "R", ("mains", "line"), 50.0),
        Element("RFILTER", "R", ("line", "pin"), 100e3),
        Element("CFILTER", "C", ("pin", "0"), 10e-9),
    )
    return Experiment(
        Circuit("disturbance", elements),
        Transient(Param("stop"), Param("step"), reltol=1e-3, trtol=7.0),
        ("v(wave)", "v(pin)"),
        f"disturbance_cases:{reducer}",
        outputs,
    )


def impulse(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    """Measure the delivered impulse by every definition of the standards."""
    time, level = run.time, run.trace("v(wave)")
    ratios = swing_ratios(time, level).tolist()
    return {
        "peak": float(level.max()),
        "start": first_crossing(time, level, 0.01 * float(level.max())),
        "rise": rise_time(time, level),
        "front": front_time(time, level, "voltage"),
        "current_front": front_time(time, level, "current"),
        "width": half_width(time, level),
        "half_value": half_value_time(time, level, "voltage"),
        "current_half_value": half_value_time(time, level, "current"),
        "second": ratios[0],
        "third": ratios[1],
        "fourth": ratios[2],
    }


def pulses(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure every pulse of a burst: count, and the extremes of peak, rise and width."""
    time, level = run.time, run.trace("v(wave)")
    found = {"count": float(crossings(time, level, row["height"] / 2, rising=True).size)}
    peaks, rises, widths = [], [], []
    for k in range(int(row["pulses"])):
        start = row["burst_start"] + k / row["repetition_hz"]
        inside = (time >= start - 1e-9) & (time <= start + 0.9 / row["repetition_hz"])
        own_time, own = time[inside], level[inside]
        peaks.append(float(own.max()))
        rises.append(rise_time(own_time, own))
        widths.append(half_width(own_time, own))
    for name, values in (("peak", peaks), ("rise", rises), ("width", widths)):
        found |= {f"{name}_low": float(np.min(values)), f"{name}_high": float(np.max(values))}
    return found | {"points": float(time.size)}


BURST = (
    "count",
    *(f"{name}_{end}" for name in ("peak", "rise", "width") for end in ("low", "high")),
    "points",
)
