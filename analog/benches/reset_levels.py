"""What the receiver of a reset guarantees: levels over the rail, leakage, from its part card.

With an active-low reset a Schmitt input releases somewhere between V_P min and V_P max and
certainly asserts below V_N min; a plain input releases somewhere between V_IL and V_IH and
asserts below V_IL. With an active-high one V_P and V_N change places, and so do V_IL and V_IH.
Each level is one figure of one maker's column, the worst of all columns that may be fitted.

The reducers know one direction only: they read the pin as its distance from the rail at which
the reset is asserted, ground or (``active_high``) VDD. The levels of the rows are such distances.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analog.benches.reset_measures import KNOTS
from analog.cards import Column, Figure
from analog.circuits.space import Floats


@dataclass(frozen=True, slots=True)
class ReceiverLevels:
    """The levels of every maker's column that may be fitted; `high` for an active-high reset."""

    columns: tuple[Column, ...]
    high: bool = False

    @property
    def schmitt(self) -> bool:
        """Tell whether the input has hysteresis."""
        return all(column.has("V_P") for column in self.columns)

    @property
    def names(self) -> tuple[str, str, str]:
        """Return the figures of the earliest release, the latest, and the sure assertion."""
        if self.high:
            return ("V_N", "V_N", "V_P") if self.schmitt else ("V_IH", "V_IL", "V_IH")
        return ("V_P", "V_P", "V_N") if self.schmitt else ("V_IL", "V_IH", "V_IL")

    def words(self, place: int) -> str:
        """Return the level of `names` in words, like "V_P max"."""
        name = self.names[place]
        if not self.schmitt:
            return name
        return f"{name} {'max' if name == 'V_P' else 'min'}"

    def earliest(self, vdd: float) -> Figure:
        """Return the figure of the level that may release first, at `vdd` (V).

        Its low end counts, of an active-high reset its high end.
        """
        figures = self._figures(self.names[0], vdd)
        return max(figures, key=_high) if self.high else min(figures, key=_low)

    def latest(self, vdd: float) -> Figure:
        """Return the figure of the level that certainly releases: high end, active high low."""
        figures = self._figures(self.names[1], vdd)
        return min(figures, key=_low) if self.high else max(figures, key=_high)

    def asserting(self, vdd: float) -> Figure:
        """Return the figure of the level that certainly asserts: low end, active high high."""
        figures = self._figures(self.names[2], vdd)
        return max(figures, key=_high) if self.high else min(figures, key=_low)

    def earliest_v(self, vdd: float) -> float:
        """Return the distance (V) from the asserting rail at which the reset may release."""
        figure = self.earliest(vdd)
        return vdd - figure.high if self.high else figure.low

    def latest_v(self, vdd: float) -> float:
        """Return the distance (V) at which it certainly releases."""
        figure = self.latest(vdd)
        return vdd - figure.low if self.high else figure.high

    def asserting_v(self, vdd: float) -> float:
        """Return the distance (V) below which it is certainly asserted."""
        figure = self.asserting(vdd)
        return vdd - figure.high if self.high else figure.low

    def hysteresis_v(self, vdd: float) -> float:
        """Return the least hysteresis (V) that is guaranteed, 0 for a plain input."""
        if not self.schmitt:
            return 0.0
        return min(figure.low for figure in self._figures("V_H", vdd))

    def leakage_a(self) -> float:
        """Return the largest input leakage (A) of any column, hot where the card states it."""
        names = ("I_in_leakage_hot", "I_in_leakage")
        return max(
            next((column.figure(name).high for name in names if column.has(name)), 0.0)
            for column in self.columns
        )

    def capacitance_f(self) -> float:
        """Return the typical input capacitance (F), of the column with the largest."""
        return max(c.figure("C_in").centre if c.has("C_in") else 0.0 for c in self.columns)

    def at_pin(self, rail: Floats, distance: Floats) -> Floats:
        """Return the pin's voltage at a distance (V) from the asserting rail."""
        return rail - distance if self.high else distance

    def over_rail(self, rail: Floats) -> dict[str, Floats]:
        """Return the row parameters that give the reducers the thresholds at every rail.

        ``knot_k`` (V, rising, the last one the rail itself), ``low_k`` and ``high_k`` (V) at
        those supplies, and ``threshold_low``, ``threshold_high`` at the full rail, the same as
        voltages of the pin ``pin_earliest`` and ``pin_latest``.
        """
        knots = self._knots(rail)
        low = [each(knot, self.earliest_v) for knot in knots]
        high = [each(knot, self.latest_v) for knot in knots]
        rows: dict[str, Floats] = {"threshold_low": low[-1], "threshold_high": high[-1]}
        rows |= {
            "pin_earliest": self.at_pin(rail, low[-1]),
            "pin_latest": self.at_pin(rail, high[-1]),
        }
        for k in range(KNOTS):
            rows |= {f"knot_{k}": knots[k], f"low_{k}": low[k], f"high_{k}": high[k]}
        return rows

    def _knots(self, rail: Floats) -> list[Floats]:
        name = "V_P" if self.schmitt else "V_IH"
        supplies = sorted({v for column in self.columns for v in column.tables[name].supplies})
        # More supplies than knots: the rail's own neighbourhood matters, so drop the lowest.
        below = supplies[-(KNOTS - 1) :]
        padding = [0.0] * (KNOTS - 1 - len(below))
        return [*(np.minimum(vdd, rail) for vdd in (*padding, *below)), np.array(rail)]

    def _figures(self, name: str, vdd: float) -> list[Figure]:
        return [column.figure(name, vdd=vdd) for column in self.columns]


def _low(figure: Figure) -> float:
    return figure.low


def _high(figure: Figure) -> float:
    return figure.high


def each(supplies: Floats, level: Callable[[float], float]) -> Floats:
    """Evaluate `level` at every supply; equal supplies are looked up once."""
    different, back = np.unique(supplies, return_inverse=True)
    return np.array([level(float(vdd)) for vdd in different], dtype=np.float64)[back]
