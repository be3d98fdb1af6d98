"""From the figures of a voltage detector's card to the arguments of models/detector.lib."""

from __future__ import annotations

from analog.cards import Column

THRESHOLD_V = 0.6
"""Threshold (V) of the detector's own transistors: with it their currents at 0.7 V and at 1.5 V,
as the card's maker states them, follow from one transconductance."""


def detector_arguments(column: Column) -> dict[str, float]:
    """Return the arguments of a typical detector, in SI units."""
    return {
        "v_det": column.figure("V_DET").centre,
        "v_hys": column.figure("V_HYS").centre,
        "r_delay": column.figure("R_delay").centre,
        "share": column.figure("delay_share").centre,
        "k_out": _triode(column, column.figure("I_OUT").centre, "V_OUT_test"),
        "k_cd": _triode(column, column.figure("I_CD").centre, "V_CD_test"),
    }


def weakest_transistors(column: Column) -> tuple[float, float]:
    """Return the transconductances (A/V²) that just give the guaranteed currents."""
    return (
        _triode(column, column.figure("I_OUT").low, "V_OUT_test"),
        _triode(column, column.figure("I_CD").low, "V_CD_test"),
    )


def _triode(column: Column, current_a: float, across: str) -> float:
    """Solve I = K·((V_G − V_TH)·V − V²/2) for K."""
    level = column.figure(across).centre
    drive = column.figure("V_IN_test").centre - THRESHOLD_V
    return current_a / (drive * level - level**2 / 2)
