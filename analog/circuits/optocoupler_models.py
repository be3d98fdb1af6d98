"""From the figures of a phototransistor optocoupler to the arguments of its model."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analog.cards import Column

NO_KNEE_A = 1e-9
"""Lower knee (A) of a transfer ratio that does not fall towards small LED currents."""

NO_LIMIT_A = 1e3
"""Upper knee (A) of a transfer ratio that does not fall towards large LED currents."""


def optocoupler_arguments(column: Column) -> dict[str, float]:
    """Return the arguments of `models/optocoupler.lib` (SI units).

    Raises MissingFigureError when the column lacks a figure or its curve of the transfer ratio
    over the LED current.
    """

    def centre(name: str) -> float:
        return column.figure(name).centre

    low, high = knees(*column.curve("CTR_ratio"))
    rise, fall = centre("t_r"), centre("t_f")
    return {
        "v_f": centre("V_F"),
        "i_f": centre("I_F_test"),
        "c_d": centre("C_D"),
        "ac": 1.0 if column.has("CTR_symmetry") else 0.0,
        "ctr": centre("CTR"),
        "i_ctr": centre("I_F_ctr_test"),
        "i_lo": low,
        "i_hi": high,
        "v_sat": centre("V_CE_sat"),
        "i_csat": centre("I_C_sat_test"),
        "i_fsat": centre("I_F_sat_test"),
        "i_ceo": centre("I_CEO"),
        "t_r": (rise + fall) / 2,
        "r_l": centre("R_L_time_test"),
        "h_fe": centre("h_FE"),
        "c_cb": centre("C_CB"),
        "c_iso": centre("C_iso"),
    }


def knees(currents_a: Sequence[float], ratios: Sequence[float]) -> tuple[float, float]:
    """Return the LED currents (A) below and above which a transfer ratio falls off.

    The reciprocal of the model's ratio is a + b/i + c·i, linear in its coefficients; they are
    fitted to the curve by relative least squares. A coefficient that comes out below zero is left
    out. The knees are b/a and a/c.
    """
    i = np.asarray(currents_a)
    terms = np.stack([np.ones_like(i), 1 / i, i], axis=1) * np.asarray(ratios)[:, None]
    for chosen in ([0, 1, 2], [0, 1], [0, 2], [0]):
        found = np.zeros(3)
        found[chosen] = np.linalg.lstsq(terms[:, chosen], np.ones_like(i), rcond=None)[0]
        if (found >= 0).all():
            break
    a, b, c = (float(value) for value in found)
    return max(NO_KNEE_A, b / a), NO_LIMIT_A if c == 0 else min(NO_LIMIT_A, a / c)
