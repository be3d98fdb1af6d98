"""The rail a reset runs on: that of the supply when the design describes one, else a stated ramp.

A described supply gives the rail's rise (`analog/circuits/supply_rise.py`), how long it holds
when the mains is cut and how it falls, all of them from the parts of the supply and anew for
every set of values; the stated times of rise and fall count only where there is no such supply.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from analog.benches.axes import spread_axis
from analog.benches.line_network import MAINS_V
from analog.benches.supply_space import PHASE, REGULATION, SupplyNetwork
from analog.circuits.record import Param, Pwl
from analog.circuits.space import Axis, Floats, RangeAxis
from analog.circuits.supply_rise import Passing, Rise, rail_rise
from analog.design.record import Supply

Values = Mapping[str, Floats]
Phase = Floats | float | None

GAP_S = 1e-6
"""Least distance between two points of a rail."""

POINTS = 40
"""Points of a rise that is worked out; between them the rail runs straight."""


@dataclass(frozen=True, slots=True)
class Fall:
    """A rail that the mains has left: `held` (s) it stands, then takes `length` (s) to 0 V.

    `crest` (V) is the reservoir before, of which `dropped` (V) does not reach the rail.
    """

    held: Floats
    length: Floats
    crest: Floats
    dropped: Floats


class Rail(Protocol):
    """How a rail rises and falls; `points` is how many a rise has."""

    @property
    def points(self) -> int: ...
    @property
    def usual_fall_s(self) -> float:
        """Return how long the nominal rail takes from full to 0 V, s."""
        ...

    @property
    def words(self) -> str:
        """Return what a report must say of this rail."""
        ...

    def rise_axes(self) -> tuple[Axis, ...]: ...
    def cut_axes(self) -> tuple[Axis, ...]:
        """Return what sets the rail's fall, and its return after a cut."""
        ...

    def rise(self, values: Values, rail: Floats, from_v: Floats, phase_deg: Phase) -> Rise:
        """Return the rise from `from_v` to `rail` (V, shape (n,)).

        The mains comes on at `phase_deg`; None leaves it to the axes.
        """
        ...

    def fall(self, values: Values, rail: Floats) -> Fall: ...


@dataclass(frozen=True, slots=True)
class StatedRail:
    """A straight ramp over the stated times, from 0 to the full rail and back."""

    supply: Supply

    @property
    def points(self) -> int:
        return 2

    @property
    def usual_fall_s(self) -> float:
        return self.supply.fall_time.nominal

    @property
    def words(self) -> str:
        rise = self.supply.rise_time
        return (
            f"The rail is a straight ramp over {rise.low * 1e3:g} ms to {rise.high * 1e3:g} ms; "
            "no supply is described, so the hold time counts from the lowest supply of the logic, "
            "not from regulation."
        )

    def rise_axes(self) -> tuple[Axis, ...]:
        return (spread_axis(self.supply.rise_time, "s"),)

    def cut_axes(self) -> tuple[Axis, ...]:
        return (spread_axis(self.supply.fall_time, "s"), *self.rise_axes())

    def rise(self, values: Values, rail: Floats, from_v: Floats, phase_deg: Phase) -> Rise:
        del phase_deg  # a stated ramp knows no mains
        length = values[self.supply.rise_time.key] * (rail - from_v) / rail
        ends = np.maximum(length, GAP_S)
        return Rise(
            np.column_stack((np.zeros(len(ends)), ends)),
            np.column_stack(np.broadcast_arrays(from_v, rail)),
        )

    def fall(self, values: Values, rail: Floats) -> Fall:
        nothing = np.zeros(np.shape(rail))
        return Fall(nothing + GAP_S, values[self.supply.fall_time.key], rail, nothing)


