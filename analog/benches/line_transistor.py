"""A transistor as the receiver of the filtered signal: where it surely conducts and surely not.

A data sheet gives no input levels for a base resistor and a base; they follow from the collector
current V_DD/R_C that the stage switches:

    surely on:  V_BE(I_C) at the cold + I_C/h_FE·R_B, at the least gain
    surely off: V_BE(I_C/100) at the heat, where the output is within 1 % of the rail
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from analog.benches.axes import part_axis
from analog.benches.line_receiver import Receiver
from analog.cards import Card, Column, Figure, Source
from analog.circuits.record import Element, Model
from analog.circuits.space import Axis, Floats, RangeAxis
from analog.circuits.transistor_stage import transistor_input, transistor_model
from analog.design import Conditioner, PartValue, Spread
from analog.design.record import Environment

GAIN = "conditioner.current_gain"
SHIFT = "conditioner.base_emitter_voltage"

THERMAL_V = 1.380649e-23 / 1.602176634e-19 * 298.15
"""k·T/q at 25 °C (exact SI values)."""

DRIFT_V_PER_K = 2.2e-3
"""A base-emitter voltage falls by about 2 mV/K; a little more counts on either side (common
practice, no source)."""

SPREAD_V = 0.05
"""Base-emitter voltages of one type differ by this either way where a card gives none (from
memory)."""

OFF_SHARE = 0.01
_GAINS = ((2e-3, "h_FE"), (1e-3, "h_FE_1mA"), (0.0, "h_FE_0mA1"))
_COMPUTED = Source("computed", "base-emitter voltage and gain of the card at the stage's current")


@dataclass(frozen=True, slots=True)
class TransistorReceiver(Receiver):
    """The stage's transistor with its resistors, between the coldest and the hottest ambient."""

    base: PartValue = field(kw_only=True)
    collector: PartValue = field(kw_only=True)
    environment: Environment = field(kw_only=True)

    @property
    def names(self) -> tuple[str, str]:
        """Return what its input levels are called."""
        return ("V_on", "V_off")

    @property
    def column(self) -> Column:
        """Return the only column of its card."""
        return self.columns[0]

    def axes(self) -> tuple[Axis, ...]:
        """Return gain, base-emitter voltage (V from typical) and both resistors."""
        gain = self._gain()
        low, high = self._shifts()
        return (
            RangeAxis(GAIN, "1", *gain),
            RangeAxis(SHIFT, "V", low, 0.0, high),
            part_axis(self.base),
            part_axis(self.collector),
        )

    def input_rows(self, values: Mapping[str, Floats], ambient_c: Floats) -> dict[str, Floats]:
        """Return the parameters of `analog.circuits.transistor_stage`; nothing leaks besides."""
        spice = self.column.spice
        return {
            "h_fe": values[GAIN],
            "i_sat": spice["IS"] * np.exp(-values[SHIFT] / (spice.get("NF", 1.0) * THERMAL_V)),
            "r_base": values[self.base.key],
            "r_collector": values[self.collector.key],
            "i_leak": np.zeros(np.shape(ambient_c)),
        }

    def pin(self, x: float) -> tuple[tuple[Element, ...], tuple[Model, ...]]:
        """Return the stage's circuit and its model."""
        return transistor_input(self.card.identifier, x), (transistor_model(self.column.spice),)

    def plain_ends(self, column: Column, rail: Floats) -> tuple[Floats, Floats]:
        """Return the surely-off and the surely-on voltage at the pin (V)."""
        del column  # there is one only
        low, high = self._shifts()
        current = rail / (self.collector.nominal * (1 + self.collector.tolerance_low))
        cold, hot = self.environment.ambient_minimum, self.environment.ambient_maximum
        gain = self._gain()[0] * ((cold + 273.15) / 298.15) ** self.column.spice.get("XTB", 0.0)
        base_ohm = self.base.nominal * (1 + self.base.tolerance_high)
        on = self._junction_v(current, cold) + high + current / gain * base_ohm
        off = self._junction_v(OFF_SHARE * current, hot) + low
        return off, on

    def upper(self, column: Column, vdd: float) -> Figure:
        """Return the surely-on voltage as a figure."""
        on = float(self.plain_ends(column, np.array([vdd]))[1][0])
        return Figure("V_on", "V", on, None, None, "", _COMPUTED)

    def lower(self, column: Column, vdd: float) -> Figure:
        """Return the surely-off voltage as a figure."""
        off = float(self.plain_ends(column, np.array([vdd]))[0][0])
        return Figure("V_off", "V", None, None, off, "", _COMPUTED)

    def _junction_v(self, current_a: Floats, ambient_c: float) -> Floats:
        spice = self.column.spice
        at_25 = spice.get("NF", 1.0) * THERMAL_V * np.log(current_a / spice["IS"])
        return np.asarray(at_25 - DRIFT_V_PER_K * (ambient_c - 25.0))

    def _gain(self) -> tuple[float, float, float]:
        """Return least, middle and largest gain at the stage's current."""
        current = self.rail.nominal / self.collector.nominal
        found = (name for least, name in _GAINS if current >= least and self.column.has(name))
        least = self.column.figure(next(found, "h_FE")).low
        most = self.column.figure("h_FE").high
        return least, (least * most) ** 0.5, most

    def _shifts(self) -> tuple[float, float]:
        if not self.column.has("V_BE_on"):
            return -SPREAD_V, SPREAD_V
        given = self.column.figure("V_BE_on")
        return given.low - given.centre, given.high - given.centre


def transistor_receiver(
    card: Card, conditioner: Conditioner, rail: Spread, environment: Environment
) -> TransistorReceiver:
    """Return the receiver of a transistor stage; ValueError without its two resistors."""
    base, collector = conditioner.base_resistor, conditioner.collector_resistor
    if base is None or collector is None:
        raise ValueError("a transistor stage needs its base and its collector resistor")
    return TransistorReceiver(
        card,
        card.columns[:1],
        "conditioner",
        1,
        rail,
        base=base,
        collector=collector,
        environment=environment,
    )
