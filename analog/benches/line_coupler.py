"""The optocoupler of a line sense: its guaranteed figures as axes and rows, and its readings.

The transfer ratio of the worst part is the smallest the maker guarantees, aged, at the ambient
temperature (typical ratio curve); that of the best part is the largest, new.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.axes import AMBIENT
from analog.cards import Column, find_card
from analog.circuits.optocoupler_models import optocoupler_arguments
from analog.circuits.sense_fronts import COUPLER_PARAMETERS
from analog.circuits.sense_parts import CouplerParts, SpiceArguments
from analog.circuits.space import Axis, Floats, RangeAxis

RATIO = "line_sense.optocoupler_ratio"
SYMMETRY = "line_sense.optocoupler_symmetry"
FORWARD_V = "line_sense.optocoupler_forward_voltage"

DARK_DOUBLES_K = 10.0
"""The dark current doubles with every 10 K (common practice, no source)."""

COUPLER_OUTPUTS = ("led_reverse_voltage", "ctr_margin", "led_current_peak")


@dataclass(frozen=True, slots=True)
class Coupler:
    """A phototransistor optocoupler; with LEDs both ways it senses both half-waves."""

    part: str
    column: Column

    @property
    def both_ways(self) -> bool:
        """Tell whether it has a second LED for the other half-wave."""
        return self.column.has("CTR_symmetry")

    def axes(self, detailed: bool = True) -> list[Axis]:
        """Return transfer ratio (1, ageing included), forward voltage (V) and asymmetry.

        Without `detailed` the ratio alone.
        """
        ratio, forward = self.column.figure("CTR"), self.column.figure("V_F")
        aged = self.column.figure("ctr_ageing_factor").low
        axes: list[Axis] = [
            RangeAxis(RATIO, "1", ratio.low * aged, ratio.centre, ratio.high),
            RangeAxis(FORWARD_V, "V", forward.low, forward.centre, forward.high),
        ]
        if not detailed:
            return axes[:1]
        if self.both_ways:
            most = self.column.figure("CTR_symmetry").high
            axes.append(RangeAxis(SYMMETRY, "1", 1.0, 1.0, most))
        return axes

    def rows(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the model's arguments that vary, and ``i_ctr``, ``i_lo``, ``i_hi`` (A).

        The ratio is that of the weaker direction, which the maker guarantees too; the other is
        larger by the asymmetry, up to the largest ratio.
        """
        ambient, weaker = values[AMBIENT], values[RATIO]
        warmth = np.interp(ambient, *self.column.curve("CTR_T_ratio"))
        most = np.maximum(self.column.figure("CTR").high, weaker)
        stronger = np.minimum(weaker * values.get(SYMMETRY, np.ones(np.shape(weaker))), most)
        dark, forward = self.column.figure("I_CEO").high, self.column.figure("V_F").centre
        arguments = optocoupler_arguments(self.column)
        fixed = {name: np.full(np.shape(weaker), arguments[name]) for name in _KNEES}
        return fixed | {
            "ctr": stronger * warmth,
            "ctr_symmetry": stronger / weaker,
            "led_v_f": values.get(FORWARD_V, np.full(np.shape(weaker), forward)),
            "dark_current": dark * 2 ** ((ambient - 25.0) / DARK_DOUBLES_K),
        }

    def parts(self, antiparallel: SpiceArguments) -> CouplerParts:
        """Return the circuit's view."""
        moving = {name for name, _ in COUPLER_PARAMETERS}
        arguments = optocoupler_arguments(self.column)
        fixed = tuple((name, value) for name, value in arguments.items() if name not in moving)
        return CouplerParts(self.part, fixed, antiparallel)


_KNEES = ("i_ctr", "i_lo", "i_hi")


def coupler_of(part: str) -> Coupler:
    """Return the optocoupler called `part`."""
    card = find_card(part)
    return Coupler(card.identifier, card.columns[0])


def coupler_values(led_a: Floats, led_v: Floats, row: Mapping[str, float]) -> dict[str, float]:
    """Return the coupler's measures from its LED's current (A) and voltage (V) over a cycle.

    ``ctr_margin`` is the transfer ratio at the crest of the LED current (see `transfer_ratio`)
    less the ratio that pulls the output to the receiver's surely low level against the pull-up
    and the input's current; of two LEDs the worse counts.
    """
    pulled_a = (row["v_rail"] - row["v_low"]) / row["r_pull"] + abs(row["i_leak"])
    directions = [(float(led_a.max()), row["ctr"])]
    if row["edges"] == 2:
        directions.append((float(-led_a.min()), row["ctr"] / row["ctr_symmetry"]))
    margins = [
        transfer_ratio(ratio, peak_a, row) - pulled_a / peak_a if peak_a > 0 else math.nan
        for peak_a, ratio in directions
    ]
    return {
        "led_reverse_voltage": float(-led_v.min()),
        "ctr_margin": min(margins),
        "led_current_peak": max(peak_a for peak_a, _ in directions),
    }


def transfer_ratio(ratio: float, led_a: float, row: Mapping[str, float]) -> float:
    """Return collector over LED current at `led_a` (A) of a part with `ratio` at its test current.

    The ratio falls off below ``i_lo`` and above ``i_hi`` (see models/optocoupler.lib).
    """
    level = 1 + row["i_lo"] / row["i_ctr"] + row["i_ctr"] / row["i_hi"]
    return ratio * level / (1 + row["i_lo"] / led_a + led_a / row["i_hi"])
