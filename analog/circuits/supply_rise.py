"""The rail while the mains comes on: the rectifier's charge balance, step by step, as a ramp.

    winding ── R ── diodes ──┬── raw ── v_d0, r_drop ── at most v_set ── rail
                         reservoir                                        load

The same equations as the simulated supply's (Thevenin winding, the diodes' own law, a pass device
that drops v_d0 and r_drop until its output is reached, a load that is constant while there is a
rail), solved for many sets of parts at once by backward Euler. The rail's own decoupling is left
out. A reset draws microamperes, so that it can run on this rail instead of together with the
supply.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analog.circuits.rectifier import Charging
from analog.circuits.space import Floats

STEPS_PER_CYCLE = 200
LONGEST_CYCLES = 90
SETTLED_SHARE = 2e-3
FULL_SHARE = 0.999


@dataclass(frozen=True, slots=True)
class Passing:
    """What stands between reservoir and rail; arrays of shape (n,).

    The rail is the reservoir less `v_d0` (V) and `r_drop` (Ω) times the load, at most `v_set`
    (V; infinite without a regulator). `i_load` (A) is drawn from the rail, `i_quiescent` from
    the reservoir besides, whose series resistance is `r_esr` (Ω).
    """

    v_set: Floats
    v_d0: Floats
    r_drop: Floats
    i_load: Floats
    i_quiescent: Floats
    r_esr: Floats

    def rail(self, raw: Floats) -> Floats:
        """Return the rail (V) at a reservoir of `raw` V."""
        return np.clip(raw - self.v_d0 - self.r_drop * self.i_load, 0.0, self.v_set)

    def raw(self, rail: Floats) -> Floats:
        """Return the reservoir (V) at which the rail is just at `rail` V."""
        return np.asarray(rail + self.v_d0 + self.r_drop * self.i_load)

    def drawn(self, raw: Floats, rail: Floats) -> Floats:
        """Return what flows out of the reservoir, A; next to nothing while there is no rail."""
        return np.asarray(self.i_load * np.tanh(2 * rail) + self.i_quiescent * np.tanh(raw / 2))


@dataclass(frozen=True, slots=True)
class Rise:
    """A rail that rises: times (s) and levels (V), both (n, points); it stays at the last."""

    time: Floats
    level: Floats

    def last_passing(self, level_v: Floats) -> Floats:
        """Return when the rail last rises through `level_v` (n,), NaN where it never does."""
        return np.array(
            [_last_passing(*row) for row in zip(self.time, self.level, level_v, strict=True)]
        )

    def with_point_at(self, level_v: Floats) -> Rise:
        """Return the same rise with a point more, where it last rises through `level_v` (n,)."""
        moments = self.last_passing(level_v)
        middle = (self.time[:, 0] + self.time[:, 1]) / 2
        moments = np.where(np.isnan(moments), middle, moments)
        time = np.sort(np.column_stack((self.time, moments)), axis=1)
        rows = zip(time, self.time, self.level, strict=True)
        return Rise(time, np.array([np.interp(*row) for row in rows]))


def _last_passing(time: Floats, level: Floats, wanted_v: float) -> float:
    """Return the last rise of one row through a level, never quite at a point of the row."""
    above = level >= wanted_v
    rises = np.flatnonzero(above[1:] & ~above[:-1])
    if not rises.size:
        return math.nan
    place = int(rises[-1])
    share = (wanted_v - level[place]) / (level[place + 1] - level[place])
    share = min(max(float(share), 1e-3), 1 - 1e-3)
    return float(time[place] + share * (time[place + 1] - time[place]))


def rail_rise(
    charging: Charging, passing: Passing, phase_deg: Floats, raw_start: Floats, points: int
) -> Rise:
    """Return the rail from the mains' coming on at `phase_deg`, the reservoir at `raw_start` V.

    Ends where the rail is whole for good; without a regulator where the reservoir is settled, at
    its lowest of a cycle. A rail that the supply cannot make whole ends at what it can.
    """
    time, rail, floor = _stepped(charging, passing, phase_deg, raw_start)
    whole = np.minimum(passing.v_set, floor)
    short = rail < FULL_SHARE * whole[:, None]
    last = np.array([int(np.flatnonzero(row)[-1]) + 1 if row.any() else 1 for row in short])
    last = np.minimum(last, rail.shape[1] - 1)
    ends = np.take_along_axis(time, last[:, None], axis=1)
    moments = np.linspace(0.0, 1.0, points) * ends
    levels = np.array([np.interp(*row) for row in zip(moments, time, rail, strict=True)])
    levels[:, -1] = whole
    return Rise(moments, np.minimum(levels, whole[:, None]))


def _stepped(
    charging: Charging, passing: Passing, phase_deg: Floats, raw_start: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return times and rail (n, steps), and the lowest rail (V) of the last cycle, (n,)."""
    step = 1 / (charging.f_mains * STEPS_PER_CYCLE)
    stepped, phase = charging.stepper(step, passing.r_esr), np.deg2rad(phase_deg)
    charge = raw = np.asarray(raw_start, dtype=np.float64)
    rails, lowest = [passing.rail(raw)], np.zeros(np.shape(raw))
    for _ in range(LONGEST_CYCLES):
        for number in range(1, STEPS_PER_CYCLE + 1):
            sine = np.sin(phase + 2 * math.pi * number / STEPS_PER_CYCLE)
            wave = np.abs(sine) if charging.pulses == 2 else sine
            charge, raw = stepped(charge, wave, passing.drawn(raw, rails[-1]))
            rails.append(passing.rail(raw))
        now = np.min(rails[-STEPS_PER_CYCLE:], axis=0)
        whole = now >= passing.v_set * (1 - 1e-9)
        settled = now <= lowest * (1 + SETTLED_SHARE)
        lowest = now
        if (whole | (settled & (now > 0))).all():
            break
    time = step[:, None] * np.arange(len(rails))
    return time, np.array(rails).T, lowest
