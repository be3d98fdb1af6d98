"""From the figures of a logic part to the arguments of its output pair and of the gate model."""

from __future__ import annotations

from analog.cards import Column
from analog.circuits.line_filter import INPUT_OHM

THRESHOLD_V = 1.0
THRESHOLD_SHARE = 0.25
"""Threshold of the output pair over a supply below 4 V, where its usual 1 V leaves it too little
drive: a fit to the delays tabulated at 2 V."""

INPUT_DELAY_SHARE = 0.2
"""The input's own time constant is at most this share of a gate's delay: large output
transistors mean a large input capacitance, and a series resistance that is smaller in turn."""


def output_threshold_v(vdd: float) -> float:
    """Return the threshold (V) of the output transistors at supply `vdd` (V)."""
    return min(THRESHOLD_V, THRESHOLD_SHARE * vdd)


def output_arguments(column: Column, vdd: float) -> dict[str, float]:
    """Return what the output drives and at which levels: A and V, typical, at `vdd` (V)."""
    return {
        "i_ol": column.figure("I_OL", vdd).centre,
        "v_ol": column.figure("V_OL_test", vdd).centre,
        "i_oh": column.figure("I_OH", vdd).centre,
        "v_oh": vdd - column.figure("V_OH_test", vdd).centre,
    }


def gate_arguments(column: Column, family: str, vdd: float) -> dict[str, float]:
    """Return the arguments of `models/gate.lib` at supply `vdd` (V).

    The threshold lies midway between the guaranteed input levels. Raises MissingFigureError
    when the column lacks a figure.
    """
    middle = (column.figure("V_IL", vdd).centre + column.figure("V_IH", vdd).centre) / 2
    rise, fall = (column.figure(name, vdd).centre for name in ("t_plh", "t_phl"))
    c_in = column.figure("C_in", vdd).centre
    return {
        "vnom": vdd,
        "f_th": middle / vdd,
        "gain": column.figure("gain", vdd).centre,
        **output_arguments(column, vdd),
        "t_plh": rise,
        "t_phl": fall,
        "t_tr": column.figure("t_transition", vdd).centre,
        "c_in": c_in,
        "r_in": min(INPUT_OHM[family], INPUT_DELAY_SHARE * min(rise, fall) / c_in),
        "vto": output_threshold_v(vdd),
    }
