"""The guaranteed values of a supply, and the rows of parameters they become."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.axes import AMBIENT, ambient_axis, part_axis, spread_axis
from analog.benches.line_network import MAINS_HZ, MAINS_V, STATED_REGULATION_SHARE
from analog.cards import Column, find_card, technology, transformer_for
from analog.circuits.part_models import part_model
from analog.circuits.rectifier import Charging, reservoir_at_crest
from analog.circuits.space import Axis, Floats, RangeAxis, Space
from analog.circuits.supply_network import SupplyParts
from analog.design import Design, Mains, PartValue
from analog.design.record import Supply

REGULATION = "supply.transformer_regulation"
ESR = "supply.reservoir_esr"
OUTPUT = "supply.regulator.output"
QUIESCENT = "supply.regulator.quiescent"
PHASE = "supply.switch_on_phase"

LOSS_FACTOR = 0.15
LOSS_HZ = 120.0
"""tan δ of aluminium electrolytics of 16 V to 35 V at 120 Hz: 0.12 to 0.16 (from memory)."""

ESR_SPREAD = (0.3, 3.0)
"""Series resistance over its usual value: low when hot and new, threefold when cold or worn
(from memory)."""

NO_LOAD_A = 1e-5
"""What still loads a reservoir with its board unplugged: its own leakage (common practice)."""

STEPS_PER_CYCLE = 130
SETTLING_CYCLES = 2
DIODE_V = 0.6


@dataclass(frozen=True, slots=True)
class SupplyNetwork:
    """What the scenes of one design's supply have in common.

    `voltage_v` (rms) and `rating_va` are the transformer's; `columns` the regulator's makers.
    """

    design: Design
    mains: Mains
    reservoir: PartValue
    voltage_v: float
    rating_va: float
    parts: SupplyParts
    columns: tuple[Column, ...]

    @property
    def supply(self) -> Supply:
        return self.design.supply

    @property
    def regulation(self) -> tuple[float, float, float]:
        """Return low, typical and high regulation, as a share."""
        stated, share = self.supply.transformer_regulation, STATED_REGULATION_SHARE
        if stated is not None:
            return stated * (1 - share), stated, stated * (1 + share)
        figure = transformer_for(self.rating_va).columns[0].figure("regulation")
        return figure.low, figure.centre, figure.high

    @property
    def dropout_v(self) -> float:
        """Return the most the regulator needs above its output, 0 without one."""
        names = ("V_dropout_worst", "V_dropout")
        return max(
            (next(c.figure(n).high for n in names if c.has(n)) for c in self.columns), default=0.0
        )

    @property
    def usual_esr_ohm(self) -> float:
        """Return the reservoir's stated series resistance, or that of the usual loss factor."""
        if self.supply.reservoir_esr is not None:
            return self.supply.reservoir_esr
        electrolytic = "electrolytic" in technology(self.reservoir.technology).identifier
        factor = LOSS_FACTOR if electrolytic else 0.01
        return factor / (2 * math.pi * LOSS_HZ * self.reservoir.nominal)

    def space(self, *more: Axis, loaded: bool = True) -> Space:
        """Return ambient, mains, winding, reservoir and regulator; the load when `loaded`."""
        mains, esr = self.mains, self.usual_esr_ohm
        spread = mains.frequency * mains.frequency_tolerance
        axes: list[Axis] = [
            ambient_axis(self.design.environment),
            RangeAxis(MAINS_V, "V", mains.voltage_minimum, mains.voltage, mains.voltage_maximum),
            RangeAxis(
                MAINS_HZ, "Hz", mains.frequency - spread, mains.frequency, mains.frequency + spread
            ),
            RangeAxis(REGULATION, "1", *self.regulation),
            part_axis(self.reservoir),
            RangeAxis(ESR, "Ω", ESR_SPREAD[0] * esr, esr, ESR_SPREAD[1] * esr),
        ]
        if self.columns:
            axes += self._regulator_axes()
        if loaded:
            axes.append(spread_axis(self.supply.load_current, "A"))
            if self.supply.switched_current is not None:
                switched = self.supply.switched_current
                axes.append(RangeAxis(switched.key, "A", 0.0, switched.nominal, switched.high))
        return Space((*axes, *more))

    def _regulator_axes(self) -> list[Axis]:
        outputs = [c.figure("V_O_full" if c.has("V_O_full") else "V_O") for c in self.columns]
        idle = [c.figure("I_Q") for c in self.columns]
        centre = self.columns[0].figure("V_O").centre
        typical = idle[0].centre if idle[0].typical is None else idle[0].typical
        return [
            RangeAxis(
                OUTPUT, "V", min(f.low for f in outputs), centre, max(f.high for f in outputs)
            ),
            RangeAxis(QUIESCENT, "A", 0.0, typical, max(f.high for f in idle)),
        ]

    def rows(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the network's parameters for {axis key: values, shape (n,)}.

        V_oc = V·(1 + reg) and R = V²/S·reg, the rated voltage being that at the rated load.
        """
        regulation = values[REGULATION]
        share, nothing = values[MAINS_V] / self.mains.voltage, np.zeros(np.shape(regulation))
        supply = self.supply
        load = values.get(supply.load_current.key, nothing + NO_LOAD_A)
        if supply.switched_current is not None:
            load = load + values.get(supply.switched_current.key, nothing)
        rows = {
            "ambient_c": values[AMBIENT],
            "f_mains": values[MAINS_HZ],
            "v_peak": math.sqrt(2) * self.voltage_v * (1 + regulation) * share,
            "r_source": self.voltage_v**2 / self.rating_va * regulation,
            "c_reservoir": values[self.reservoir.key],
            "r_esr": values[ESR],
            "i_load": load,
            "phase_deg": nothing + 90.0,
            "i_quiescent": values.get(QUIESCENT, nothing),
            "v_needed": values.get(OUTPUT, nothing + supply.rail.low) + self.dropout_v,
        }
        return rows | self._regulator_rows(values, nothing)

    def _regulator_rows(self, values: Mapping[str, Floats], nothing: Floats) -> dict[str, Floats]:
        """Return the regulator's arguments.

        The guaranteed range of its output over load, input and temperature stands for load and
        line regulation too, so that these are left out here; the dropout is the worst.
        """
        if not self.columns:
            return {}
        card = find_card(self.parts.regulator)
        model = part_model(card, self.columns[0])
        if model is None:
            raise ValueError(f"the regulator {card.identifier} has no model")
        rows = {name: nothing + value for name, value in model.as_dict().items()}
        return rows | {
            "v_o": values[OUTPUT],
            "i_q": np.maximum(values[QUIESCENT], 1e-5),
            "v_drop": nothing + self.dropout_v,
            "r_out": nothing + 1e-3,
            "line": nothing,
        }

    def crest_v(self, rows: Mapping[str, Floats]) -> Floats:
        """Return where the reservoir stands at the crest of the settled rectifier, V."""
        return reservoir_at_crest(self.charging(rows))

    def charging(self, rows: Mapping[str, Floats]) -> Charging:
        """Return the charge balance of these rows, quiescent current included."""
        spice = dict(self.parts.diode)
        return Charging(
            rows["v_peak"],
            rows["r_source"],
            rows["c_reservoir"],
            rows["i_load"] + rows["i_quiescent"],
            rows["f_mains"],
            diodes=self.parts.in_series,
            pulses=self.parts.pulses,
            saturation_a=spice["IS"],
            emission=spice.get("N", 1.0),
            ambient_c=rows["ambient_c"],
        )

    def settled(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows of a settled supply; it starts at the crest of the balanced charge."""
        rows = self.rows(values)
        cycle = 1 / rows["f_mains"]
        return rows | {
            "raw_start": self.crest_v(rows),
            "t_step": cycle / STEPS_PER_CYCLE,
            "t_start": cycle * SETTLING_CYCLES,
            "t_end": cycle * (SETTLING_CYCLES + 1),
            "t_stop": cycle * (SETTLING_CYCLES + 1.02),
        }

    def hold_up(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows of a mains that vanishes behind a crest; runs until it must be felt."""
        rows = self.rows(values)
        start, pulse = self.crest_v(rows), 1 / (rows["f_mains"] * self.parts.pulses)
        drawn = rows["i_load"] + rows["i_quiescent"]
        above = np.maximum(start - self.supply.rail.low, 0.0)
        lasting = rows["c_reservoir"] * above / np.maximum(drawn, NO_LOAD_A)
        stop = 1.2 * lasting + 2 * pulse
        return rows | {
            "raw_start": start,
            "pulses": np.full(np.shape(start), float(self.parts.pulses)),
            "v_diodes": np.full(np.shape(start), DIODE_V * self.parts.in_series),
            "v_hold": np.full(np.shape(start), self.supply.rail.low),
            "t_gone": 0.3 * pulse,
            "t_quiet": 0.32 * pulse,
            "t_step": np.maximum(pulse / 60, stop / 2000),
            "t_stop": stop,
        }

    def power_up(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows of a mains that comes on at any phase, everything empty."""
        rows = self.rows(values)
        cycle = 1 / rows["f_mains"]
        constant = rows["r_source"] * rows["c_reservoir"]
        return rows | {
            "raw_start": np.zeros(np.shape(cycle)),
            "phase_deg": values[PHASE],
            "v_full": np.full(np.shape(cycle), self.supply.rail.low),
            "t_step": cycle / STEPS_PER_CYCLE,
            "t_stop": 2 * cycle + 5 * constant,
        }
