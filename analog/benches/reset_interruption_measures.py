"""What a cut in the mains leaves of the reset: from one long cut, and from a cut with a return.

Run inside the worker, on one run at a time. A cut is missed when the rail falls below the lowest
supply of the logic, so that its state is lost, and the pin is not certainly low when the rail
has come back to that supply.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from analog.benches.reset_measures import sensed
from analog.measures import crossings, first_crossing

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analog.engine import Run

    Floats = NDArray[np.float64]

LONG_CUT = ("missed_reset_window", "shortest_off_time", "t_lost", "t_sure")
BROWN_OUT = ("brown_out_margin", "t_again")
RETURN = ("state_lost", "assertion_margin")

HELD = ("v(cap)", "v(rc)", "v(pin)")
"""Where the capacitor's charge shows, the first trace there is."""


def long_cut(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure every length of a full cut in one run, in which the mains does not come back.

    ``t_lost`` (s) is where the rail has fallen through ``valid_supply``, ``t_sure`` the length
    from which on every longer cut finds the pin below ``v_assert`` when the rail returns;
    ``shortest_off_time`` is that length, ``missed_reset_window`` = t_sure − t_lost. A pin that
    is not low at the end of the run never resets: both are NaN, and ``t_sure`` is the run's end.

    For a return at each moment the capacitor's level is carried on through the rail's rise to
    ``valid_supply`` with the closed form of an RC behind a ramp; the diodes do not conduct then,
    and the pin, which a diode held down through its resistor, is back at that level. Where
    ``carried`` is 0 the rail itself holds the pin down on its way back, so that it is then no
    higher than it was on the way down.
    """
    time, rail = run.time, run.trace("v(vdd)")
    held = sensed(run, row, next(name for name in HELD if name in run.traces))
    t_lost = first_crossing(time, rail, row["valid_supply"], False)
    if math.isnan(t_lost):
        return dict.fromkeys(LONG_CUT, 0.0)
    carried = row.get("carried", 1.0) > 0
    back = returned(rail, held, row) if carried else np.minimum.accumulate(held)
    excess = back - row["v_assert"]
    falls = crossings(time, excess, 0.0, False)
    never = excess[-1] > 0
    t_sure = float(time[-1]) if never else float(falls[-1]) if falls.size else 0.0
    return {
        "missed_reset_window": math.nan if never else max(t_sure - t_lost, 0.0),
        "shortest_off_time": math.nan if never else t_sure,
        "t_lost": t_lost,
        "t_sure": t_sure,
    }


def returned(rail: Floats, held: Floats, row: Mapping[str, float]) -> Floats:
    """Return where the capacitor, now at `held`, is when the rail reaches the valid supply, V.

    u' = (r(t) − u)/RC with r rising from `rail` at ``rail_slope`` (V/s):
    u = r − s·RC + (u₀ − r₀ + s·RC)·e^(−t/RC). A resistance in series with the capacitor adds to
    R, and its share of what is left to the rail to the pin.
    """
    series = row.get("r_series", 0.0)
    total, slope = row["r_reset"] + series, row["rail_slope"]
    constant = total * row["c_reset"]
    low = np.minimum(rail, row["valid_supply"])
    span = (row["valid_supply"] - low) / slope
    lag = slope * constant
    grown = row["valid_supply"] - lag + (held - low + lag) * np.exp(-span / constant)
    level = np.where(rail < row["valid_supply"], grown, held)
    return np.asarray(level + np.maximum(row["valid_supply"] - level, 0.0) * series / total)


def cut_and_return(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure one cut with its return.

    ``state_lost`` is 1 when the rail fell below ``valid_supply``, else 0; ``assertion_margin``
    (V) is ``v_assert`` less the pin when the rail last rises through the valid supply.
    """
    time, rail, pin = run.time, run.trace("v(vdd)"), sensed(run, row)
    if rail.min() >= row["valid_supply"]:
        return {"state_lost": 0.0, "assertion_margin": math.nan}
    risen = crossings(time, rail, row["valid_supply"], True)
    if not risen.size:
        return {"state_lost": 1.0, "assertion_margin": math.nan}
    level = float(np.interp(risen[-1], time, pin))
    return {"state_lost": 1.0, "assertion_margin": row["v_assert"] - level}


def brown_out(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Measure a rail that sags slowly to just below ``valid_supply`` and comes back slowly.

    ``brown_out_margin`` (V) is ``v_assert`` less the pin when the rail is back at the valid
    supply, ``t_again`` (s) that moment.
    """
    again = crossings(run.time, run.trace("v(vdd)"), row["valid_supply"], True)
    found = cut_and_return(run, row)
    return {
        "brown_out_margin": found["assertion_margin"],
        "t_again": float(again[-1]) if again.size else math.nan,
    }
