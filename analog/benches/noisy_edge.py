"""A slow edge at an input without hysteresis, and the transitions that a little noise makes of it.

On an edge of slope s a sine of peak-to-peak height pp and frequency f makes 1 + 2·⌊pp·f/s⌋
transitions where pp exceeds the hysteresis, here none. The pin's edge is simulated; the noise,
which stands between the filter's ground and the receiver's, is added to it as data.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from analog.benches.base import Curve, Level, Plot
from analog.benches.line_receiver import Receiver
from analog.engine import Run
from analog.measures import crossings, first_crossing, slope_at

NOISE_V = 0.1
NOISE_HZ = 100e3
NOISE_SOURCE = "common practice, no source: what logic and relays leave on a board's ground"

SAMPLES = 40
"""In a period of the noise."""

SPAN = 4.0
"""Half the time that is shown, as a multiple of how long the edge stays within the noise."""

TITLE = "The slow edge, the part's limit, and the transitions that noise makes"


def theory(slope_v_per_s: float) -> int:
    """Return the transitions that the noise makes on an edge of this slope."""
    return 1 + 2 * math.floor(2 * NOISE_V * NOISE_HZ / abs(slope_v_per_s) + 1e-9)


def noisy_edge(
    run: Run, row: Mapping[str, float], limit_s: float | None
) -> tuple[Run, int, float] | None:
    """Return traces around the first rising edge with noise, the transitions in them and the slope.

    ``v(noisy)`` is the pin with its noise, ``v(clock)`` what the input makes of it at the typical
    threshold, ``v(limit)`` an edge that takes `limit_s` (s) from 10 to 90 % of the rail. None when
    the pin has no rising edge.
    """
    threshold, rail = row["typ0_p"], row["v_rail"]
    pin = run.trace("v(pin)")
    middle = first_crossing(run.time, pin, threshold, True, row["t_from"], True)
    slope = slope_at(run.time, pin, threshold, True, row["t_from"])
    if math.isnan(middle) or not slope > 0:
        return None
    half = SPAN * max(NOISE_V / slope, 1 / NOISE_HZ)
    time = np.linspace(middle - half, middle + half, int(2 * half * NOISE_HZ * SAMPLES) + 1)
    noise = NOISE_V * np.sin(2 * math.pi * NOISE_HZ * (time - middle))
    noisy = np.interp(time, run.time, pin) + noise
    traces = {"v(noisy)": noisy, "v(clock)": np.where(noisy >= threshold, rail, 0.0)}
    if limit_s is not None:
        ramp = 0.5 + 0.8 * (time - middle) / limit_s
        traces["v(limit)"] = rail * np.clip(ramp, 0.0, 1.0)
    count = crossings(time, noisy, threshold).size
    return replace(run, time=time, traces=traces), int(count), float(slope)


def noisy_plot(receiver: Receiver, row: Mapping[str, float], limited: bool) -> Plot:
    """Return the figure's curves and levels."""
    curves = [Curve("v(noisy)", f"input, {1e3 * NOISE_V:g} mV of noise", "V")]
    curves.append(Curve("v(clock)", "clock inside the part", "V"))
    if limited:
        curves.append(Curve("v(limit)", "slowest edge allowed", "V"))
    upper, lower = receiver.names
    columns = range(len(receiver.columns))
    levels = (
        Level(upper, max(row[f"c{k}_p_max"] for k in columns), "V"),
        Level(lower, min(row[f"c{k}_n_min"] for k in columns), "V"),
    )
    return Plot(TITLE, "", tuple(curves), levels)
