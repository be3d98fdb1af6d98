"""What a bench tries at a few stated points, instead of searching the whole space for the worst.

Counts of edges are no smooth measure that a search could follow, and some of these runs are
long; so they are made at the nominal and at stated corners.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analog.benches.base import Plan
from analog.benches.disturbances import Disturbance
from analog.benches.gate_drive_transients import OffTransient
from analog.benches.gate_drive_turn_ons import TurnOns
from analog.benches.immunity import Immunity
from analog.benches.line_network import MAINS_V
from analog.benches.lowest_mains import LowestMains
from analog.benches.smallest_load import SmallestLoad
from analog.circuits.record import Experiment
from analog.circuits.space import Floats, Space

FAST_KEYS = ("line_sense.series_resistor", "line_sense.capacitor", "supply.rail")
"""At their low ends the filter lets most through and the hysteresis is least."""


@dataclass(frozen=True, slots=True)
class Trials:
    """The trials of one bench: noise at the filter's input, disturbances of the mains, the search
    for the lowest mains that counts, that for the smallest load that works,
    turn-ons all round the cycle and waves on the mains while the triac is off.

    Without noise there are no disturbances: it knows the undisturbed edges.
    """

    noise: Immunity | None = None
    disturbances: tuple[Disturbance, ...] = ()
    lowest: LowestMains | None = None
    smallest: SmallestLoad | None = None
    turn_ons: TurnOns | None = None
    transients: tuple[OffTransient, ...] = ()


NO_TRIALS = Trials()

_Stated = Immunity | LowestMains | SmallestLoad | TurnOns | OffTransient


def trials_in(plan: Plan) -> Trials:
    """Return a plan's trials, empty ones where it has none."""
    return plan.trials or NO_TRIALS


def same_trials(one: Trials, other: Trials) -> bool:
    """Tell whether two designs' trials are the same: same circuits, levels, spaces and rows.

    Rows are compared at the stated points; a design's other ends follow from the same values.
    """
    ours, theirs = _stated(one), _stated(other)
    return (
        _named(one) == _named(other)
        and len(ours) == len(theirs)
        and all(_same(a, b) for a, b in zip(ours, theirs, strict=True))
    )


def _stated(trials: Trials) -> tuple[_Stated | None, ...]:
    return trials.noise, trials.lowest, trials.smallest, trials.turn_ons, *trials.transients


def _same(one: _Stated | None, other: _Stated | None) -> bool:
    if one is None or other is None:
        return one is other
    return _same_rows(one, other)


def _named(trials: Trials) -> list[tuple[str, str, Experiment]]:
    return [(one.identifier, one.level, one.experiment) for one in trials.disturbances]


def _same_rows(one: _Stated, other: _Stated) -> bool:
    if one.space.keys != other.space.keys:
        return False
    points = np.stack(disturbed_points(one.space))
    rows = [{**of.derive(of.space.decode(points))} for of in (one, other)]
    return rows[0].keys() == rows[1].keys() and all(
        np.array_equal(values, rows[1][name]) for name, values in rows[0].items()
    )


def corner(space: Space, ends: dict[str, float]) -> Floats:
    """Return the point (axes,) with some axes at an end (-1 or 1), all others nominal."""
    return np.array([ends.get(key, 0.0) for key in space.keys])


def fast_corners(space: Space) -> Floats:
    """Return the points (2, axes) of the fastest filter at the lowest rail, at either end of
    the mains."""
    fast = dict.fromkeys(FAST_KEYS, -1.0)
    return np.stack([corner(space, {**fast, MAINS_V: end}) for end in (-1.0, 1.0)])


def disturbed_points(space: Space) -> tuple[Floats, ...]:
    """Return the points at which disturbances are tried, in the order of their worth: nominal,
    fast filter at low mains, slow filter at low mains and high rail, fast filter at high mains."""
    low, high = fast_corners(space)
    slow = corner(space, {**dict.fromkeys(FAST_KEYS, 1.0), MAINS_V: -1.0})
    return corner(space, {}), low, slow, high


def at_nominal_mains(space: Space, point: Floats) -> Floats:
    """Return a point with the mains' voltage at its nominal."""
    return np.where(np.array(space.keys) == MAINS_V, 0.0, point)
