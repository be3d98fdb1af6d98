"""The Schmitt stage of a design: figures of one maker's part over the rail, and its load.

One coordinate, the drive, stands for how strong and fast an output is: at its low end the
guaranteed minimum current and the longest delay, at its high end the reciprocal of that share.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.line_receiver import Receiver
from analog.cards import Card, Column, find_card
from analog.circuits.line_filter import INPUT_OHM
from analog.circuits.space import Floats, RangeAxis
from analog.circuits.thresholds import (
    FallingThreshold,
    FigureLine,
    RisingThreshold,
    Thresholds,
    figure_line,
    threshold_axes,
)
from analog.design import Clocked, Conditioner, Design, Spread

DRIVE = "conditioner.output_drive"
RISING = "conditioner.threshold_rising"
FALLING = "conditioner.threshold_falling"
HOT_C = 125.0


@dataclass(frozen=True, slots=True)
class Stage:
    """One maker's column of the Schmitt stage, driving the clocked part."""

    receiver: Receiver
    column: Column
    rail: Spread
    clocked: Card
    clocked_columns: tuple[Column, ...]
    clocked_inputs: int
    load: Spread

    @property
    def thresholds(self) -> Thresholds:
        """Return V_P, V_N and V_H between the rail's ends."""
        return self.receiver.thresholds(self.column)

    def threshold_axes(self) -> tuple[RisingThreshold, FallingThreshold]:
        """Return the joint axes of both thresholds; they stand behind the rail's."""
        rails = (self.rail.low, self.rail.nominal, self.rail.high)
        return threshold_axes(self.thresholds, "conditioner", self.rail.key, rails)

    def drive_axis(self) -> RangeAxis:
        """Return output current as a share of the typical one (1)."""
        figure = self.column.figure("I_OL", vdd=self.rail.nominal)
        weak = figure.low / figure.centre
        return RangeAxis(DRIVE, "1", weak, 1.0, 1 / weak)

    def load_axes(self) -> tuple[RangeAxis, RangeAxis]:
        """Return the wiring's capacitance and that of the clocked part's inputs (F)."""
        figures = [column.figure("C_in") for column in self.clocked_columns]
        count = self.clocked_inputs
        return (
            RangeAxis(self.load.key, "F", self.load.low, self.load.nominal, self.load.high),
            RangeAxis(
                "clocked.input_capacitance",
                "F",
                count * min(figure.low for figure in figures),
                count * max(figure.centre for figure in figures),
                count * max(figure.high for figure in figures),
            ),
        )

    def rows(self, values: Mapping[str, Floats], ambient_c: Floats) -> dict[str, Floats]:
        """Return the parameters of a Schmitt stage and its load."""
        outputs = self.output_rows(values, ambient_c)
        return {
            "v_p": values[RISING],
            "v_n": values[FALLING],
            "t_pd": (outputs.pop("t_plh") + outputs.pop("t_phl")) / 2,
            **outputs,
        }

    def output_rows(self, values: Mapping[str, Floats], ambient_c: Floats) -> dict[str, Floats]:
        """Return those of output and load; axes that are absent stand at their nominal."""
        rail = values[self.rail.key]
        rise, fall = (self._line(name).at(rail)[1] for name in ("t_plh", "t_phl"))
        drive = values.get(DRIVE, np.ones(np.shape(rail)))
        hot = drive * self._temperature_factor(ambient_c, rail)
        family = self.receiver.card.family
        return {
            "i_ol": hot * self._line("I_OL").at(rail)[1],
            "v_ol": self._line("V_OL_test").at(rail)[1],
            "i_oh": hot * self._line("I_OH").at(rail)[1],
            "v_oh": rail - self._line("V_OH_test").at(rail)[1],
            "t_plh": rise / drive,
            "t_phl": fall / drive,
            "t_tr": self._line("t_transition").at(rail)[1] / drive,
            "r_in": np.full(np.shape(rail), INPUT_OHM[family]),
            **self.load_rows(values, ambient_c),
        }

    def load_rows(self, values: Mapping[str, Floats], ambient_c: Floats) -> dict[str, Floats]:
        """Return what the output drives, and half the rail."""
        rail = values[self.rail.key]
        load = sum(values.get(axis.key, axis.nominal) for axis in self.load_axes())
        return {
            "c_load": np.broadcast_to(load, np.shape(rail)),
            "r_load_in": rail / self._input_current_a(ambient_c),
            "v_half": rail / 2,
        }

    def _line(self, name: str) -> FigureLine:
        return figure_line(self.column, name, self.rail.low, self.rail.high)

    def _temperature_factor(self, ambient_c: Floats, rail: Floats) -> Floats:
        """Return output current over that at 25 °C, in a straight line to the hot figure."""
        if not self.column.has("I_OL_hot"):
            return np.ones(np.shape(rail))
        hot = self._line("I_OL_hot").at(rail)[0] / self._line("I_OL").at(rail)[0]
        return np.asarray(1 - (1 - hot) * (ambient_c - 25.0) / (HOT_C - 25.0))

    def _input_current_a(self, ambient_c: Floats) -> Floats:
        """Return the largest current (A) of the clocked part's inputs together."""
        clocked = Receiver(
            self.clocked, self.clocked_columns, "clocked", self.clocked_inputs, self.rail
        )
        return clocked.leakage_a(ambient_c)


def stages(
    design: Design, receiver: Receiver, conditioner: Conditioner, clocked: Clocked
) -> tuple[Stage, ...]:
    """Return one stage per maker's column that may be fitted."""
    card = find_card(clocked.part)
    return tuple(
        Stage(
            receiver,
            column,
            design.supply.rail,
            card,
            card.chosen(clocked.maker),
            clocked.count,
            conditioner.load_capacitance,
        )
        for column in receiver.columns
    )
