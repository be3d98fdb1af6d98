"""What each reset topology has of its own: axes of guaranteed values, rows, and how it charges.

One class and one line in `_OWN` per topology; the circuits are in
`analog/circuits/reset_topologies.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from analog.benches.axes import AMBIENT, part_axis
from analog.cards import Column, Figure, find_card
from analog.circuits.detector_models import weakest_transistors
from analog.circuits.space import Axis, Floats, RangeAxis
from analog.design.record import Reset

Rows = Mapping[str, Floats]

RESISTORS = (
    ("pin_resistor", "r_pin"),
    ("capacitor_resistor", "r_series"),
    ("zener_resistor", "r_zener"),
    ("base_resistor", "r_base"),
    ("collector_resistor", "r_collector"),
)
"""Optional resistors of the section and the parameters they become."""

KNEE_V = 0.5
"""How far below its range at the test current a Zener of 5 V to 6 V may already conduct the tens
of microamperes that switch a transistor (from memory; its knee is soft)."""


class Own(Protocol):
    """A topology's own values. `charging_s` is how long a step takes to ``threshold_high``."""

    def axes(self) -> tuple[Axis, ...]: ...
    def rows(self, rows: Rows, values: Rows) -> dict[str, Floats]:
        """Return the topology's parameters; ``t_constant`` (s) and ``carried`` are among them."""
        ...

    def charging_s(self, rows: Rows) -> Floats: ...


@dataclass(frozen=True, slots=True)
class RcOwn:
    """R and C; the level lives on in the capacitor while the rail is away."""

    reset: Reset

    def axes(self) -> tuple[Axis, ...]:
        return ()

    def rows(self, rows: Rows, values: Rows) -> dict[str, Floats]:
        del values
        nothing = np.zeros(np.shape(rows["rail"]))
        total = rows["r_reset"] + rows.get("r_series", nothing)
        return {"t_constant": total * rows["c_reset"], "carried": nothing + 1.0}

    def charging_s(self, rows: Rows) -> Floats:
        """RC·ln(V/(V − V_P)) with V the level that the leakages leave; infinite when too low."""
        pin = rows["g_pin"] * rows["rail"] * np.where(rows["active_high"] > 0, -1.0, 1.0)
        level = rows["rail"] - (rows["leak_c"] + pin) * rows["r_reset"]
        level = level - pin * rows.get("r_pin", np.zeros(1))
        return _charging_s(rows["t_constant"], rows["threshold_high"] / np.maximum(level, 1e-9))


@dataclass(frozen=True, slots=True)
class GatedOwn(RcOwn):
    """The Zener's voltage and the gain of the transistors besides."""

    def axes(self) -> tuple[Axis, ...]:
        zener, gain = _column(self.reset.zener), _column(self.reset.transistor)
        figure, h_fe = zener.figure("V_Z"), gain.figure("h_FE")
        least = gain.figure("h_FE_0mA1").low if gain.has("h_FE_0mA1") else h_fe.low
        return (
            RangeAxis("reset.zener.V_Z", "V", figure.low - KNEE_V, figure.centre, figure.high),
            RangeAxis("reset.transistor.h_FE", "1", least, h_fe.centre, h_fe.high),
        )

    def rows(self, rows: Rows, values: Rows) -> dict[str, Floats]:
        zener = _column(self.reset.zener)
        drift = zener.figure("V_Z_drift") if zener.has("V_Z_drift") else None
        warmer = values[AMBIENT] - 25.0
        moved = np.zeros(np.shape(warmer)) if drift is None else drift.centre * warmer
        return RcOwn.rows(self, rows, values) | {
            "v_zener": values["reset.zener.V_Z"] + moved,
            "beta": values["reset.transistor.h_FE"],
            "carried": np.zeros(np.shape(rows["rail"])),
        }


@dataclass(frozen=True, slots=True)
class DetectorOwn:
    """Detection voltage, hysteresis, and resistance and share of the delay."""

    reset: Reset

    def axes(self) -> tuple[Axis, ...]:
        column = _column(self.reset.detector)
        names = (("V_DET", "V"), ("V_HYS", "V"), ("R_delay", "Ω"), ("delay_share", "1"))
        return tuple(_figure_axis(f"reset.detector.{n}", u, column.figure(n)) for n, u in names)

    def rows(self, rows: Rows, values: Rows) -> dict[str, Floats]:
        column, nothing = _column(self.reset.detector), np.zeros(np.shape(rows["rail"]))
        resistance = values["reset.detector.R_delay"]
        k_out, k_cd = weakest_transistors(column)
        return {
            "v_det": values["reset.detector.V_DET"],
            "v_hys": values["reset.detector.V_HYS"],
            "r_delay": resistance,
            "share": values["reset.detector.delay_share"],
            "k_out": nothing + k_out,
            "k_cd": nothing + k_cd,
            "leak_out": nothing + column.figure("I_OUT_leakage").high,
            "t_constant": resistance * rows["c_reset"],
            "carried": nothing,
        }

    def charging_s(self, rows: Rows) -> Floats:
        level = np.maximum(rows["rail"] - rows["leak_c"] * rows["r_delay"], 1e-9)
        return _charging_s(rows["t_constant"], rows["share"] * rows["rail"] / level)


_OWN: Mapping[str, Callable[[Reset], Own]] = {
    "rc-low": RcOwn,
    "rc-high": RcOwn,
    "gated": GatedOwn,
    "detector": DetectorOwn,
}


def own_values(reset: Reset) -> Own:
    """Return what the topology of a reset has of its own."""
    return _OWN[reset.topology](reset)


def resistor_axes(reset: Reset) -> tuple[Axis, ...]:
    """Return the axes of the optional resistors that are there, the button's excepted."""
    parts = (getattr(reset, name) for name, _ in RESISTORS)
    return tuple(part_axis(part) for part in parts if part is not None)


def resistor_rows(reset: Reset, values: Rows, shape: tuple[int, ...]) -> dict[str, Floats]:
    """Return the optional resistors (Ω); the button's is nominal where it has no axis."""
    rows = {}
    for name, row in (*RESISTORS, ("button_resistor", "r_button")):
        part = getattr(reset, name)
        if part is not None:
            rows[row] = values.get(part.key, np.full(shape, part.nominal))
    return rows


def _charging_s(constant: Floats, share: Floats) -> Floats:
    reached = -np.log1p(-np.minimum(share, 1.0 - 1e-12))
    return np.where(share < 1.0, constant * reached, np.inf)


def _figure_axis(key: str, unit: str, figure: Figure) -> RangeAxis:
    return RangeAxis(key, unit, figure.low, figure.centre, figure.high)


def _column(part: str | None) -> Column:
    if part is None:
        raise ValueError("the reset lacks a part of its topology")
    return find_card(part).columns[0]
