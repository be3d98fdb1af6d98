"""The guaranteed values of a reset network, and the rows of parameters they become."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.axes import AMBIENT, ambient_axis, part_axis, spread_axis
from analog.benches.reset_levels import ReceiverLevels
from analog.benches.reset_own import Own, own_values, resistor_axes, resistor_rows
from analog.benches.reset_rail import Rail, rise_rows
from analog.cards import technology
from analog.circuits.reset_network import CONTACT_OHM
from analog.circuits.space import Axis, Floats, RangeAxis, Space, bend
from analog.design.record import Environment, Reset, Supply
from analog.design.values import PartValue

CAPACITOR_LEAKAGE = "reset.capacitor.leakage"
PIN_LEAKAGE = "reset.receiver.leakage"

USUAL_LEAKAGE_SHARE = 0.1
"""Nominal capacitor leakage over the largest one the card allows: a capacitor that has been
under voltage for some hours leaks a tenth or less of it (common practice, no source)."""

STEPS_PER_TIME_CONSTANT = 40.0
LONGEST_TIME_CONSTANTS = 12.0


@dataclass(frozen=True, slots=True)
class LeakageAxis:
    """Capacitor leakage from none to what the technology card allows at capacitance, ambient
    and rail; coordinate 0 is `USUAL_LEAKAGE_SHARE` of that."""

    capacitor: PartValue
    rail_key: str
    key: str = CAPACITOR_LEAKAGE
    unit: str = "A"
    knots: tuple[float, ...] = ()

    def decode(self, u: Floats, before: Mapping[str, Floats]) -> Floats:
        """Return the leakage in A, shape (n,)."""
        make = technology(self.capacitor.technology)
        if make.leakage is None:
            return np.zeros(np.shape(u))
        rule, rating = make.leakage, self.capacitor.rating or make.rating_default
        rows = zip(before[self.capacitor.key], before[self.rail_key], before[AMBIENT], strict=True)
        most = np.array([rule.maximum_a(float(c), float(v), rating, float(t)) for c, v, t in rows])
        return bend(u, 0.0, USUAL_LEAKAGE_SHARE * most, most)


@dataclass(frozen=True, slots=True)
class ResetNetwork:
    """What the scenes of one design's reset have in common."""

    reset: Reset
    supply: Supply
    environment: Environment
    levels: ReceiverLevels
    valid_supply_v: float
    runs_on: Rail

    def space(self, *more: Axis, leaking: bool) -> Space:
        """Return ambient, rail and parts, then the leakages if `leaking`, then `more`."""
        reset, rail = self.reset, spread_axis(self.supply.rail, "V")
        parts = [part_axis(reset.resistor), part_axis(reset.capacitor, self.supply.rail.nominal)]
        own = (*resistor_axes(reset), *self.own.axes())
        axes: list[Axis] = [ambient_axis(self.environment), rail, *parts, *own]
        if leaking:
            most = self.levels.leakage_a()
            axes.append(LeakageAxis(reset.capacitor, rail.key))
            axes.append(RangeAxis(PIN_LEAKAGE, "A", -most, 0.0, most))
        return Space((*axes, *more))

    @property
    def own(self) -> Own:
        """Return what the reset's topology has of its own."""
        return own_values(self.reset)

    def common(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the parameters of the network itself."""
        reset, rail = self.reset, values[self.supply.rail.key]
        nothing = np.zeros(np.shape(rail))
        rows = {
            "ambient_c": values[AMBIENT],
            "rail": rail,
            "r_reset": values[reset.resistor.key],
            "c_reset": values[reset.capacitor.key],
            "c_pin": nothing + max(self.levels.capacitance_f(), 1e-15),
            "leak_c": values.get(CAPACITOR_LEAKAGE, nothing),
            "g_pin": values.get(PIN_LEAKAGE, nothing) / rail,
            "active_high": nothing + float(self.levels.high),
            **resistor_rows(reset, values, np.shape(rail)),
        }
        return rows | self.own.rows(rows, values)

    def power_up(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows of a rising rail; the run ends a third after the latest release."""
        rows = self.common(values) | self.levels.over_rail(values[self.supply.rail.key])
        rail = rows["rail"]
        valid = np.full(np.shape(rail), self.valid_supply_v)
        # A point of the simulation's own at the valid supply, so that nothing is interpolated.
        rise = self.runs_on.rise(values, rail, 0 * rail, None).with_point_at(valid)
        whole = rise.time[:, -1]
        length = self.own.charging_s(rows)
        constant = rows["t_constant"]
        stop = whole + np.clip(1.3 * length, constant, LONGEST_TIME_CONSTANTS * constant)
        return (
            rows
            | rise_rows(rise)
            | {
                "valid_supply": valid,
                "t_rise": whole,
                "t_stop": stop,
                "t_step": np.maximum(constant / STEPS_PER_TIME_CONSTANT, stop / 3000.0),
            }
        )

    def settled(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows of a rail that has been up for ever."""
        return self.common(values) | self.levels.over_rail(values[self.supply.rail.key])

    def power_down(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows of a rail that falls to 0 after standing a tenth of the fall time."""
        rows = self.common(values)
        fall = self.runs_on.fall(values, rows["rail"]).length
        return rows | {
            "t_hold": 0.1 * fall,
            "t_down": 1.1 * fall,
            "t_stop": 1.3 * fall,
            "t_step": fall / 400.0,
        }

    def button(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows of a pressed button, over some discharge time constants."""
        rows = self.common(values)
        constant = (CONTACT_OHM + rows.get("r_button", np.zeros(1))) * rows["c_reset"]
        return rows | {
            "t_press": constant,
            "t_edge": constant / 2000.0,
            "t_held": 10.0 * constant,
            "t_again": 20.0 * constant,
            "t_stop": 7.0 * constant,
            "t_step": constant / 50.0,
        }
