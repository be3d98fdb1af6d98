"""A transistor as the conditioner: filter, transistor and load on the mains."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.base import Curve, Level, Mark, Plot, Scene
from analog.benches.conditioner_gate import OUTPUTS, REDUCER
from analog.benches.conditioner_stage import Stage
from analog.benches.conditioner_started import started
from analog.benches.line_network import LineNetwork
from analog.circuits.line_filter import line_filter, receiver_x
from analog.circuits.record import Circuit, Experiment
from analog.circuits.schmitt_stage import stage_load
from analog.circuits.sense_fronts import front_libraries
from analog.circuits.space import Floats, Space

NOTE = (
    "A transistor has no hysteresis and follows the slow edge through its linear range, by a gain "
    "of h_FE·R_C/R_B. What is surely on and off at its input is computed from base-emitter voltage "
    "and gain (see the figures' sources)."
)


@dataclass(frozen=True, slots=True)
class TransistorRows:
    """Rows of parameters of filter, transistor and load on the mains."""

    network: LineNetwork
    stage: Stage

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        rows = self.network.rows(values)
        receiver = self.stage.receiver
        off, on = receiver.plain_ends(receiver.columns[0], rows["v_rail"])
        return {
            **rows,
            **receiver.input_rows(values, rows["ambient_c"]),
            **self.stage.load_rows(values, rows["ambient_c"]),
            "p_max": on,
            "n_min": off,
            "h_min": np.zeros(np.shape(on)),
        }


def transistor_scene(network: LineNetwork, stage: Stage) -> Scene:
    """Return the scene of the stage."""
    axes = [*network.axes(detailed=False), *stage.receiver.axes(), *stage.load_axes()]
    return Scene(
        "transistor",
        "Filter, transistor and load on the mains",
        _experiment(network, stage),
        Space(tuple(axes)),
        TransistorRows(network, stage),
        OUTPUTS[:9],
        (_plot(),),
    )


def _experiment(network: LineNetwork, stage: Stage) -> Experiment:
    elements, models = line_filter(network.parts)
    x = receiver_x(network.parts)
    pin, own = stage.receiver.pin(x)
    load = stage_load(stage.clocked.identifier, x + 6)
    circuit = Circuit(
        "Transistor on the mains",
        (*elements, *pin, *load),
        (*models, *own),
        front_libraries(network.parts),
    )
    return started(circuit, network, REDUCER, OUTPUTS)


def _plot() -> Plot:
    return Plot(
        "Receiver pin and clock",
        "output_rise_time",
        (Curve("v(pin)", "receiver pin", "V"), Curve("v(out)", "clock", "V")),
        (Level("surely on", "p_max", "V"), Level("surely off", "n_min", "V")),
        (Mark("rises", "t_out_rise", "v(out)"), Mark("falls", "t_out_fall", "v(out)")),
    )
