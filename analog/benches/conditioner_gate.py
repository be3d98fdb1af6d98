"""A plain gate as the conditioner: filter, gate and load on the mains, the gate as a whole model.

Without hysteresis the gate follows its input through its linear range: the slow edge comes out
steeper by the gate's gain, and every disturbance at the threshold with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.base import Curve, Level, Mark, Plot, Scene
from analog.benches.conditioner_stage import Stage
from analog.benches.conditioner_started import started
from analog.benches.line_network import LineNetwork
from analog.circuits.gate_stage import LIBRARY, gate_stage
from analog.circuits.line_filter import line_filter, receiver_x
from analog.circuits.logic_models import INPUT_DELAY_SHARE, output_threshold_v
from analog.circuits.record import Circuit, Experiment
from analog.circuits.sense_fronts import front_libraries
from analog.circuits.space import Axis, Floats, RangeAxis, Space, bend
from analog.circuits.thresholds import FigureLine, figure_line

THRESHOLD = "conditioner.threshold"
GAIN = "conditioner.gain"

OUTPUTS = (
    "threshold_rising",
    "threshold_falling",
    "hysteresis_margin",
    "output_rise_time",
    "output_fall_time",
    "output_high_level",
    "output_low_level",
    "edges_per_cycle",
    "duty_cycle",
    "t_out_rise",
    "t_out_fall",
)

REDUCER = "analog.benches.conditioner_measures:gate"

NOTE = (
    "A plain gate has no hysteresis: the slow edge leaves it steeper by its gain only, and a "
    "disturbance at the threshold makes edges of its own. Its threshold may lie anywhere between "
    "V_IL and V_IH."
)


@dataclass(frozen=True, slots=True)
class PlainThreshold:
    """The input voltage (V) of half output, anywhere between V_IL and V_IH of the row's rail."""

    lower: FigureLine
    upper: FigureLine
    rail_key: str
    key: str = THRESHOLD
    unit: str = "V"
    knots: tuple[float, ...] = ()

    def decode(self, u: Floats, before: Mapping[str, Floats]) -> Floats:
        rail = before[self.rail_key]
        low, high = self.lower.at(rail)[2], self.upper.at(rail)[0]
        return bend(u, low, (low + high) / 2, high)


@dataclass(frozen=True, slots=True)
class GateRows:
    """Rows of parameters of filter, gate and load on the mains."""

    network: LineNetwork
    stage: Stage

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        rows = self.network.rows(values)
        rail = rows["v_rail"]
        outputs = self.stage.output_rows(values, rows["ambient_c"])
        c_in = np.full(np.shape(rail), self.stage.receiver.capacitance_axis().high)
        delay = np.minimum(outputs["t_plh"], outputs["t_phl"])
        column, ends = self.stage.column, (self.stage.rail.low, self.stage.rail.high)
        return {
            **rows,
            **outputs,
            "r_in": np.minimum(outputs["r_in"], INPUT_DELAY_SHARE * delay / c_in),
            "c_in": c_in,
            "f_th": values[THRESHOLD] / rail,
            "gain": values[GAIN],
            "vto": np.vectorize(output_threshold_v)(rail),
            "p_max": figure_line(column, "V_IH", *ends).at(rail)[0],
            "n_min": figure_line(column, "V_IL", *ends).at(rail)[2],
            "h_min": np.zeros(np.shape(rail)),
        }


def gate_scene(network: LineNetwork, stage: Stage) -> Scene:
    """Return the scene of one maker's gate."""
    gain = stage.column.figure("gain", vdd=stage.rail.nominal)
    ends = (stage.rail.low, stage.rail.high)
    threshold = PlainThreshold(
        figure_line(stage.column, "V_IL", *ends),
        figure_line(stage.column, "V_IH", *ends),
        stage.rail.key,
    )
    axes: list[Axis] = [
        *network.axes(detailed=False),
        threshold,
        RangeAxis(GAIN, "1", gain.low, gain.centre, gain.high),
        stage.drive_axis(),
        *stage.load_axes(),
    ]
    return Scene(
        f"gate-{stage.column.maker.lower()}",
        f"Filter, gate and load on the mains ({stage.column.maker})",
        _experiment(network, stage),
        Space(tuple(axes)),
        GateRows(network, stage),
        OUTPUTS[:9],
        (_plot(),),
    )


def _experiment(network: LineNetwork, stage: Stage) -> Experiment:
    elements, models = line_filter(network.parts)
    card = stage.receiver.card
    gate = gate_stage(card.identifier, stage.clocked.identifier, receiver_x(network.parts))
    libraries = (LIBRARY, *front_libraries(network.parts))
    circuit = Circuit("Gate on the mains", (*elements, *gate), models, libraries)
    return started(circuit, network, REDUCER, OUTPUTS)


def _plot() -> Plot:
    return Plot(
        "Receiver pin and clock",
        "output_rise_time",
        (Curve("v(pin)", "receiver pin", "V"), Curve("v(out)", "clock", "V")),
        (Level("V_IH", "p_max", "V"), Level("V_IL", "n_min", "V")),
        (Mark("rises", "t_out_rise", "v(out)"), Mark("falls", "t_out_fall", "v(out)")),
    )
