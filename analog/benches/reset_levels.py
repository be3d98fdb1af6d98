"""What the receiver of a reset guarantees: levels over the rail, leakage, from its part card.

A Schmitt input releases somewhere between V_P min and V_P max and certainly asserts below
V_N min; a plain input releases somewhere between V_IL and V_IH and asserts below V_IL. Each
level is one figure of one maker's column, the worst of all columns that may be fitted.
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
    """The levels of every maker's column that may be fitted."""

    columns: tuple[Column, ...]

    @property
    def schmitt(self) -> bool:
        """Tell whether the input has hysteresis."""
        return all(column.has("V_P") for column in self.columns)

    def earliest(self, vdd: float) -> Figure:
        """Return the figure whose low end is the lowest level that may release, at `vdd` (V)."""
        return min(self._figures("V_P" if self.schmitt else "V_IL", vdd), key=_low)

    def latest(self, vdd: float) -> Figure:
        """Return the figure whose high end is the level that certainly releases, at `vdd` (V)."""
        return max(self._figures("V_P" if self.schmitt else "V_IH", vdd), key=_high)

    def asserting(self, vdd: float) -> Figure:
        """Return the figure whose low end certainly asserts the reset, at `vdd` (V)."""
        return min(self._figures("V_N" if self.schmitt else "V_IL", vdd), key=_low)

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

    def over_rail(self, rail: Floats) -> dict[str, Floats]:
        """Return the row parameters that give the reducers the thresholds at every rail.

        ``knot_k`` (V, rising, the last one the rail itself), ``low_k`` and ``high_k`` (V) at
        those supplies, and ``threshold_low``, ``threshold_high`` at the full rail.
        """
        knots = self._knots(rail)
        low = [_each(knot, lambda vdd: _low(self.earliest(vdd))) for knot in knots]
        high = [_each(knot, lambda vdd: _high(self.latest(vdd))) for knot in knots]
        rows: dict[str, Floats] = {"threshold_low": low[-1], "threshold_high": high[-1]}
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


def _each(supplies: Floats, level: Callable[[float], float]) -> Floats:
    """Evaluate `level` at every supply; equal supplies are looked up once."""
    different, back = np.unique(supplies, return_inverse=True)
    return np.array([level(float(vdd)) for vdd in different], dtype=np.float64)[back]
