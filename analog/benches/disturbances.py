"""The record of one disturbance: what it does to the circuit, how it is varied and verified."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from analog.circuits.record import Experiment

Row = Mapping[str, float]
Change = Callable[[Row, float], dict[str, float]]
"""The row of the undisturbed circuit and a multiple of the stated level, to the row's changes."""

SERVICE = ""
"""Group of what every public supply brings; its edges are judged."""

GROUPS: dict[str, str] = {
    SERVICE: "in service",
    "notches": "with notches",
    "dips": "in dips",
    "burst": "in a burst",
    "surge": "in a surge",
    "ring_wave": "in a ring wave",
}
"""What is judged or told together, in words."""


@dataclass(frozen=True, slots=True)
class Variant:
    """One way in which a disturbance comes: an angle, a polarity, a frequency."""

    words: str
    change: Change


@dataclass(frozen=True, slots=True)
class Delivered:
    """A figure of the delivered wave: an output of the reducer, what it must be, how nearly.

    `wanted` is a number or names a parameter of the row; `share` is the tolerance as a share of
    it, or of 1 where it is 0; `unit` of both.
    """

    output: str
    words: str
    wanted: float | str
    share: float
    unit: str

    def wanted_in(self, row: Row) -> float:
        """Return what the figure must be."""
        return abs(row[self.wanted]) if isinstance(self.wanted, str) else self.wanted

    def holds(self, found: float, row: Row) -> bool:
        """Tell whether a figure is as wanted; NaN never is."""
        wanted = self.wanted_in(row)
        return abs(found - wanted) <= self.share * (wanted or 1.0)


@dataclass(frozen=True, slots=True)
class Disturbance:
    """A disturbance of the mains at one stated level.

    `level` and `source` are for the reader. `highest` is the largest multiple of the level that
    means anything, `factor` the step from one tried multiple to the next. `nominal_mains` says
    that it sets the mains' voltage itself; `points` how many of the stated points it is tried at,
    the nominal first.
    """

    identifier: str
    title: str
    level: str
    source: str
    group: str
    experiment: Experiment
    variants: tuple[Variant, ...]
    delivered: tuple[Delivered, ...]
    highest: float = 8.0
    factor: float = 2.0
    points: int = 4
    nominal_mains: bool = False


def onset(row: Row, angle_deg: float, start_deg: float) -> float:
    """Return when (s) the mains' angle is next `angle_deg`, a fifth of a cycle after the start
    of the judged part at the earliest. A run begins at the angle `start_deg`."""
    hertz = row["f_mains"]
    earliest = row["t_start"] + 0.2 / hertz
    first = ((angle_deg - start_deg) / 360.0 % 1.0) / hertz
    return first + math.ceil((earliest - first) * hertz - 1e-9) / hertz


def times(row: Row, begin: float, end: float) -> dict[str, float]:
    """Return the times of a run whose edges are judged from `begin` to `end` (s)."""
    return {"t_from": begin, "t_to": end, "t_stop": end + 0.35 / row["f_mains"]}
