"""What the gate-drive bench takes from the cards: figures as axes, and how they follow ambient."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.axes import AMBIENT
from analog.cards import Column, Figure
from analog.circuits.space import Floats, bend

RatioCurve = tuple[tuple[float, ...], tuple[float, ...]]

FLAT_RATIO: RatioCurve = ((25.0,), (1.0,))

LED_VOLTAGE_RATIO: RatioCurve = ((-40.0, 25.0, 85.0), (1.08, 1.0, 0.93))
"""Forward voltage of an infrared diode over that at 25 °C: about -1.5 mV/K (from memory)."""

USUAL_SHARE = 0.5
"""Nominal of a trigger current given only as a maximum, as a share of it: no source."""


@dataclass(frozen=True, slots=True)
class FigureAxis:
    """A figure of a card between its ends at 25 °C, moved by a ratio curve over ambient."""

    key: str
    unit: str
    low: float
    nominal: float
    high: float
    curve: RatioCurve = FLAT_RATIO
    knots: tuple[float, ...] = ()

    def decode(self, u: Floats, before: Mapping[str, Floats]) -> Floats:
        """Return the figure at the ambient of each point, shape (n,)."""
        ambient = before.get(AMBIENT, np.full(np.shape(u), 25.0))
        ratio = np.interp(ambient, *self.curve)
        return np.asarray(bend(u, self.low, self.nominal, self.high) * ratio)


def figure_axis(key: str, figure: Figure, curve: RatioCurve = FLAT_RATIO) -> FigureAxis:
    """Return the axis of a figure from its low to its high side."""
    return FigureAxis(key, figure.unit, figure.low, figure.centre, figure.high, curve)


def ratio_curve(column: Column, name: str) -> RatioCurve:
    """Return a curve of the column, or no change with temperature when it gives none."""
    return column.curve(name) if name in column.curves else FLAT_RATIO


def trigger_axis(column: Column, quadrant: int) -> FigureAxis:
    """Return I_GT of a quadrant (A): from the least a part may have to the guaranteed most.

    Without a typical figure the nominal is `USUAL_SHARE` of the maximum in the least sensitive
    quadrant, less in the others by the card's typical quadrant ratios, so that the nominal part
    has unequal quadrants as real ones do. Without a minimum the least is 5 % of the maximum,
    which ST guarantees for its triacs (ST BTA06/BTB06, rev 6, tables 3 and 4).
    """
    figure = column.figure(f"I_GT_{quadrant}")
    least = 0.05 * figure.high if figure.minimum is None else figure.minimum
    nominal = figure.typical
    if nominal is None:
        share = _quadrant_ratio(column, quadrant) / _largest_ratio(column)
        nominal = max(least, USUAL_SHARE * figure.high * share)
    return FigureAxis(
        f"gate_drive.triac.I_GT_{quadrant}",
        "A",
        least,
        nominal,
        figure.high,
        ratio_curve(column, "I_GT_ratio"),
    )


def _quadrant_ratio(column: Column, quadrant: int) -> float:
    name = f"quadrant_ratio_{quadrant}"
    return column.figure(name).centre if column.has(name) else 1.0


def _largest_ratio(column: Column) -> float:
    return max(_quadrant_ratio(column, quadrant) for quadrant in (1, 3))


def cold_figure(column: Column, name: str, curve: str, temperature_c: float) -> float:
    """Return the guaranteed maximum at 25 °C times the typical ratio at `temperature_c`."""
    return column.figure(name).high * float(np.interp(temperature_c, *ratio_curve(column, curve)))


def merged(
    columns: tuple[Column, ...], names: tuple[str, ...], vdd: float | None = None
) -> tuple[Column, ...]:
    """Return the columns without those that repeat an earlier one in all figures of `names`."""
    kept: dict[tuple[object, ...], Column] = {}
    for column in columns:
        kept.setdefault(tuple(_ends(column, name, vdd) for name in names), column)
    return tuple(kept.values())


def _ends(column: Column, name: str, vdd: float | None) -> tuple[float, ...]:
    if not column.has(name):
        return ()
    figure = column.figure(name, vdd)
    return (figure.low, figure.centre, figure.high)
