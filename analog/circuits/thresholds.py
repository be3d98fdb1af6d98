"""Thresholds of an input over the rail, and the joint region of V_P and V_N as two axes.

The two thresholds of one die move together: a data sheet bounds V_P, V_N and their difference
V_H, and only the part of the V_P-V_N plane inside all three bounds is guaranteed to exist. The
axes `RisingThreshold` and `FallingThreshold` fill exactly that polygon.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.cards import Column
from analog.circuits.space import Floats, bend

UNBOUNDED_V = 1e6
"""Stands for a bound that the maker does not give."""


@dataclass(frozen=True, slots=True)
class FigureLine:
    """Low, typical and high of one figure, piecewise linear over the supply (V)."""

    supplies: tuple[float, ...]
    low: tuple[float, ...]
    centre: tuple[float, ...]
    high: tuple[float, ...]

    def at(self, rail: Floats) -> tuple[Floats, Floats, Floats]:
        """Return low, typical and high at the supplies `rail`, each of shape (n,)."""
        ends = (np.interp(rail, self.supplies, side) for side in (self.low, self.centre, self.high))
        low, centre, high = ends
        return low, centre, high


def figure_line(
    column: Column, name: str, rail_low: float, rail_high: float, open_ended: bool = False
) -> FigureLine:
    """Return figure `name` of one column between two supplies (V).

    Sampled at the ends and at every tabulated supply between, which is exact, as figures are
    linear between and proportional outside. With `open_ended` an end that the maker does not
    give is `UNBOUNDED_V`, instead of the typical figure with the card's stated spread.
    """
    inside = (v for v in column.tables[name].supplies if rail_low < v < rail_high)
    supplies = tuple(sorted({rail_low, rail_high, *inside}))
    figures = [column.figure(name, vdd=supply) for supply in supplies]
    unbounded = open_ended and figures[0].maximum is None
    return FigureLine(
        supplies,
        tuple(figure.low for figure in figures),
        tuple(figure.centre for figure in figures),
        tuple(UNBOUNDED_V if unbounded else figure.high for figure in figures),
    )


@dataclass(frozen=True, slots=True)
class Thresholds:
    """V_P, V_N and V_H of one maker's Schmitt input between two supplies."""

    v_p: FigureLine
    v_n: FigureLine
    v_h: FigureLine

    def rising_bounds(self, rail: Floats) -> tuple[Floats, Floats, Floats]:
        """Return lowest, typical and highest V_P (V) that some V_N goes with, at `rail`."""
        (p_low, p_typ, p_high), (n_low, _, n_high) = self.v_p.at(rail), self.v_n.at(rail)
        h_low, _, h_high = self.v_h.at(rail)
        low = np.maximum(p_low, n_low + h_low)
        high = np.minimum(p_high, n_high + h_high)
        return low, np.clip(p_typ, low, high), high

    def falling_bounds(self, rail: Floats, v_p: Floats) -> tuple[Floats, Floats, Floats]:
        """Return lowest, central and highest V_N (V) that goes with `v_p` at `rail`.

        The centre keeps the place between the ends that the typical V_N has at the typical V_P.
        """
        low, high = self._falling_ends(rail, v_p)
        typical_v_p = self.rising_bounds(rail)[1]
        typical_low, typical_high = self._falling_ends(rail, typical_v_p)
        width = typical_high - typical_low
        n_typ = np.clip(self.v_n.at(rail)[1], typical_low, typical_high)
        place = np.where(width > 0, (n_typ - typical_low) / np.where(width > 0, width, 1.0), 0.5)
        return low, low + place * (high - low), high

    def corners(self, rail_v: float) -> tuple[float, ...]:
        """Return the V_P of the polygon's corners between its ends at one supply."""
        rail = np.array([rail_v])
        low, _, high = (float(side[0]) for side in self.rising_bounds(rail))
        n_low, _, n_high = (float(side[0]) for side in self.v_n.at(rail))
        h_low, _, h_high = (float(side[0]) for side in self.v_h.at(rail))
        inside = (low + 1e-9, high - 1e-9)  # a corner on an end is no further knot
        return tuple(
            v for v in sorted({n_low + h_high, n_high + h_low}) if inside[0] < v < inside[1]
        )

    def _falling_ends(self, rail: Floats, v_p: Floats) -> tuple[Floats, Floats]:
        n_low, _, n_high = self.v_n.at(rail)
        h_low, _, h_high = self.v_h.at(rail)
        return np.maximum(n_low, v_p - h_high), np.minimum(n_high, v_p - h_low)


def schmitt_thresholds(
    column: Column, rail_low: float, rail_high: float, suffix: str = ""
) -> Thresholds:
    """Return the thresholds of a column; `suffix` "_tied" for a gate with inputs tied."""
    return Thresholds(
        figure_line(column, f"V_P{suffix}", rail_low, rail_high),
        figure_line(column, f"V_N{suffix}", rail_low, rail_high),
        figure_line(column, f"V_H{suffix}", rail_low, rail_high, open_ended=True),
    )


@dataclass(frozen=True, slots=True)
class RisingThreshold:
    """V_P, V, from the lowest to the highest that exists at the row's rail."""

    key: str
    thresholds: Thresholds
    rail_key: str
    knots: tuple[float, ...] = ()
    unit: str = "V"

    def decode(self, u: Floats, before: Mapping[str, Floats]) -> Floats:
        return bend(u, *self.thresholds.rising_bounds(before[self.rail_key]))


@dataclass(frozen=True, slots=True)
class FallingThreshold:
    """V_N, V, from the lowest to the highest that goes with the row's V_P and rail."""

    key: str
    thresholds: Thresholds
    rail_key: str
    rising_key: str
    knots: tuple[float, ...] = ()
    unit: str = "V"

    def decode(self, u: Floats, before: Mapping[str, Floats]) -> Floats:
        rail, v_p = before[self.rail_key], before[self.rising_key]
        return bend(u, *self.thresholds.falling_bounds(rail, v_p))


def threshold_axes(
    thresholds: Thresholds, prefix: str, rail_key: str, rails_v: tuple[float, ...]
) -> tuple[RisingThreshold, FallingThreshold]:
    """Return the axes of V_P and V_N; keys ``{prefix}.threshold_rising`` and ``…_falling``.

    They must stand behind the rail's axis. Knots are the polygon's corners at the supplies
    `rails_v`.
    """
    rising = f"{prefix}.threshold_rising"
    knots: set[float] = set()
    for rail_v in rails_v:
        low, centre, high = (
            float(side[0]) for side in thresholds.rising_bounds(np.array([rail_v]))
        )
        for v_p in thresholds.corners(rail_v):
            side = high - centre if v_p > centre else centre - low
            knots.add(round((v_p - centre) / side, 6))
    return (
        RisingThreshold(rising, thresholds, rail_key, tuple(sorted(knots - {0.0}))),
        FallingThreshold(f"{prefix}.threshold_falling", thresholds, rail_key, rising),
    )
