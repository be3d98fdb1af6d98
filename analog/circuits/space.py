"""The space of guaranteed values a design can take: parts, temperature, rail, mains.

Every axis is a coordinate u in [-1, 1]: -1 the guaranteed low, 0 the nominal, +1 the guaranteed
high. `Space.decode` turns coordinates into SI values, in axis order, so that an axis may depend
on the axes before it (a capacitor on the ambient temperature, a threshold on the rail).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Axis(Protocol):
    """One coordinate. `key` is the dotted design key it belongs to, `unit` that of its values."""

    @property
    def key(self) -> str: ...
    @property
    def unit(self) -> str: ...
    @property
    def knots(self) -> tuple[float, ...]:
        """Coordinates besides -1, 0, +1 where the axis bends."""
        ...

    def decode(self, u: Floats, before: Mapping[str, Floats]) -> Floats:
        """Return the SI values, shape (n,), at coordinates `u`, given the axes before."""
        ...


def bend(u: Floats, low: Floats | float, centre: Floats | float, high: Floats | float) -> Floats:
    """Interpolate linearly low..centre for u in [-1, 0] and centre..high for u in [0, 1]."""
    middle = np.asarray(centre, dtype=np.float64)
    return np.where(u < 0, middle + u * (middle - low), middle + u * (high - middle))


@dataclass(frozen=True, slots=True)
class RangeAxis:
    """A plain range: mains voltage, rail, ambient temperature, load power."""

    key: str
    unit: str
    low: float
    nominal: float
    high: float
    knots: tuple[float, ...] = ()

    def decode(self, u: Floats, before: Mapping[str, Floats]) -> Floats:
        del before  # a plain range depends on no other axis
        return bend(u, self.low, self.nominal, self.high)

    def coordinate(self, value: float) -> float:
        """Return the u at which the axis has `value` (0 for an empty side)."""
        side = self.high - self.nominal if value > self.nominal else self.nominal - self.low
        return 0.0 if side == 0 else (value - self.nominal) / side


@dataclass(frozen=True, slots=True)
class Envelope:
    """A temperature law: relative change from nominal at each temperature, low, typical, high.

    Interpolated linearly between the temperatures, held flat outside them.
    """

    temperatures_c: tuple[float, ...]
    low: tuple[float, ...]
    typical: tuple[float, ...]
    high: tuple[float, ...]


FLAT = Envelope((25.0,), (0.0,), (0.0,), (0.0,))


@dataclass(frozen=True, slots=True)
class PartAxis:
    """A resistor or capacitor: tolerance and temperature law merged into one coordinate.

    At a given temperature u sweeps from the lowest to the highest value the part is allowed to
    have, which covers tolerance and law together without two coordinates. `tolerance_low` is
    negative (-0.05 for 5 %). `temperature_key` names the axis that gives the temperature in °C.
    """

    key: str
    unit: str
    nominal: float
    tolerance_low: float
    tolerance_high: float
    law: Envelope = FLAT
    temperature_key: str = "environment.ambient"
    knots: tuple[float, ...] = ()

    def decode(self, u: Floats, before: Mapping[str, Floats]) -> Floats:
        temperature = before.get(self.temperature_key, np.full(np.shape(u), 25.0))
        law = self.law
        low, typical, high = (
            np.interp(temperature, law.temperatures_c, side)
            for side in (law.low, law.typical, law.high)
        )
        return self.nominal * bend(
            u,
            (1 + self.tolerance_low) * (1 + low),
            1 + typical,
            (1 + self.tolerance_high) * (1 + high),
        )


@dataclass(frozen=True, slots=True)
class Space:
    """An ordered set of axes.

    Axis keys are unique. A unit cube point u = 0 is the nominal design.
    """

    axes: tuple[Axis, ...]

    def __post_init__(self) -> None:
        keys = [axis.key for axis in self.axes]
        if len(set(keys)) != len(keys):
            raise ValueError(f"axis keys repeat: {keys}")

    @property
    def keys(self) -> tuple[str, ...]:
        return tuple(axis.key for axis in self.axes)

    def decode(self, u: Floats) -> dict[str, Floats]:
        """Return {key: values of shape (n,)} for coordinates of shape (n, len(axes))."""
        values: dict[str, Floats] = {}
        for column, axis in enumerate(self.axes):
            values[axis.key] = axis.decode(np.asarray(u[:, column], dtype=np.float64), values)
        return values
