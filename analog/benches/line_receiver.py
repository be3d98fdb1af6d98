"""What the receiver of the filtered signal guarantees: thresholds, input current, slowest edge.

The receiver is the Schmitt stage, or the clocked part itself where there is none; a plain input
counts from V_IH and is certainly low below V_IL, with no hysteresis in between. Every maker's
column is judged whole: V_P of one with V_N of another is no part.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.cards import Card, Column, Figure
from analog.circuits.line_filter import PROTECTION, receiver_pin
from analog.circuits.record import Element, Model
from analog.circuits.space import Axis, Floats, RangeAxis
from analog.circuits.thresholds import Thresholds, figure_line, schmitt_thresholds
from analog.design import Spread

LEAKAGE_HOT_C = 125.0


@dataclass(frozen=True, slots=True)
class Receiver:
    """The part at the filter's output; `section` is where the design names it.

    `inputs` of it are in parallel, `suffix` is ``_tied`` for a gate with both inputs tied.
    """

    card: Card
    columns: tuple[Column, ...]
    section: str
    inputs: int
    rail: Spread
    suffix: str = ""

    @property
    def kind(self) -> str:
        """Return what kind of part it is: its card's, or ``own`` for a sub-circuit."""
        return self.card.kind

    @property
    def notes(self) -> tuple[str, ...]:
        """Return what the report says about this very part besides its card."""
        return ()

    @property
    def schmitt(self) -> bool:
        """Tell whether the input has hysteresis."""
        return self.card.kind == "schmitt"

    @property
    def names(self) -> tuple[str, str]:
        """Return the figures of the upper and the lower threshold."""
        return (f"V_P{self.suffix}", f"V_N{self.suffix}") if self.schmitt else ("V_IH", "V_IL")

    @property
    def shape(self) -> str:
        """Return how a Schmitt part is drawn: a gate with both inputs driven or the other high."""
        if not any(column.has("V_P_tied") for column in self.card.columns):
            return "schmitt"
        return "schmitt_nand_tied" if self.inputs > 1 else "schmitt_nand"

    def thresholds(self, column: Column) -> Thresholds:
        """Return the thresholds of one column of a Schmitt input over the rail's range."""
        return schmitt_thresholds(column, self.rail.low, self.rail.high, self.suffix)

    def capacitance_axis(self) -> RangeAxis:
        """Return the input capacitance (F) of all inputs, over all columns."""
        figures = [column.figure("C_in") for column in self.columns]
        return RangeAxis(
            f"{self.section}.input_capacitance",
            "F",
            self.inputs * min(figure.low for figure in figures),
            self.inputs * max(figure.centre for figure in figures),
            self.inputs * max(figure.high for figure in figures),
        )

    def leakage_axis(self) -> RangeAxis:
        """Return the input current as a share of the largest allowed, either way."""
        return RangeAxis(f"{self.section}.input_leakage", "1", -1.0, 0.0, 1.0)

    def leakage_a(self, ambient_c: Floats) -> Floats:
        """Return the largest input current (A) at each ambient temperature, shape (n,).

        From the 25 °C figure to the hot one exponentially, as junction leakage grows.
        """
        cold = self.inputs * max(c.figure("I_in_leakage").high for c in self.columns)
        hot = self.inputs * max(c.figure("I_in_leakage_hot").high for c in self.columns)
        share = np.clip((ambient_c - 25.0) / (LEAKAGE_HOT_C - 25.0), 0.0, 1.0)
        return np.asarray(cold * (hot / cold) ** share)

    def axes(self) -> tuple[Axis, ...]:
        """Return the axes of the input besides its thresholds."""
        return self.capacitance_axis(), self.leakage_axis()

    def input_rows(self, values: Mapping[str, Floats], ambient_c: Floats) -> dict[str, Floats]:
        """Return the parameters of the circuit that `pin` gives, for values of `axes`."""
        leakage = values[self.leakage_axis().key]
        return {
            "c_in": values[self.capacitance_axis().key],
            "i_leak": leakage * self.leakage_a(ambient_c),
        }

    def pin(self, x: float) -> tuple[tuple[Element, ...], tuple[Model, ...]]:
        """Return the input's circuit from node ``pin`` on and the models it uses."""
        return receiver_pin(self.card.family, self.card.identifier, x), (PROTECTION,)

    def picture(self, x: float) -> tuple[Element, ...]:
        """Return what stands in a picture besides the elements of `pin`, from column `x` on."""
        del x
        return ()

    def plain_ends(self, column: Column, rail: Floats) -> tuple[Floats, Floats]:
        """Return V_IL and V_IH (V) of an input without hysteresis at each rail."""
        ends = (self.rail.low, self.rail.high)
        low = figure_line(column, "V_IL", *ends).at(rail)[2]
        return low, figure_line(column, "V_IH", *ends).at(rail)[0]

    def level_rows(self, rail: Floats) -> dict[str, Floats]:
        """Return per column k the levels at each rail: ``c{k}_p_max``, ``_p_min``, ``_n_max``,
        ``_n_min``, ``_h_min`` (V); over all columns ``v_high`` and ``v_low``.

        For a plain input V_IH and V_IL stand for the ends of both thresholds.
        """
        rows: dict[str, Floats] = {}
        for k, column in enumerate(self.columns):
            rows |= {f"c{k}_{name}": level for name, level in self._levels(column, rail).items()}
        many = range(len(self.columns))
        rows["v_high"] = np.stack([rows[f"c{k}_p_max"] for k in many]).max(axis=0)
        rows["v_low"] = np.stack([rows[f"c{k}_n_min"] for k in many]).min(axis=0)
        return rows

    def _levels(self, column: Column, rail: Floats) -> dict[str, Floats]:
        if self.schmitt:
            lines = self.thresholds(column)
            (p_min, _, p_max), (n_min, _, n_max) = lines.v_p.at(rail), lines.v_n.at(rail)
            h_min = lines.v_h.at(rail)[0]
        else:
            low, high = self.plain_ends(column, rail)
            p_max = n_max = high
            p_min = n_min = low
            h_min = np.zeros(np.shape(rail))
        return {"p_max": p_max, "p_min": p_min, "n_max": n_max, "n_min": n_min, "h_min": h_min}

    def upper(self, column: Column, vdd: float) -> Figure:
        """Return the figure whose guaranteed end certainly counts as high at `vdd` (V)."""
        return column.figure(self.names[0], vdd=vdd)

    def lower(self, column: Column, vdd: float) -> Figure:
        """Return the figure whose guaranteed end certainly counts as low at `vdd` (V)."""
        return column.figure(self.names[1], vdd=vdd)

    def high_v(self, column: Column, vdd: float) -> float:
        """Return V_P max or V_IH of a column (V)."""
        figure = self.upper(column, vdd)
        return figure.high if self.schmitt else figure.low

    def low_v(self, column: Column, vdd: float) -> float:
        """Return V_N min or V_IL of a column (V)."""
        figure = self.lower(column, vdd)
        return figure.low if self.schmitt else figure.high
