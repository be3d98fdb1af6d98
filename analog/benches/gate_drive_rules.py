"""Gate-drive arithmetic of the application notes, in closed form: to judge by and to test against.

Plain functions of SI numbers; angles in degrees.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import numpy as np

QUADRANTS_OF_MAIN_TERMINAL_DRIVE = (1, 3)
"""A gate fed from MT2 always has the polarity of MT2: quadrants I and III only."""


def smallest_gate_resistor_ohm(mains_peak_v: float, opto_peak_a: float) -> float:
    """Return the resistance (Ω) that keeps the opto's peak current within its repetitive rating.

    R = V_peak / I_TSM, Fairchild AN-3004 (rev 4.00), page 3: the opto may be switched on at the
    crest of the mains with the triac still off.
    """
    return mains_peak_v / opto_peak_a


def turn_on_voltage_v(
    gate_resistor_ohm: float,
    i_gt_a: float,
    v_gt_v: float,
    v_tm_v: float,
    shunt_ohm: float = math.inf,
) -> float:
    """Return the main-terminal voltage (V) at which the triac fires: R·(I_GT + V_GT/R_GK) + V_GT
    + V_TM.

    Fairchild AN-3003 (rev 4.07), page 2, without a shunt; AN-3004, page 4, with one (Ω).
    """
    return gate_resistor_ohm * (i_gt_a + v_gt_v / shunt_ohm) + v_gt_v + v_tm_v


def turn_on_delay_s(turn_on_v: float, mains_peak_v: float, frequency_hz: float) -> float:
    """Return how long (s) after its zero the mains reaches `turn_on_v`; NaN when it never does.

    asin(V_T/V_peak)/(2πf): the same as θ/90·1/(4f) of Fairchild AN-3004, page 4.
    """
    if turn_on_v > mains_peak_v:
        return math.nan
    return math.asin(turn_on_v / mains_peak_v) / (2 * math.pi * frequency_hz)


def latching_time_s(i_l_a: float, load_rms_a: float, frequency_hz: float) -> float:
    """Return how long (s) after its zero a sine of load current reaches the latching current.

    (1/ω)·asin(I_L/(√2·I_rms)), ST AN440, figure 9; NaN when the peak stays below I_L.
    """
    share = i_l_a / (math.sqrt(2) * load_rms_a)
    return math.nan if share > 1 else math.asin(share) / (2 * math.pi * frequency_hz)


def at_temperature(
    value_at_25: float, curve: tuple[tuple[float, ...], tuple[float, ...]], temperature_c: float
) -> float:
    """Return a 25 °C figure at another temperature by a ratio curve ((°C, …), (ratio, …)).

    Straight between the curve's points, flat outside.
    """
    return value_at_25 * float(np.interp(temperature_c, *curve))


def largest_trigger_current_a(
    i_gt_a: Mapping[int, float],
    quadrants: Iterable[int] = QUADRANTS_OF_MAIN_TERMINAL_DRIVE,
) -> float:
    """Return the trigger current (A) a drive must deliver: the largest of the quadrants it uses.

    KeyError when the triac does not trigger in one of them.
    """
    return max(i_gt_a[quadrant] for quadrant in quadrants)