@dataclass(frozen=True, slots=True)
class SuppliedRail:
    """The rail of a described supply, at the stated rail once it is up."""

    network: SupplyNetwork

    @property
    def points(self) -> int:
        return POINTS

    @property
    def usual_fall_s(self) -> float:
        space = self.network.space()
        nominal = space.decode(np.zeros((1, len(space.axes))))
        rail = np.array([self.network.supply.rail.nominal])
        return float(self.fall(nominal, rail).length[0])

    @property
    def words(self) -> str:
        return (
            "The rail is that of the described supply: it rises as the rectifier charges the "
            "reservoir from any phase of the mains, holds and falls as the load empties it. The "
            "stated times of rise and fall do not count then. The hold time counts from the "
            "lowest supply of the logic, not from regulation."
        )

    def rise_axes(self) -> tuple[Axis, ...]:
        return (*self.cut_axes(), RangeAxis(PHASE, "°", 0.0, 90.0, 180.0))

    def cut_axes(self) -> tuple[Axis, ...]:
        supply = self.network.supply
        wanted = {MAINS_V, REGULATION, self.network.reservoir.key, supply.load_current.key}
        if supply.switched_current is not None:
            wanted.add(supply.switched_current.key)
        return tuple(axis for axis in self.network.space().axes if axis.key in wanted)

    def rise(self, values: Values, rail: Floats, from_v: Floats, phase_deg: Phase) -> Rise:
        rows = self.network.rows(self._whole(values))
        passing = self._passing(rows, rail)
        phase = values[PHASE] if phase_deg is None else np.full(np.shape(rail), phase_deg)
        start = np.where(from_v > 0, passing.raw(from_v), 0.0)
        found = rail_rise(self.network.charging(rows), passing, phase, start, self.points)
        if self.network.columns:
            return found
        # Without a regulator the stated rail is where the reservoir settles.
        share = rail / np.maximum(found.level[:, -1], 1e-9)
        return Rise(found.time, found.level * share[:, None])

    def fall(self, values: Values, rail: Floats) -> Fall:
        rows = self.network.rows(self._whole(values))
        drawn = np.maximum(rows["i_load"] + rows["i_quiescent"], 1e-5)
        slope = drawn / rows["c_reservoir"]
        crest = self.network.crest_v(rows)
        dropped = np.full(np.shape(rail), self.network.dropout_v)
        spare = (crest - rail - dropped) / slope if self.network.columns else 0 * rail
        return Fall(np.maximum(spare, GAP_S), rail / slope, crest, dropped)

    def _passing(self, rows: Values, rail: Floats) -> Passing:
        nothing, load, esr = np.zeros(np.shape(rail)), rows["i_load"], rows["r_esr"]
        if not self.network.columns:
            return Passing(nothing + np.inf, nothing, nothing, load, nothing, esr)
        resistance = (rows["v_drop"] - rows["v_d0"]) / rows["i_drop"]
        return Passing(rail, rows["v_d0"], resistance, load, rows["i_quiescent"], esr)

    def _whole(self, values: Values) -> dict[str, Floats]:
        """Return the values of all the supply's axes: those not searched stay nominal."""
        space, count = self.network.space(), len(next(iter(values.values())))
        nominal = space.decode(np.zeros((count, len(space.axes))))
        known = {key: value for key, value in values.items() if key in nominal}
        return nominal | known


def rise_stimulus(rail: Rail) -> Pwl:
    """Return the source that follows the rows of `rise_rows`, one point of their own included."""
    count = rail.points + 1
    return Pwl(tuple((Param(f"rise_t{k}"), Param(f"rise_v{k}")) for k in range(count)))


def rise_rows(rise: Rise, delay_s: Floats | float = 0.0) -> dict[str, Floats]:
    """Return ``rise_t0``… (s) and ``rise_v0``… (V) of a rise that begins at `delay_s`."""
    rows: dict[str, Floats] = {}
    for k in range(rise.time.shape[1]):
        rows |= {f"rise_t{k}": rise.time[:, k] + delay_s, f"rise_v{k}": rise.level[:, k]}
    return rows
