"""Devices of the line sense whose figures vary by themselves: the Zener diode that clamps a pin.

Each gives the axes of its guaranteed figures and the rows of parameters its circuit needs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.axes import AMBIENT
from analog.cards import Column, find_card
from analog.circuits.sense_parts import SpiceArguments
from analog.circuits.space import Axis, Envelope, Floats, PartAxis, RangeAxis

ZENER_V = "line_sense.clamp_zener"
ZENER_KNEE = "line_sense.clamp_zener_knee"

THERMAL_V = 1.380649e-23 / 1.602176634e-19 * 298.15
"""k·T/q at 25 °C (exact SI values)."""

SMALLEST_A = 1e-20
"""Saturation current of the breakdown's branch that the simulator still takes as it is."""

DRIFT_ENDS_C = (-65.0, 150.0)


@dataclass(frozen=True, slots=True)
class ZenerClamp:
    """A Zener diode between pin and ground, with the soft knee it has far below its test current.

    V_Z is tabulated at milliamperes, a filter feeds it a tenth of one. Its breakdown follows
    I = I_Z·exp((V − V_Z)/s), with s = r·I from the differential resistance r at the lower of the
    two currents it is tabulated at, where the resistance still falls as 1/I: at 0.1 mA, 50 times
    below 5 mA, the voltage is 3.9·s lower.
    """

    column: Column

    def axes(self, detailed: bool = True) -> tuple[Axis, ...]:
        """Return V_Z over tolerance and temperature (V), and its knee s (V); none in a sketch."""
        return (self._voltage_axis(), self._knee_axis()) if detailed else ()

    def _voltage_axis(self) -> PartAxis:
        voltage, drift = self.column.figure("V_Z"), self.column.figure("V_Z_drift")
        spans = tuple(end - 25.0 for end in DRIFT_ENDS_C)
        low, high = (
            (
                chosen(drift.low * spans[0], drift.high * spans[0]) / voltage.centre,
                0.0,
                chosen(drift.low * spans[1], drift.high * spans[1]) / voltage.centre,
            )
            for chosen in (min, max)
        )
        typical = tuple(drift.centre * span / voltage.centre for span in (spans[0], 0.0, spans[1]))
        return PartAxis(
            ZENER_V,
            "V",
            voltage.centre,
            voltage.low / voltage.centre - 1,
            voltage.high / voltage.centre - 1,
            Envelope((DRIFT_ENDS_C[0], 25.0, DRIFT_ENDS_C[1]), low, typical, high),
            AMBIENT,
        )

    def _knee_axis(self) -> RangeAxis:
        drop, current = self.column.figure("r_Z_low"), self.column.figure("I_Z_low_test").centre
        return RangeAxis(
            ZENER_KNEE, "V", drop.low * current, drop.centre * current, drop.high * current
        )

    def rows(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return ``i_zener`` (A), ``n_zener`` and ``v_zener`` (V) of the breakdown's branch.

        The branch is a junction of emission s/V_T and saturation current I_0 in series with
        v = V_Z − s·ln(I_Z/I_0), which is never below 0. Axes that are absent stand at their
        nominal.
        """
        middle = np.zeros(np.shape(values[AMBIENT]))
        voltage, knee = (
            values[axis.key] if axis.key in values else axis.decode(middle, values)
            for axis in (self._voltage_axis(), self._knee_axis())
        )
        tested = self.column.figure("I_Z_test").centre
        saturation = np.maximum(SMALLEST_A, tested * np.exp(-voltage / knee))
        return {
            "i_zener": saturation,
            "n_zener": knee / THERMAL_V,
            "v_zener": np.maximum(0.0, voltage - knee * np.log(tested / saturation)),
        }

    def junction(self) -> SpiceArguments:
        """Return the SPICE parameters of its forward direction, and its capacitance."""
        kept = ("IS", "N", "CJO")
        return tuple((name, self.column.spice[name]) for name in kept)


def zener_clamp(name: str) -> ZenerClamp:
    """Return the clamp of a Zener diode's card."""
    return ZenerClamp(find_card(name).columns[0])
